package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"plenilune/cache"
	"plenilune/pipeline"
	"plenilune/steps"
)

func verifyCommand() *cobra.Command {
	var f runFlags
	var scratch, junit string
	cmd := &cobra.Command{
		Use:   "verify FILE",
		Short: "Make every picture of a manifest anew, without the cache, and compare bit for bit",
		Long: `verify computes everything that a manifest asks for once more, looking nothing up in
the cache, and compares every picture with the one in the output folder, bit for bit.
Nothing there is changed. What it computes on the way goes into a folder of its own,
which is removed at the end.

The table on stdout says of each file "same", "same picture" (the pixels are equal, the
record in it is not), "differs", "missing" or "not made", and of those that differ the
first part of the work at which the two go apart. Exit code 3 says that something
differs, 1 that something could not be made anew.

With --junit it also writes a summary in the XML form that build servers read: a test
case of each file, which fails where it differs or is missing, and one of each part of
the work that failed.`,
		Example: `  plenilune verify night.hcl
  plenilune verify night.hcl --junit report.xml
  plenilune verify night.hcl --clips /media/disk/clips --only disk.png`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return f.verify(cmd.Context(), cmd.OutOrStdout(), cmd.ErrOrStderr(), args[0], scratch, junit)
		},
	}
	fl := cmd.Flags()
	fl.IntVarP(&f.jobs, "jobs", "j", 0, "`N` workers (default: one a processor)")
	fl.StringVar(&f.memory, "memory", "", "`SIZE` of memory that the work may take, as in 4GB (default: half of what is free)")
	fl.BoolVar(&f.json, "json", false, "print one JSON object a line on stdout")
	fl.StringVarP(&f.out, "out", "o", "", "output `DIR` to compare with (default: the manifest's name without ending, then -out, beside it)")
	fl.StringVar(&f.clips, "clips", "", "look for the manifest's files under `DIR` instead")
	fl.StringArrayVar(&f.set, "set", nil, "`NAME=VALUE` replaces an entry of the manifest's settings block; may be repeated")
	fl.StringArrayVar(&f.only, "only", nil, "compare the file (disk.png) of this `NAME` alone; may be repeated")
	fl.StringVar(&scratch, "scratch", "", "keep what is computed on the way in a new folder in `DIR` (default: beside the output folder)")
	fl.StringVar(&junit, "junit", "", "write a summary for build servers to `FILE`, as JUnit's XML")
	return cmd
}

// verify makes everything anew in an empty cache and shows how it compares.
func (f *runFlags) verify(ctx context.Context, stdout, stderr io.Writer, file, scratch, junit string) error {
	m, err := loadManifest(stderr, file, f.clips, f.set)
	if err != nil {
		return err
	}
	opts, err := f.verifyOptions(file)
	if err != nil {
		return err
	}
	if _, err := os.Stat(opts.OutDir); err != nil {
		return requestf("there is nothing to compare with: %v; run the manifest first, or say where with -o DIR", err)
	}
	if scratch == "" {
		scratch = filepath.Dir(filepath.Clean(opts.OutDir))
	}
	dir, err := os.MkdirTemp(scratch, ".plenilune-verify-")
	if err != nil {
		return requestf("make a folder for what is computed on the way: %v; say where with --scratch DIR", err)
	}
	defer os.RemoveAll(dir)
	c, err := cache.Open(ctx, dir, cache.Options{Build: buildName(), Warn: func(text string) { fmt.Fprintf(stderr, "warning: cache: %s\n", text) }})
	if err != nil {
		return err
	}
	defer c.Close()
	s := newScreen(stdout, stderr, f.json)
	defer s.close()
	var failed []pipeline.StepEvent
	s.also = func(e pipeline.Event) {
		if e.Step != nil && e.Step.State == pipeline.Failed {
			failed = append(failed, *e.Step)
		}
	}
	opts.Observer = s.event
	ahead := foretelling{screen: s, cache: dir, out: dir, volume: volumeOf}
	opts.Expect = ahead.expect
	proofs, _, err := pipeline.Verify(ctx, m, c, opts, recordOf)
	s.close()
	if err != nil && !errors.Is(err, pipeline.ErrIncomplete) {
		return err
	}
	if junit != "" {
		if err := junitOf(file, proofs, failed).write(junit); err != nil {
			return err
		}
	}
	if len(proofs) == 0 && err == nil {
		return requestf("--only %s: no file is made of it, so that there is nothing to compare; name a file, as in --only disk.png", strings.Join(f.only, ", "))
	}
	if f.json {
		showProofsJSON(s, proofs)
	} else if len(proofs) > 0 {
		if err := showProofs(stdout, proofs); err != nil {
			return err
		}
	}
	return endOf(stderr, proofs, err)
}

func (f *runFlags) verifyOptions(file string) (opts pipeline.Options, err error) {
	if f.jobs < 0 {
		return opts, requestf("-j %d: want at least 1 worker", f.jobs)
	}
	opts = pipeline.Options{OutDir: outDir(file, f.out), Jobs: f.jobs, Only: f.only, Build: buildName(), Costs: steps.Costs{}}
	if opts.Jobs == 0 {
		opts.Jobs = runtime.GOMAXPROCS(0)
	}
	opts.Memory, err = f.budget()
	return opts, err
}

// endOf is the error, if any, that proofs and what came in the way of making them end in.
func endOf(stderr io.Writer, proofs []pipeline.Proof, err error) error {
	if slices.ContainsFunc(proofs, func(p pipeline.Proof) bool { return p.State != pipeline.Proven && p.State != pipeline.Unmade }) {
		return &toldError{exitDiffers}
	}
	if err != nil || slices.ContainsFunc(proofs, func(p pipeline.Proof) bool { return p.State == pipeline.Unmade }) {
		fmt.Fprintln(stderr, "plenilune:", cmp.Or(err, pipeline.ErrIncomplete))
		return &toldError{exitFailed}
	}
	return nil
}

// showProofs prints the table of files, and below it where those that differ go apart first.
func showProofs(w io.Writer, proofs []pipeline.Proof) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	same := 0
	for _, p := range proofs {
		if p.State == pipeline.Proven {
			same++
		}
		id := ""
		if p.ID != (pipeline.ID{}) {
			id = "sha256:" + p.ID.String()
		}
		fmt.Fprintf(t, "%s\t%s\t%s\n", p.State, p.File, id)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	for _, p := range proofs {
		if p.Reason == "" {
			continue
		}
		at := p.File
		if p.Step != "" {
			at += ", first at " + p.Step
		}
		fmt.Fprintf(w, "\n%s: %s\n", at, p.Reason)
		for _, c := range p.Change {
			fmt.Fprintf(w, "    %s: %s → %s\n", c.What, orNone(c.Old), orNone(c.New))
		}
	}
	files := "files"
	if len(proofs) == 1 {
		files = "file"
	}
	_, err := fmt.Fprintf(w, "\n%d of %d %s the same, bit for bit\n", same, len(proofs), files)
	return err
}

func showProofsJSON(s *screen, proofs []pipeline.Proof) {
	for _, p := range proofs {
		changes := []map[string]string{}
		for _, c := range p.Change {
			changes = append(changes, map[string]string{"what": c.What, "old": c.Old, "new": c.New})
		}
		s.object(map[string]any{"event": "compared", "path": p.File, "state": string(p.State), "id": p.ID.String(),
			"step": p.Step, "reason": p.Reason, "changes": changes})
	}
}
