package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"

	"plenilune/pipeline"
)

// runFlags are those of the verbs that compute.
type runFlags struct {
	cacheFlags
	out, clips, memory  string
	set, only           []string
	jobs                int
	fresh, rehash, json bool
}

func (f *runFlags) add(cmd *cobra.Command) {
	f.cacheFlags.add(cmd)
	fl := cmd.Flags()
	fl.IntVarP(&f.jobs, "jobs", "j", 0, "how many workers (default: one a processor)")
	fl.StringVar(&f.memory, "memory", "", "how much memory the work may take, as in 4GB (default: half of what is free)")
	fl.BoolVar(&f.json, "json", false, "print one JSON object a line on stdout")
}

func runCommand() *cobra.Command {
	var f runFlags
	cmd := &cobra.Command{
		Use:   "run FILE",
		Short: "Make every picture that a manifest asks for, computing only what changed",
		Args:  cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return f.run(cmd.Context(), cmd.OutOrStdout(), cmd.ErrOrStderr(), args[0])
		},
	}
	f.add(cmd)
	fl := cmd.Flags()
	fl.StringVarP(&f.out, "out", "o", "", "output folder (default: the manifest's name without ending, then -out, beside it)")
	fl.StringVar(&f.clips, "clips", "", "look for the manifest's files under this folder instead")
	fl.StringArrayVar(&f.set, "set", nil, "NAME=VALUE replaces an entry of the manifest's settings block; may be repeated")
	fl.StringArrayVar(&f.only, "only", nil, "work on this block (stack.panels) or file (disk.png) and what it needs; may be repeated")
	fl.BoolVar(&f.fresh, "fresh", false, "compute everything again, whatever the cache holds")
	fl.BoolVar(&f.rehash, "rehash", false, "read every file again instead of trusting its time stamp")
	return cmd
}

// run runs a manifest and shows what happens.
func (f *runFlags) run(ctx context.Context, stdout, stderr io.Writer, file string) error {
	m, err := loadManifest(stderr, file, f.clips, f.set)
	if err != nil {
		return err
	}
	opts := pipeline.Options{OutDir: outDir(file, f.out), Jobs: f.jobs, Only: f.only, Fresh: f.fresh, Rehash: f.rehash, Build: buildName()}
	if opts.Jobs < 0 {
		return requestf("-j %d: want at least 1 worker", f.jobs)
	}
	if opts.Jobs == 0 {
		opts.Jobs = runtime.GOMAXPROCS(0)
	}
	if opts.Memory, err = f.budget(); err != nil {
		return err
	}
	c, err := f.open(ctx, stderr)
	if err != nil {
		return err
	}
	defer c.Close()
	s := newScreen(stdout, stderr, f.json)
	defer s.close()
	opts.Observer = s.event
	sum, err := pipeline.Run(ctx, m, c, opts)
	s.summary(sum)
	if errors.Is(err, pipeline.ErrIncomplete) {
		fmt.Fprintln(stderr, "plenilune:", err)
		return &toldError{exitFailed}
	}
	return err
}

// budget is the memory that parts may take together, and tells the runtime.
func (f *runFlags) budget() (int64, error) {
	budget := int64(1 << 30)
	if free := freeBytes(); free > 0 {
		budget = free / 2
	}
	if f.memory != "" {
		n, err := parseBytes("--memory", f.memory)
		if err != nil {
			return 0, err
		}
		budget = n
	}
	// The runtime needs a floor to work in: a limit below it only burns time.
	debug.SetMemoryLimit(max(budget, 256<<20))
	return budget, nil
}
