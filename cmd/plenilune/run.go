package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"plenilune/pipeline"
	"plenilune/steps"
)

// runFlags are those of the verbs that compute.
type runFlags struct {
	cacheFlags
	workFlags
	out, clips          string
	set, only           []string
	fresh, rehash, json bool
	anyRoom             bool

	// volume tells what is free on a folder's disk; nil asks the system.
	volume func(dir string) (name string, free int64, ok bool)
}

func (f *runFlags) add(cmd *cobra.Command) {
	f.cacheFlags.add(cmd)
	f.workFlags.add(cmd)
	fl := cmd.Flags()
	fl.BoolVar(&f.json, "json", false, "print one JSON object a line on stdout")
	fl.BoolVar(&f.anyRoom, "any-room", false, "go on even if the disk seems to lack room for what is expected")
}

func runCommand() *cobra.Command {
	var f runFlags
	cmd := &cobra.Command{
		Use:   "run FILE",
		Short: "Make every picture that a manifest asks for, computing only what changed",
		Long: `run makes every picture that a manifest asks for. It says first how many parts are
in the cache and how many will run, about how long that takes and about how many
bytes it writes; it stops there if the disk lacks them. Paths of finished files go to
stdout, everything else to stderr.

Interrupted, it goes on from there the next time. A clip that cannot be read fails
that clip, not the night: the pictures are made of the others, and the exit code is 1.`,
		Example: `  plenilune run night.hcl
  plenilune run night.hcl --set keep=0.3 -o softer
  plenilune run night.hcl --only disk.png --json`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return f.run(cmd.Context(), cmd.OutOrStdout(), cmd.ErrOrStderr(), args[0])
		},
	}
	f.add(cmd)
	fl := cmd.Flags()
	fl.StringVarP(&f.out, "out", "o", "", "output `DIR` (default: the manifest's name without ending, then -out, beside it)")
	fl.StringVar(&f.clips, "clips", "", "look for the manifest's files under `DIR` instead")
	fl.StringArrayVar(&f.set, "set", nil, "`NAME=VALUE` replaces an entry of the manifest's settings block; may be repeated")
	fl.StringArrayVar(&f.only, "only", nil, "work on the block (stack.panels) or file (disk.png) of this `NAME` and what it needs; may be repeated")
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
	return f.execute(ctx, newScreen(stdout, stderr, f.json), m, outDir(file, f.out))
}

// execute runs a manifest without faults, and shows what happens on a screen of its own.
func (f *runFlags) execute(ctx context.Context, s *screen, m *pipeline.Manifest, out string) error {
	defer s.close()
	opts := pipeline.Options{OutDir: out, Only: f.only, Fresh: f.fresh, Rehash: f.rehash, Build: buildName()}
	var err error
	if opts.Jobs, opts.Memory, err = f.bounds(); err != nil {
		return err
	}
	cacheDir, err := f.folder()
	if err != nil {
		return err
	}
	c, err := f.open(ctx, s.err)
	if err != nil {
		return err
	}
	defer c.Close()
	opts.Observer = s.event
	volume := f.volume
	if volume == nil {
		volume = volumeOf
	}
	opts.Costs = steps.Costs{}
	ahead := foretelling{screen: s, cache: cacheDir, out: opts.OutDir, volume: volume, anyRoom: f.anyRoom}
	opts.Expect = ahead.expect
	sum, err := pipeline.Run(ctx, m, c, opts)
	var lack *roomError
	if errors.As(err, &lack) {
		s.close()
		return err
	}
	s.summary(sum)
	s.diskFull(err)
	if errors.Is(err, pipeline.ErrIncomplete) {
		fmt.Fprintln(s.err, "plenilune:", err)
		return &toldError{exitFailed}
	}
	return err
}
