package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"plenilune/cache"
	"plenilune/pipeline"
	"plenilune/steps"
)

// verifyFlags are those of verify, of a manifest or a pack.
type verifyFlags struct {
	runFlags
	scratch string
	junit   string
}

func verifyCommand() *cobra.Command {
	var f verifyFlags
	cmd := &cobra.Command{
		Use:   "verify FILE|PACK",
		Short: "Make every picture of a manifest, or of a pack, anew, without the cache, and compare bit for bit",
		Long: `verify computes everything that a manifest asks for once more, looking nothing up in
the cache, and compares every picture with the one in the output folder, bit for bit.
Nothing there is changed. What it computes on the way goes into a folder of its own,
which is removed at the end.

Of a pack it makes anew what the pack tells of, from the clips in it and those that it finds
under --clips, by their content, whatever they are called; what cannot be made for lack of
clips is named, with them, and made from the pack's panels if it has any.

The table on stdout says of each file "same", "same picture" (the pixels are equal, the
record in it is not), "same pixels" (made from a pack's panels), "differs", "missing" or
"not made", and of those that differ the first part of the work at which the two go apart.
Exit code 3 says that something differs, 1 that something could not be made anew, 0 that
all is the same. From panels the pixels are proved, and not the file with its record, which
tells of clips: where all else is the same, the exit code is 0 too, and a line says so.

With --junit it also writes a summary in the XML form that build servers read: a test
case of each file, which fails where it differs or is missing and is skipped where its
pixels alone are proved, and one of each part of the work that failed. It replaces an
earlier summary, and no other file.`,
		Example: `  plenilune verify night.hcl
  plenilune verify night.hcl --junit report.xml
  plenilune verify night.hcl --clips /media/disk/clips --only disk.png
  plenilune verify moon.zip --clips /media/disk/clips`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := verifiable(args[0]); err != nil {
				return err
			}
			if err := junitOrNothing(f.junit); err != nil {
				return err
			}
			verify := f.verify
			if pipeline.IsPackFile(args[0]) {
				verify = f.verifyPack
			}
			return verify(cmd.Context(), cmd.OutOrStdout(), cmd.ErrOrStderr(), args[0])
		},
	}
	f.workFlags.add(cmd)
	fl := cmd.Flags()
	fl.BoolVar(&f.json, "json", false, "print one JSON object a line on stdout")
	fl.StringVarP(&f.out, "out", "o", "", "output `DIR` to compare with (default: the manifest's name without ending, then -out, beside it)")
	fl.StringVar(&f.clips, "clips", "", "look for the manifest's files under `DIR` instead")
	fl.StringArrayVar(&f.set, "set", nil, "`NAME=VALUE` replaces an entry of the manifest's settings block; may be repeated")
	fl.StringArrayVar(&f.only, "only", nil, "compare the file (disk.png) of this `NAME` alone; may be repeated")
	fl.StringVar(&f.scratch, "scratch", "", "keep what is computed on the way in a new folder in `DIR` (default: beside the output folder)")
	fl.StringVar(&f.junit, "junit", "", "write a summary for build servers to `FILE`, as JUnit's XML")
	return cmd
}

// verifiable says what to name where nothing that can be verified is named.
func verifiable(file string) error {
	st, err := os.Stat(file)
	name := filepath.ToSlash(file)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return requestf("there is no file %s: name the manifest that was run, or a pack", name)
	case err == nil && st.IsDir():
		return requestf("%s is a folder: name the manifest that was run, as in verify %s, or a pack", name, path.Join(name, manifestIn(file)))
	}
	return nil
}

// manifestIn is the name of the manifest in a folder: that of a pack, or of most nights, where it stands.
func manifestIn(dir string) string {
	const usual = "night.hcl"
	if _, err := os.Stat(filepath.Join(dir, usual)); err == nil {
		return usual
	}
	if found, err := filepath.Glob(filepath.Join(dir, "*.hcl")); err == nil && len(found) > 0 {
		return filepath.Base(found[0])
	}
	return usual
}

// verify makes everything anew in an empty cache and shows how it compares.
func (f *verifyFlags) verify(ctx context.Context, stdout, stderr io.Writer, file string) error {
	m, err := loadManifest(stderr, file, f.clips, f.set)
	if err != nil {
		return err
	}
	opts, err := f.options()
	if err != nil {
		return err
	}
	opts.OutDir, opts.Costs = outDir(file, f.out), steps.Costs{}
	if _, err := os.Stat(opts.OutDir); err != nil {
		return requestf("there is nothing to compare with: %v; run the manifest first, or say where with -o DIR", err)
	}
	dir, done, err := f.folder(filepath.Dir(filepath.Clean(opts.OutDir)))
	if err != nil {
		return err
	}
	defer done()
	c, err := f.emptyCache(ctx, dir, stderr)
	if err != nil {
		return err
	}
	defer c.Close()
	s := newScreen(stdout, stderr, f.json)
	defer s.close()
	var failed failures
	s.also, opts.Observer = failed.note, s.event
	ahead := foretelling{screen: s, cache: dir, out: dir, volume: volumeOf}
	opts.Expect = ahead.expect
	proofs, _, err := pipeline.Verify(ctx, m, c, opts, recordOf)
	s.close()
	if err != nil && !errors.Is(err, pipeline.ErrIncomplete) {
		return err
	}
	return f.judge(stdout, stderr, comparison{file, proofs, nil, failed, err})
}

// folder makes one for what is computed on the way, where --scratch says, or else beside something; done removes it.
func (f *verifyFlags) folder(beside string) (dir string, done func(), err error) {
	if f.scratch != "" {
		beside = f.scratch
	}
	if dir, err = os.MkdirTemp(beside, ".plenilune-verify-"); err != nil {
		return "", nil, requestf("make a folder for what is computed on the way: %v; say where with --scratch DIR", err)
	}
	return dir, func() { os.RemoveAll(dir) }, nil
}

func (f *verifyFlags) emptyCache(ctx context.Context, dir string, stderr io.Writer) (*cache.Cache, error) {
	return cache.Open(ctx, dir, cache.Options{Build: buildName(), Warn: func(text string) { fmt.Fprintf(stderr, "warning: cache: %s\n", text) }})
}

// failures are the parts of the work that failed.
type failures []pipeline.StepEvent

func (f *failures) note(e pipeline.Event) {
	if e.Step != nil && e.Step.State == pipeline.Failed {
		*f = append(*f, *e.Step)
	}
}

// comparison is how files compare, which of those that they are made from are missing, and what came in the way of making them.
type comparison struct {
	file    string
	proofs  []pipeline.Proof
	missing []pipeline.PackInput
	failed  failures
	err     error
}

// judge shows how files compare, and ends as that is.
func (f *verifyFlags) judge(stdout, stderr io.Writer, v comparison) error {
	if f.junit != "" {
		if err := junitOf(v).write(f.junit); err != nil {
			return err
		}
	}
	if len(v.proofs) == 0 && v.err == nil {
		return requestf("--only %s: no file is made of it, so that there is nothing to compare; name a file, as in --only disk.png", strings.Join(f.only, ", "))
	}
	if f.json {
		s := newScreen(stdout, stderr, true)
		showProofsJSON(s, v.proofs)
		for _, in := range v.missing {
			s.object(missingObject(in))
		}
	} else if len(v.proofs) > 0 {
		if err := showProofs(stdout, v.proofs); err != nil {
			return err
		}
		if err := tellMissing(stderr, v.missing); err != nil {
			return err
		}
	}
	return endOf(stderr, v.proofs, v.err)
}

// options are of the run that makes everything anew.
func (f *verifyFlags) options() (opts pipeline.Options, err error) {
	opts = pipeline.Options{Only: f.only, Build: buildName()}
	opts.Jobs, opts.Memory, err = f.bounds()
	return opts, err
}

// endOf is the error, if any, that proofs and what came in the way of making them end in.
func endOf(stderr io.Writer, proofs []pipeline.Proof, err error) error {
	if slices.ContainsFunc(proofs, func(p pipeline.Proof) bool { return p.State != pipeline.Proven && !unproven(p) }) {
		return &toldError{exitDiffers}
	}
	if err != nil || slices.ContainsFunc(proofs, func(p pipeline.Proof) bool { return p.State == pipeline.Unmade }) {
		fmt.Fprintln(stderr, "plenilune:", cmp.Or(err, pipeline.ErrIncomplete))
		return &toldError{exitFailed}
	}
	return nil
}

// unproven tells a file of which nothing is known to differ, and whose bytes could not be made anew.
func unproven(p pipeline.Proof) bool { return p.State == pipeline.Unmade || p.State == pipeline.Alike }

// showProofs prints the table of files, and below it where those that differ go apart first.
func showProofs(w io.Writer, proofs []pipeline.Proof) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	count := map[pipeline.ProofState]int{}
	for _, p := range proofs {
		count[p.State]++
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
		if p.Reason == "" || p.State == pipeline.Alike { // the last line says it once of all
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
	fmt.Fprintf(w, "\n%d of %s the same, bit for bit\n", count[pipeline.Proven], pipeline.Counted(len(proofs), "file"))
	var err error
	if n := count[pipeline.Alike]; n > 0 {
		_, err = fmt.Fprintf(w, "%d with the same pixels, made from the pack's panels; only the clips would prove the bytes of the record too\n", n)
	}
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
