package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"
	"time"
)

// programs runs the programs of the machine that read films.
type programs struct {
	// still is how long one may give nothing before it is ended; 0: stillLimit.
	still time.Duration
}

// stillLimit is how long a program may take for a frame.
const stillLimit = 2 * time.Minute

// mostSaid is how much of what a program says besides is kept, in bytes.
const mostSaid = 4096

// foreignMemory bounds the address space of a program that reads a stranger's file, in bytes.
const foreignMemory = 6 << 30

// runnable are the programs that may be run at all.
var runnable = map[string]bool{"ffmpeg": true, "ffprobe": true}

// Version implements pipeline.Programs: the program's version, and those of its libraries that bear on what it decodes, as they are loaded.
func (p programs) Version(ctx context.Context, name string) (string, error) {
	var out bytes.Buffer
	if _, err := p.Run(ctx, name, []string{"-version"}, &out); err != nil {
		return "", err
	}
	line, more, _ := strings.Cut(out.String(), "\n")
	version, _, _ := strings.Cut(strings.TrimSpace(line), " Copyright")
	if version == "" {
		return "", fmt.Errorf("%s -version says nothing", name)
	}
	for line := range strings.Lines(more) {
		// libavcodec     59. 37.100 / 59. 37.100: what it was built for, and what it found
		library, both, _ := strings.Cut(line, " ")
		_, found, ok := strings.Cut(both, "/")
		if ok && slices.Contains([]string{"libavcodec", "libavformat", "libswscale"}, library) {
			version += ", " + library + " " + strings.Join(strings.Fields(found), "")
		}
	}
	return version, nil
}

// Run implements pipeline.Programs. What a program reads of the environment is where it finds its libraries, and no more.
func (p programs) Run(ctx context.Context, name string, args []string, out io.Writer) (said string, err error) {
	if !runnable[name] {
		return "", fmt.Errorf("%s is no program that plenilune runs: only ffmpeg and ffprobe are", name)
	}
	path, err := exec.LookPath(name)
	if err != nil {
		return "", fmt.Errorf("films are read by way of %s, which is not installed here: install FFmpeg, or record clips as SER", name)
	}
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	limit := p.still
	if limit == 0 {
		limit = stillLimit
	}
	errStill := fmt.Errorf("%s gave nothing for %v and was ended", name, limit)
	watch := time.AfterFunc(limit, func() { stop(errStill) })
	defer watch.Stop()
	var heard head
	cmd := exec.CommandContext(ctx, path, args...)
	cmd.Env = keptEnvironment()
	cmd.Stderr = &heard
	cmd.WaitDelay = time.Second
	stdout, err := cmd.StdoutPipe()
	if err != nil {
		return "", fmt.Errorf("run %s: %w", name, err)
	}
	if err := cmd.Start(); err != nil {
		return "", fmt.Errorf("run %s: %w", name, err)
	}
	boundMemory(cmd.Process.Pid, foreignMemory)
	_, copied := io.CopyBuffer(ticking{out, watch, limit}, struct{ io.Reader }{stdout}, make([]byte, 1<<18))
	if copied != nil {
		stop(copied)
	}
	err = cmd.Wait()
	if cause := context.Cause(ctx); cause != nil && (copied != nil || err != nil) {
		err = cause
	}
	if err != nil {
		return heard.text(), fmt.Errorf("%s: %w", name, err)
	}
	return heard.text(), nil
}

// ticking puts the clock back with every piece of output.
type ticking struct {
	io.Writer
	watch *time.Timer
	limit time.Duration
}

func (t ticking) Write(b []byte) (int, error) {
	n, err := t.Writer.Write(b)
	t.watch.Reset(t.limit)
	return n, err
}

// head keeps the beginning of what is written.
type head struct{ b []byte }

func (t *head) Write(b []byte) (int, error) {
	t.b = append(t.b, b[:min(len(b), mostSaid-len(t.b))]...)
	return len(b), nil
}

// text is what was said, in letters that a terminal shows.
func (t *head) text() string {
	return strings.Map(func(r rune) rune {
		if r < ' ' && r != '\n' || r == 0x7f {
			return -1
		}
		return r
	}, strings.ToValidUTF8(string(t.b), ""))
}

func keptEnvironment() []string {
	out := []string{"AV_LOG_FORCE_NOCOLOR=1", "LC_ALL=C"}
	for _, name := range []string{"PATH", "SystemRoot", "LD_LIBRARY_PATH", "DYLD_LIBRARY_PATH", "TMPDIR"} {
		if v, ok := os.LookupEnv(name); ok {
			out = append(out, name+"="+v)
		}
	}
	return out
}
