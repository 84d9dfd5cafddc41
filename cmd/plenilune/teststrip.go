package main

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"plenilune/pipeline"
	"plenilune/steps"
)

// stripFlags are those of teststrip, beside those of run.
type stripFlags struct {
	runFlags
	at         string
	size, zoom int
	file       string
}

func teststripCommand() *cobra.Command {
	var f stripFlags
	cmd := &cobra.Command{
		Use:   "teststrip FILE NAME.SETTING=V1,V2,… [NAME.SETTING=V1,V2,…]",
		Short: "Show one crop under several values of a setting, side by side",
		Long: `teststrip makes the picture of a manifest several times, once for each value of a
setting, and shows one crop of them side by side on a labelled sheet, a PNG file.
It computes only what differs, and changes nothing in the manifest.

A setting is named by its block's kind and name, the block inside if it stands in one,
and its own name: detail.crisp.fine.boost, detail.crisp.deconvolve.iterations,
finish.print.shadow_lift, stack.panels.keep. With two settings the sheet has a row for
each value of the first and a column for each of the second.

The crop lies where relief is strongest, on lit ground within the limb, or about --at;
of a picture joined anew or at another scale it shows the same ground, or it is said
that this was not found. Under each value stands what is measured before finishing: how fine the crop's detail goes before it is lost in noise
(half the period of the finest pattern), and the noise where the picture's lit ground
is smoothest, against its brightness there. The first grows finer with boost too: it
tells how fine the pattern stands out of the noise after the settings, not what the
telescope resolved.`,
		Example: `  plenilune teststrip night.hcl detail.crisp.fine.boost=1,1.5,2,3
  plenilune teststrip night.hcl detail.crisp.deconvolve.iterations=3,6,12 --at 1450,820 --size 320
  plenilune teststrip night.hcl detail.crisp.fine.boost=1,2 detail.crisp.fine.floor_sigma=0,1,2`,
		Args: cobra.RangeArgs(2, 3),
		RunE: func(cmd *cobra.Command, args []string) error {
			return f.strip(cmd.Context(), cmd.OutOrStdout(), cmd.ErrOrStderr(), args[0], args[1:])
		},
	}
	f.add(cmd)
	fl := cmd.Flags()
	fl.StringVarP(&f.out, "out", "o", "", "output `DIR` (default: the manifest's name without ending, then -out, beside it)")
	fl.StringVar(&f.file, "file", "", "`NAME` of the sheet in the output folder (default: teststrip-BLOCK.SETTING.png)")
	fl.StringVar(&f.at, "at", "", "`X,Y` of the crop's middle, in pixels from the picture's top left corner (default: where relief is strongest)")
	fl.IntVar(&f.size, "size", 256, "side of the crop in `PIXELS`, 32 to 2048")
	fl.IntVar(&f.zoom, "zoom", 1, "show each pixel as `N` by N")
	fl.StringVar(&f.clips, "clips", "", "look for the manifest's files under `DIR` instead")
	fl.StringArrayVar(&f.set, "set", nil, "`NAME=VALUE` replaces an entry of the manifest's settings block; may be repeated")
	return cmd
}

// axis is one setting and the values that it is shown with.
type axis struct {
	path   string
	values []string
}

// mostTiles and mostSheetPx keep a sheet within what a screen shows and a viewer opens.
const (
	mostTiles   = 64
	mostSheetPx = 100_000_000
)

func axes(args []string) ([]axis, error) {
	var out []axis
	tiles := 1
	for _, a := range args {
		path, list, ok := strings.Cut(a, "=")
		if !ok || path == "" || strings.Trim(list, ", ") == "" {
			return nil, requestf("%s: want NAME.SETTING=V1,V2,…, as in detail.crisp.fine.boost=1,1.5,2", a)
		}
		x := axis{path: path}
		for v := range strings.SplitSeq(list, ",") {
			v = strings.TrimSpace(v)
			if v == "" || slices.Contains(x.values, v) {
				return nil, requestf("%s: a value is empty or stands there twice; separate values by commas", a)
			}
			x.values = append(x.values, v)
		}
		tiles *= len(x.values)
		out = append(out, x)
	}
	if len(out) == 2 && out[0].path == out[1].path {
		return nil, requestf("%s is named twice; put all its values after one =", out[0].path)
	}
	if tiles > mostTiles {
		return nil, requestf("%d tiles are more than the %d of a sheet; give fewer values", tiles, mostTiles)
	}
	return out, nil
}

// strip makes the sheet.
func (f *stripFlags) strip(ctx context.Context, stdout, stderr io.Writer, file string, args []string) error {
	ax, err := axes(args)
	if err != nil {
		return err
	}
	block, err := f.block(ax)
	if err != nil {
		return err
	}
	m, err := loadManifest(stderr, file, f.clips, f.set)
	if err != nil {
		return err
	}
	over, err := overrides(f.set)
	if err != nil {
		return err
	}
	if err := ownFile(m, block.file); err != nil {
		return err
	}
	varied, labels, err := varied(m, over, ax, block.text)
	if err != nil {
		return err
	}
	if diags := varied.ResolveFiles(f.clips); diags.HasErrors() {
		return diags.Err()
	}
	f.only = []string{"teststrip." + varied.Blocks[len(varied.Blocks)-1].Name}
	s := newScreen(stdout, stderr, f.json)
	s.also = func(e pipeline.Event) {
		done := e.Step != nil && (e.Step.State == pipeline.Ran || e.Step.State == pipeline.Cached)
		if done && strings.HasPrefix(e.Step.Step, "teststrip.") && filepath.Base(e.Step.Step) == "sheet" {
			tellTiles(s, labels, e.Step.Facts)
		}
	}
	return f.execute(ctx, s, varied, outDir(file, f.out))
}

// ownFile refuses a sheet in the place of a file that the manifest's run delivers.
func ownFile(m *pipeline.Manifest, file string) error {
	by, name, taken := m.OutputOf(file)
	switch {
	case taken && name == file:
		return requestf("--file %s: %s delivers that file; give the sheet another name", file, by)
	case taken:
		return requestf("--file %s: %s delivers %s, in the same place; give the sheet another name", file, by, name)
	}
	return nil
}

// stripBlock is a teststrip block but for its name and its tiles.
type stripBlock struct{ file, text string }

func (f *stripFlags) block(ax []axis) (b stripBlock, err error) {
	if f.size < 32 || f.size > 2048 {
		return b, requestf("--size %d: want 32 to 2048 px", f.size)
	}
	if f.zoom < 1 || f.zoom > 8 {
		return b, requestf("--zoom %d: want 1 to 8", f.zoom)
	}
	tiles := 1
	for _, a := range ax {
		tiles *= len(a.values)
	}
	if px := tiles * f.size * f.size * f.zoom * f.zoom; px > mostSheetPx {
		return b, requestf("--size %d --zoom %d: %d tiles make a sheet of %d million pixels, and %d are the most; lower one of them, or give fewer values", f.size, f.zoom, tiles, px/1e6, mostSheetPx/1_000_000)
	}
	name, title := f.file, []string{}
	for _, a := range ax {
		title = append(title, a.path)
	}
	if name == "" {
		name = "teststrip"
		for _, a := range ax {
			_, rest, _ := strings.Cut(a.path, ".")
			name += "-" + rest
		}
		name += ".png"
	}
	columns := 0
	if len(ax) == 2 {
		columns = len(ax[1].values)
	}
	text := fmt.Sprintf("  file    = %s\n  title   = %s\n  columns = %d\n  size_px = %d\n  zoom    = %d\n",
		quote(name), quote(strings.Join(title, " by ")), columns, f.size, f.zoom)
	if f.at != "" {
		across, down, ok := strings.Cut(f.at, ",")
		x, err1 := strconv.ParseFloat(strings.TrimSpace(across), 64)
		y, err2 := strconv.ParseFloat(strings.TrimSpace(down), 64)
		if !ok || err1 != nil || err2 != nil || x < 0 || y < 0 {
			return b, requestf("--at %s: want X,Y in pixels, as in --at 1450,820", f.at)
		}
		text += fmt.Sprintf("  middle {\n    x_px = %g\n    y_px = %g\n  }\n", x, y)
	}
	return stripBlock{name, text}, nil
}

// quote is a text as a manifest writes it.
func quote(s string) string {
	return strconv.Quote(strings.NewReplacer("${", "$${", "%{", "%%{").Replace(s))
}

// varied is the manifest with all variants in it, and a test strip of them; labels
// are what stands under its tiles.
func varied(m *pipeline.Manifest, over []pipeline.Override, ax []axis, block string) (*pipeline.Manifest, []string, error) {
	m, last, err := withFinish(m, over, ax)
	if err != nil {
		return nil, nil, err
	}
	var variants [][]pipeline.Tweak
	var labels []string
	called := names(ax)
	for _, v := range ax[0].values {
		if len(ax) == 1 {
			variants, labels = append(variants, []pipeline.Tweak{{Path: ax[0].path, Value: v}}), append(labels, called[0]+" = "+v)
			continue
		}
		for _, w := range ax[1].values {
			variants = append(variants, []pipeline.Tweak{{Path: ax[0].path, Value: v}, {Path: ax[1].path, Value: w}})
			labels = append(labels, fmt.Sprintf("%s = %s, %s = %s", called[0], v, called[1], w))
		}
	}
	vs, err := pipeline.Vary(m, steps.All(), over, variants, last)
	if err != nil {
		return nil, nil, err
	}
	var b strings.Builder
	b.Write(vs.Source)
	name := "strip"
	for m.Block(pipeline.Ref{Kind: "teststrip", Name: name}) != nil {
		name += "x"
	}
	fmt.Fprintf(&b, "\nteststrip %q {\n%s", name, block)
	linear := m.Block(last).Refs[0]
	for i, of := range vs.Of {
		from := linear
		if r, ok := of[linear]; ok {
			from = r
		}
		fmt.Fprintf(&b, "  tile \"t%d\" {\n    label  = %s\n    image  = %s\n    linear = %s\n  }\n", i+1, quote(labels[i]), of[last], from)
	}
	b.WriteString("}\n")
	out, diags := pipeline.LoadManifest(m.File, []byte(b.String()), steps.All(), over)
	out.Programs = m.Programs
	if err := diags.Err(); err != nil {
		return nil, nil, requestf("put the variants into the manifest: %v", err)
	}
	return out, labels, nil
}

// names are what the settings are called on the sheet: the last word of their paths, or
// the last two where that is the same.
func names(ax []axis) []string {
	out := make([]string, len(ax))
	for words := 1; words <= 2; words++ {
		for i, a := range ax {
			w := strings.Split(a.path, ".")
			out[i] = strings.Join(w[len(w)-words:], ".")
		}
		if len(out) < 2 || out[0] != out[1] {
			break
		}
	}
	return out
}

// withFinish returns the manifest and the finish block whose picture is shown: the
// first that all the blocks to be changed go into. Where there is none, one with
// nothing set is added behind the last picture that they make.
func withFinish(m *pipeline.Manifest, over []pipeline.Override, ax []axis) (*pipeline.Manifest, pipeline.Ref, error) {
	var changed []pipeline.Ref
	for _, a := range ax {
		if w := strings.SplitN(a.path, ".", 3); len(w) == 3 {
			changed = append(changed, pipeline.Ref{Kind: w[0], Name: w[1]})
		}
	}
	var picture pipeline.Ref
	for _, b := range m.Blocks {
		r := pipeline.Ref{Kind: b.Kind, Name: b.Name}
		if !shows(m, r, changed) {
			continue
		}
		switch b.Kind {
		case "finish":
			return m, r, nil
		case "stack", "mosaic", "detail":
			picture = r
		}
	}
	if picture == (pipeline.Ref{}) {
		return nil, picture, noPicture(m, over, ax)
	}
	name := "strip"
	for m.Block(pipeline.Ref{Kind: "finish", Name: name}) != nil {
		name += "x"
	}
	src := fmt.Sprintf("%s\nfinish %q {\n  image = %s\n}\n", m.Source, name, picture)
	out, diags := pipeline.LoadManifest(m.File, []byte(src), steps.All(), over)
	out.Programs = m.Programs
	return out, pipeline.Ref{Kind: "finish", Name: name}, diags.Err()
}

// noPicture says why no picture depends on the settings named.
func noPicture(m *pipeline.Manifest, over []pipeline.Override, ax []axis) error {
	for _, a := range ax {
		w := strings.SplitN(a.path, ".", 3)
		if len(w) == 3 && m.Block(pipeline.Ref{Kind: w[0], Name: w[1]}) != nil {
			continue
		}
		_, err := pipeline.Vary(m, steps.All(), over, [][]pipeline.Tweak{{{Path: a.path, Value: a.values[0]}}}, pipeline.Ref{})
		return err
	}
	return requestf("%s: no picture of this manifest depends on it; name a setting of a clips, stack, mosaic, detail or finish block", ax[0].path)
}

// shows tells whether a block comes after all those that are changed.
func shows(m *pipeline.Manifest, r pipeline.Ref, changed []pipeline.Ref) bool {
	return len(changed) > 0 && !slices.ContainsFunc(changed, func(c pipeline.Ref) bool { return m.Block(c) == nil || !m.Needs(r, c) })
}

// tellTiles says what was measured, a line or a JSON object a tile.
func tellTiles(s *screen, labels []string, facts []pipeline.Fact) {
	get := func(tile int, name string) (float64, bool) {
		i := slices.IndexFunc(facts, func(f pipeline.Fact) bool { return f.Name == fmt.Sprintf("tile_%d_%s", tile, name) })
		if i < 0 {
			return 0, false
		}
		return facts[i].Value, true
	}
	for i, label := range labels {
		detail, seen := get(i+1, "finest_detail")
		sky, scaled := get(i+1, "finest_detail_on_the_sky")
		noise, smooth := get(i+1, "noise")
		if s.json {
			o := map[string]any{"event": "tile", "tile": i + 1, "label": label}
			for name, v := range map[string]struct {
				value float64
				known bool
			}{"noise_pct": {noise, smooth}, "finest_detail_px": {detail, seen}, "finest_detail_arcsec": {sky, scaled}} {
				if v.known {
					o[name] = v.value
				}
			}
			s.object(o)
			continue
		}
		var words []string
		if seen {
			words = append(words, fmt.Sprintf("detail to %.2f px", detail))
		}
		if scaled {
			words = append(words, fmt.Sprintf("%.2f″", sky))
		}
		if smooth {
			words = append(words, fmt.Sprintf("noise %.2f %%", noise))
		}
		if len(words) == 0 {
			words = append(words, "nothing could be measured")
		}
		s.line("%s: %s", label, strings.Join(words, ", "))
	}
}
