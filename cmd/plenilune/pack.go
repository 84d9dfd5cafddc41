package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"plenilune/pipeline"
	"plenilune/steps"
	"plenilune/steps/publish"
)

type packFlags struct {
	cacheFlags
	workFlags
	out, run, clips, date, license string
	set                            []string
	json, withClips, withPanels    bool
	site, comments                 bool
}

func packCommand() *cobra.Command {
	var f packFlags
	cmd := &cobra.Command{
		Use:   "pack FILE",
		Short: "Put a manifest that was run, with the record of all it made, into one file to give away",
		Long: `pack writes one zip file that holds a recipe: the manifest, the record of everything that
its last run made, the SHA-256 and size of all that went in and came out, the versions of
all parts, and small pictures. It is an RO-Crate (1.1, with the profiles Process Run Crate
and Workflow Run Crate), which other programs read too. The manifest must have been run as
it stands: no picture is computed; files that are not known yet are read and looked at,
within -j and --memory. Equal runs give equal packs, to the last byte.

Left at home are: the site, with time zone and skyline, in the place of which the manifest
says how the Moon was turned at each clip, so that it makes the same to the last bit
(--with-site keeps them); comments (--with-comments keeps them); and the names of clips,
which go by the head of their SHA-256. Stacked panels go along by --with-panels, with their
times, so that the mosaic and all after it can be made again when the clips are gone. Panels
that a panels block reads from files go along by it, too, and clips themselves by --with-clips,
each as it is: with its times and what else other programs wrote into it, which may tell the
place and the observer.

--from names the output folder of the run, which run and verify call -o. The line of --json
tells how many files went in (inputs) and came out (outputs), and how many stacked panels
(panels) and files as they are, of clips or panels (as_they_are), the pack holds.`,
		Example: `  plenilune pack night.hcl -o moon.zip
  plenilune pack night.hcl --with-clips --license https://creativecommons.org/licenses/by/4.0/`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return f.pack(cmd.Context(), cmd.OutOrStdout(), cmd.ErrOrStderr(), args[0])
		},
	}
	f.cacheFlags.add(cmd)
	f.workFlags.add(cmd)
	fl := cmd.Flags()
	fl.StringVarP(&f.out, "out", "o", "", "write the pack to `FILE` (default: the manifest's name with the ending .zip)")
	fl.StringVar(&f.run, "from", "", "output `DIR` of the run (default: as run has it)")
	fl.StringVar(&f.clips, "clips", "", "look for the manifest's files under `DIR` instead, as they were for the run")
	fl.StringArrayVar(&f.set, "set", nil, "`NAME=VALUE` replaces an entry of the manifest's settings block, as it was for the run; may be repeated")
	fl.StringVar(&f.date, "date", "", "`DATE` of the night, as 2027-03-19 (default: as the manifest says or its clips or panels tell, or "+pipeline.Undated+")")
	fl.StringVar(&f.license, "license", "", "`ADDRESS` of the terms under which it is given away")
	fl.BoolVar(&f.withClips, "with-clips", false, "put the clips, darks and flats in too, and panels from files")
	fl.BoolVar(&f.withPanels, "with-panels", false, "put every stacked panel with all its planes in, and a manifest that begins with them; panels from files, too")
	fl.BoolVar(&f.site, "with-site", false, "keep the site, time zone and skyline in the manifest")
	fl.BoolVar(&f.comments, "with-comments", false, "keep the manifest's comments")
	fl.BoolVar(&f.json, "json", false, "print one JSON object a line on stdout")
	return cmd
}

// pack writes the pack of a manifest and says what is in it.
func (f *packFlags) pack(ctx context.Context, stdout, stderr io.Writer, file string) error {
	over, err := overrides(f.set)
	if err != nil {
		return err
	}
	m, err := loadManifest(stderr, file, f.clips, f.set)
	if err != nil {
		return err
	}
	o := pipeline.PackOptions{OutDir: outDir(file, f.run), Overrides: over, Steps: steps.All(), Program: revision(), License: f.license,
		Date: f.date, Taken: packTaken, Clips: f.withClips, Site: f.site, Comments: f.comments, Look: packLook}
	if o.Jobs, o.Memory, err = f.bounds(); err != nil {
		return err
	}
	if f.withPanels {
		o.Panel = publish.WritePanel
	}
	if _, err := time.Parse(time.DateOnly, f.date); f.date != "" && err != nil {
		return requestf("--date %s: want a day such as 2027-03-19", f.date)
	}
	if u, err := url.Parse(f.license); f.license != "" && (err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http") {
		return requestf("--license %s: want an address in the web, such as https://creativecommons.org/licenses/by/4.0/", f.license)
	}
	out := f.out
	if out == "" {
		out = strings.TrimSuffix(file, filepath.Ext(file)) + ".zip"
	}
	c, err := f.open(ctx, stderr)
	if err != nil {
		return err
	}
	defer c.Close()
	x, err := pipeline.PackTo(ctx, out, m, c, o)
	if err != nil {
		return err
	}
	st, err := os.Stat(out)
	if err != nil {
		return fmt.Errorf("look at the pack: %w", err)
	}
	f.tell(stdout, stderr, out, st.Size(), m, x)
	return nil
}

// tell says what is in the pack and what stays at home.
func (f *packFlags) tell(stdout, stderr io.Writer, out string, size int64, m *pipeline.Manifest, x pipeline.PackIndex) {
	looks := 0
	for _, o := range x.Outputs {
		if o.Look != "" {
			looks++
		}
	}
	var along, left []pipeline.PackInput // those that are in it as they are, and the others
	for _, in := range x.Inputs {
		if in.In {
			along = append(along, in)
		} else {
			left = append(left, in)
		}
	}
	var home []string
	for _, h := range []struct {
		kept bool
		what string
	}{{f.site || m.Night.Site == nil, "the site"}, {f.comments, "comments"}, {false, "names of " + sorts(x.Inputs)}, {len(left) == 0, "the " + sorts(left) + " themselves"}} {
		if !h.kept {
			home = append(home, h.what)
		}
	}
	if f.json {
		s := newScreen(stdout, stderr, true)
		s.object(map[string]any{"event": "packed", "path": filepath.ToSlash(out), "bytes": size, "date": x.Date, "inputs": len(x.Inputs),
			"outputs": len(x.Outputs), "previews": looks, "panels": len(x.Panels), "as_they_are": len(along), "with_clips": f.withClips, "with_site": x.Site, "left_out": home})
		return
	}
	fmt.Fprintf(stderr, "%s: the recipe of %s, made from %s, with %s\n", bytesText(size), pipeline.Counted(len(x.Outputs), "file"), pipeline.CountedInputs(x.Inputs), pipeline.Counted(looks, "preview"))
	if len(x.Panels) > 0 {
		fmt.Fprintf(stderr, "in it too: %s, with the times at which they were taken, to begin with when the clips are gone\n", pipeline.Counted(len(x.Panels), "panel"))
	}
	if len(along) > 0 {
		fmt.Fprintf(stderr, "in it as they are: %s, with their times and whatever other programs wrote into them, place and observer too\n", pipeline.CountedInputs(along))
	}
	fmt.Fprintf(stderr, "left at home: %s\n", strings.Join(home, ", "))
	fmt.Fprintln(stdout, filepath.ToSlash(out))
}

// sorts says what files are: clips, for which darks and flats count too, panels, or both.
func sorts(ins []pipeline.PackInput) string {
	panels := 0
	for _, in := range ins {
		if in.OfPanels() {
			panels++
		}
	}
	switch panels {
	case 0:
		return "clips"
	case len(ins):
		return "panels"
	}
	return "clips and panels"
}

// revision names this program without the machine that it runs on.
func revision() string {
	b, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	for _, s := range b.Settings {
		if s.Key == "vcs.revision" && len(s.Value) >= 12 {
			return s.Value[:12]
		}
	}
	return b.Main.Version
}

// packError gives a fault of an archive its file, and makes it a wrong request.
func packError(file string, err error) error {
	var fault *pipeline.PackError
	if errors.As(err, &fault) {
		return requestf("%s: %s; nothing was written", filepath.ToSlash(file), fault.Text)
	}
	return err
}

// openPack opens an archive; the returned function closes it.
func openPack(file string) (*pipeline.Pack, func() error, error) {
	st, err := os.Stat(file)
	if err == nil && !st.Mode().IsRegular() {
		return nil, nil, requestf("%s is not a file", filepath.ToSlash(file))
	}
	if err != nil {
		return nil, nil, requestf("open the pack: %v", err)
	}
	f, err := os.Open(file)
	if err != nil {
		return nil, nil, requestf("open the pack: %v", err)
	}
	p, err := pipeline.OpenPack(f, st.Size())
	if err != nil {
		return nil, nil, errors.Join(packError(file, err), f.Close())
	}
	return p, f.Close, nil
}
