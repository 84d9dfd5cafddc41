package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strings"
	"syscall"

	"github.com/dustin/go-humanize"
	"github.com/spf13/cobra"
	"golang.org/x/term"

	"plenilune/cache"
	"plenilune/pipeline"
	"plenilune/steps"
)

// cacheFlags say which cache, and whether to wait for it.
type cacheFlags struct {
	dir    string
	noWait bool
}

func (f *cacheFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.dir, "cache", "", "`DIR` of the cache (default: plenilune in the user's cache folder)")
	cmd.Flags().BoolVar(&f.noWait, "no-wait", false, "fail instead of waiting when another process uses the cache")
}

// open opens the cache, saying for whom it waits.
func (f *cacheFlags) open(ctx context.Context, stderr io.Writer) (*cache.Cache, error) {
	dir, err := f.folder()
	if err != nil {
		return nil, err
	}
	c, err := cache.Open(ctx, dir, f.options(stderr))
	if errors.Is(err, syscall.ENOSPC) {
		err = fmt.Errorf("%w; %s", err, roomHint)
	}
	return c, err
}

// makeRoom readies the cache for being trimmed where its disk is full.
func (f *cacheFlags) makeRoom(ctx context.Context, stderr io.Writer, to int64) (cache.Freed, error) {
	dir, err := f.folder()
	if err != nil {
		return cache.Freed{}, err
	}
	return cache.MakeRoom(ctx, dir, to, f.options(stderr))
}

func (f *cacheFlags) options(stderr io.Writer) cache.Options {
	return cache.Options{
		Build:  buildName(),
		NoWait: f.noWait,
		OnWait: func(holder string) { fmt.Fprintf(stderr, "waiting for the cache: %s\n", holder) },
		Warn:   func(text string) { fmt.Fprintf(stderr, "warning: cache: %s\n", text) },
	}
}

// folder is where the cache is.
func (f *cacheFlags) folder() (string, error) {
	if f.dir != "" {
		return f.dir, nil
	}
	base, err := os.UserCacheDir()
	if err != nil {
		return "", requestf("there is no user cache folder (%v); say where with --cache DIR", err)
	}
	return filepath.Join(base, "plenilune"), nil
}

// buildName tells which program made a cache entry, for information only.
func buildName() string {
	b, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	name := b.Main.Version
	for _, s := range b.Settings {
		if s.Key == "vcs.revision" && len(s.Value) >= 12 {
			name = s.Value[:12]
		}
	}
	return strings.TrimSpace(name + " " + runtime.GOOS + "/" + runtime.GOARCH)
}

// readManifest reads a manifest, without looking for its files; diagnostics go to stderr. A manifest with errors gives a told
// error of code 2, with as much of the manifest as could be made.
func readManifest(stderr io.Writer, file string, over []pipeline.Override) (*pipeline.Manifest, error) {
	return loadWith(stderr, file, over, func(*pipeline.Manifest) pipeline.Diagnostics { return pipeline.Diagnostics{} })
}

// loadManifest reads a manifest with its files, as readManifest does.
func loadManifest(stderr io.Writer, file, clips string, set []string) (*pipeline.Manifest, error) {
	over, err := overrides(set)
	if err != nil {
		return nil, err
	}
	return loadWith(stderr, file, over, func(m *pipeline.Manifest) pipeline.Diagnostics { return m.ResolveFiles(clips) })
}

func loadWith(stderr io.Writer, file string, over []pipeline.Override, more func(*pipeline.Manifest) pipeline.Diagnostics) (*pipeline.Manifest, error) {
	src, err := readSome(file)
	switch st, serr := os.Stat(file); {
	case errors.Is(err, fs.ErrNotExist):
		return nil, requestf("read the manifest: there is no file %s", filepath.ToSlash(file))
	case serr == nil && st.IsDir():
		return nil, requestf("%s is a folder: name the manifest in it", filepath.ToSlash(file))
	case err != nil:
		return nil, requestf("read the manifest: %v", err)
	case pipeline.IsPack(bytes.NewReader(src)):
		return nil, requestf("%s is a pack: plenilune unpack it first, or plenilune verify it as it is", filepath.ToSlash(file))
	}
	m, diags := pipeline.LoadManifest(file, src, steps.All(), over)
	m.Programs = programs{}
	diags.Append(more(m))
	if diags.Len() > 0 {
		colour, width := looks(stderr)
		if err := diags.Render(meant(stderr), colour, width); err != nil {
			return nil, err
		}
	}
	if diags.HasErrors() {
		return m, &toldError{exitRequest}
	}
	return m, nil
}

// readSome reads a file up to more than any manifest has: a device has no end.
func readSome(file string) ([]byte, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, 1<<20))
}

func overrides(set []string) ([]pipeline.Override, error) {
	var out []pipeline.Override
	for _, s := range set {
		k, v, ok := strings.Cut(s, "=")
		if !ok || k == "" {
			return nil, requestf("--set %s: want NAME=VALUE, as in --set keep=0.4", s)
		}
		out = append(out, pipeline.Override{Key: k, Value: v})
	}
	return out, nil
}

// outDir is where a manifest's files go unless said otherwise.
func outDir(manifest, given string) string {
	if given != "" {
		return given
	}
	return strings.TrimSuffix(manifest, filepath.Ext(manifest)) + "-out"
}

// looks tells whether a stream takes colour, and how wide it is.
func looks(w io.Writer) (colour bool, width int) {
	f, ok := fileOf(w)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return false, 100
	}
	if cols, _, err := term.GetSize(int(f.Fd())); err == nil && cols > 20 {
		width = cols
	} else {
		width = 80
	}
	return os.Getenv("NO_COLOR") == "", width
}

func parseBytes(flag, s string) (int64, error) {
	n, err := humanize.ParseBytes(s)
	if err != nil || n == 0 || n > 1<<62 {
		return 0, requestf("%s %s: want a size such as 4GB or 512MiB", flag, s)
	}
	return int64(n), nil
}

func bytesText(n int64) string { return humanize.Bytes(uint64(max(n, 0))) }
