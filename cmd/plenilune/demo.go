package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"github.com/spf13/cobra"

	"plenilune/steps/simulate"
)

func demoCommand() *cobra.Command {
	var f runFlags
	cmd := &cobra.Command{
		Use:   "demo DIR",
		Short: "Write the sample night into a folder, then run it",
		Long: `demo writes a simulated night into DIR (clips, dark and flat frames as .ser, and a
manifest) and runs it. The night is the same on every machine, to the last bit.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			manifest, err := writeDemo(cmd.Context(), cmd.ErrOrStderr(), args[0], f.jobs)
			if err != nil {
				return err
			}
			return f.run(cmd.Context(), cmd.OutOrStdout(), cmd.ErrOrStderr(), manifest)
		},
	}
	f.add(cmd)
	return cmd
}

// writeDemo makes the sample night in dir unless it stands there already.
func writeDemo(ctx context.Context, stderr io.Writer, dir string, jobs int) (manifest string, err error) {
	manifest = filepath.Join(dir, "night.hcl")
	if _, err := os.Stat(manifest); err == nil {
		fmt.Fprintf(stderr, "%s stands there already: running it\n", filepath.ToSlash(manifest))
		return manifest, nil
	}
	if entries, err := os.ReadDir(dir); err == nil && len(entries) > 0 && !onlyPartialDemo(entries) {
		return "", requestf("%s is not empty; demo wants a new folder", dir)
	} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return "", requestf("look into %s: %v", dir, err)
	}
	if jobs <= 0 {
		jobs = runtime.GOMAXPROCS(0)
	}
	plan := simulate.Sample()
	plan.Workers = jobs
	last := time.Now()
	fmt.Fprintln(stderr, "making the sample night")
	_, err = plan.Shoot(ctx, folderSink{dir}, func(done, total int) {
		if time.Since(last) >= plainEvery/2 {
			last = time.Now()
			fmt.Fprintf(stderr, "making the sample night: %d of %d clips\n", done, total)
		}
	})
	if err != nil {
		return "", fmt.Errorf("make the sample night: %w", err)
	}
	n, err := surveyFolder(filepath.Join(dir, "clips"), givenFrames{})
	if err != nil {
		return "", err
	}
	n.title = plan.Title
	text, err := n.manifest(manifest)
	if err != nil {
		return "", err
	}
	// The manifest comes last: where it stands, the night is whole.
	if err := os.WriteFile(manifest, text, 0o644); err != nil {
		return "", fmt.Errorf("write the manifest: %w", err)
	}
	return manifest, nil
}

// onlyPartialDemo tells whether a folder holds nothing but what a demo that was
// stopped may have left.
func onlyPartialDemo(entries []fs.DirEntry) bool {
	for _, e := range entries {
		switch e.Name() {
		case "clips", "dark", "flat":
		default:
			return false
		}
	}
	return true
}

// folderSink gives the simulator files in a folder.
type folderSink struct{ dir string }

func (s folderSink) Create(name string) (io.WriteCloser, error) {
	path := filepath.Join(s.dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		return nil, fmt.Errorf("make the folder of %s: %w", name, err)
	}
	f, err := os.Create(path)
	if err != nil {
		return nil, fmt.Errorf("begin %s: %w", name, err)
	}
	return f, nil
}
