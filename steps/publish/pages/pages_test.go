package pages

import (
	"archive/tar"
	"bytes"
	"encoding/json"
	"image"
	"image/jpeg"
	"io"
	"math"
	"slices"
	"strings"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/kernel/srgb"
	"plenilune/steps/kernel/warp"
	"plenilune/steps/publish/iiif"
)

func tilesPart(side int) pipeline.Part {
	return pipeline.Part{Name: "tiles", Settings: tileSettings{side, tilesFolder}, Out: []string{"folder", "layout"}, Run: pipeline.Bind(runTiles)}
}

func pagesPart(s pageSettings) pipeline.Part {
	return pipeline.Part{Name: "pages", Settings: s, Out: []string{"folder"}, Run: pipeline.Bind(runPages)}
}

// filesOf unpacks a folder.
func filesOf(t *testing.T, b []byte) map[string][]byte {
	t.Helper()
	out := map[string][]byte{}
	r := tar.NewReader(bytes.NewReader(b))
	for {
		h, err := r.Next()
		if err == io.EOF {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		if out[h.Name], err = io.ReadAll(r); err != nil {
			t.Fatal(err)
		}
	}
}

// ramp is a picture whose brightness rises smoothly to the right and down, by channels in different ways.
func ramp(w, h, channels int) pipelinetest.Plane {
	p := pipelinetest.Plane{W: w, H: h}
	for c := range channels {
		pix := make([]float32, w*h)
		for i := range pix {
			x, y := float64(i%w)/float64(w), float64(i/w)/float64(h)
			pix[i] = float32(0.2 + 0.3*x + 0.3*y + 0.1*float64(c)*x)
		}
		p.Pix = append(p.Pix, pix)
	}
	return p
}

// TestTilesShowThePicture decodes every tile and holds it against the picture at its place.
func TestTilesShowThePicture(t *testing.T) {
	for _, c := range []struct{ w, h, channels, side int }{{301, 203, 1, 64}, {130, 257, 3, 64}, {50, 40, 1, 64}} {
		in := ramp(c.w, c.h, c.channels)
		r := pipelinetest.Run(t, tilesPart(c.side), map[string][]any{"image": {in}})
		files := filesOf(t, r.Bytes("folder"))
		l := iiif.Layout{W: c.w, H: c.h, Tile: c.side}
		want := map[string]iiif.Tile{tilesFolder + l.All().Name(): l.All()}
		for _, s := range l.Scales() {
			for _, row := range l.Tiles(s) {
				for _, tile := range row {
					want[tilesFolder+tile.Name()] = tile
				}
			}
		}
		if len(files) != len(want) {
			t.Errorf("%v: %d files, want %d", c, len(files), len(want))
		}
		for name, tile := range want {
			img, err := jpeg.Decode(bytes.NewReader(files[name]))
			if err != nil {
				t.Errorf("%v: %s: %v", c, name, err)
				continue
			}
			if b := img.Bounds(); b != image.Rect(0, 0, tile.Width, tile.Height) {
				t.Errorf("%v: %s is %v", c, name, b)
			}
			holdsPicture(t, img, tile, in, name)
		}
	}
}

// holdsPicture compares a tile's pixels with the middle of the ground that each stands for: the ramp is nearly straight, so
// that its mean there is the picture's value; JPEG is off by some levels.
func holdsPicture(t *testing.T, img image.Image, tile iiif.Tile, in pipelinetest.Plane, name string) {
	t.Helper()
	for y := 0; y < tile.Height-1; y += 3 {
		for x := 0; x < tile.Width-1; x += 3 {
			sx, sy := tile.X+x*tile.Scale+tile.Scale/2, tile.Y+y*tile.Scale+tile.Scale/2
			if sx >= in.W || sy >= in.H {
				continue
			}
			red, _, blue, _ := img.At(x, y).RGBA()
			for c, got := range []uint32{red, blue} {
				want := 255 * float64(in.Pix[min(2*c, len(in.Pix)-1)][sy*in.W+sx])
				if math.Abs(float64(got>>8)-want) > 8 {
					t.Fatalf("%s: pixel %d,%d is %d, the picture there %.0f", name, x, y, got>>8, want)
				}
			}
		}
	}
}

// A checkerboard of black and white makes half the light, not half the sRGB value.
func TestHalvesByLight(t *testing.T) {
	l := newLevel(4, 3, 1)
	for i := range l.pix {
		l.pix[i] = byte(255 * ((i%4 + i/4) % 2))
	}
	dst := make([]byte, 2)
	l.halfRow(dst, 0, newLightTables())
	if want := byte(math.Floor(255*srgb.Encode(0.5) + 0.5)); dst[0] != want || dst[1] != want {
		t.Errorf("got %v, want %d", dst, want)
	}
	l.halfRow(dst, 1, newLightTables()) // the last row alone
	if want := byte(math.Floor(255*srgb.Encode(0.5) + 0.5)); dst[0] != want {
		t.Errorf("at the lower edge: got %v, want %d", dst, want)
	}
}

func TestSameTilesForAnyWorkers(t *testing.T) {
	ids := map[pipeline.ID]bool{}
	for _, workers := range []int{1, 2, 7} {
		b := pipelinetest.New()
		b.Workers = workers
		r, err := b.Run(t, tilesPart(64), map[string][]any{"image": {ramp(500, 390, 3)}})
		if err != nil {
			t.Fatal(err)
		}
		ids[r.Outputs["folder"]] = true
	}
	if len(ids) != 1 {
		t.Errorf("%d different folders of tiles", len(ids))
	}
}

// seenNight is a night of two panels on a disk of 400 px radius; one panel is not placed.
func seenNight(north float64, mirrored bool) map[string][]any {
	places := map[string]any{"panels": []map[string]any{{"id": strings.Repeat("a", 64), "placed": true, "factor": 1.02, "overlap_rms_px": 0.3},
		{"id": strings.Repeat("b", 64), "why": "nothing in it matches <b>"}},
		"limb": map[string]any{"found": true, "x": 500, "y": 450, "radius_px": 400, "arc_deg": 200}, "scale_arcsec_per_px": 2.3, "px_per_sensor_px": 1,
		"overlaps": []map[string]any{{"a": strings.Repeat("a", 64), "b": strings.Repeat("b", 64), "windows": 4, "rms_px": 0.21},
			{"a": strings.Repeat("a", 64), "b": strings.Repeat("b", 64), "windows": 0, "rms_px": 0.4}},
		"holes": []map[string]any{{"x": 700, "y": 450, "area_px": 314, "share_of_disk_pct": 0.06}}}
	face := map[string]any{"known": true, "north_deg": north, "mirrored": mirrored, "view": map[string]any{"known": true, "sub_lon_deg": 0, "sub_lat_deg": 0, "distance_km": 384400}}
	geo := map[string]any{"Panels": []map[string]any{{"W": 200, "Scale": 1}, {"W": 200, "Scale": 0}}}
	outlines := [][][2]float64{{{350, 300}, {350, 500}, {250, 500}, {250, 300}}, nil}
	// Four cells of 400 px, the left ones of which are known, and windows of the clips: half as fine in the second.
	fine := map[string]any{"cell_px": 400, "nx": 3, "ny": 3, "period_px": []float64{0, 0, 0, 4, 4.4, 0, 0, 5, 0}}
	windows := map[string]any{"width": 200, "window_px": 128, "limit_cycles_per_px": []float64{0.25, 0.25, 0.125, 0}}
	panel := map[string]any{"frames_total": 3, "frames_kept": 2, "limit_cycles_per_px": 0.25, "mid_unix_ns": 1700000000000000000}
	frames := map[string]any{"grade": []float64{1.1, 0, 0.9}, "shift": [][2]float64{{0, 0}, {1, 1}, {3, 4}}, "rejected": []map[string]any{{"frame": 1, "reason": "torn"}}}
	index := map[string]any{"frames": 3}
	return map[string][]any{"layout": {map[string]any{"width": 1000, "height": 900, "tile_side": 512}},
		"placements": {places}, "orientation": {face}, "geometry": {geo}, "outlines": {outlines}, "finest_map": {fine}, "finest": {windows, windows}, "panel": {panel, panel}, "frames": {frames, frames}, "index": {index, index}}
}

func sceneIn(t *testing.T, files map[string][]byte) scene {
	t.Helper()
	text, ok := strings.CutPrefix(string(files["scene.js"]), "\"use strict\";\nconst scene = ")
	var sc scene
	if err := json.Unmarshal([]byte(strings.TrimSuffix(text, ";\n")), &sc); err != nil || !ok {
		t.Fatalf("scene.js: %v", err)
	}
	return sc
}

func find(t *testing.T, sc scene, name string) (x, y float64) {
	t.Helper()
	for _, f := range sc.Features {
		if f[0] == name {
			return f[1].(float64), f[2].(float64)
		}
	}
	t.Fatalf("%s is not in the picture", name)
	return 0, 0
}

// TestNamesLieWhereTheyAre works Copernicus by hand: 9.62° N, 20.08° W (Gazetteer of Planetary Nomenclature), seen from over
// 0°, 0°: 0.3386 of the limb's radius to the west and 0.1671 to the north, by perspective from 384,400 km 0.3 % of the way
// farther out than sin and cos say.
func TestNamesLieWhereTheyAre(t *testing.T) {
	west, north := 400*0.9858*math.Sin(20.08*math.Pi/180), 400*math.Sin(9.62*math.Pi/180)
	for _, c := range []struct {
		north    float64
		mirrored bool
		x, y     float64
	}{{0, false, -west, north}, {0, true, west, north}, {90, false, -north, -west}, {180, false, west, -north}} {
		files := filesOf(t, pipelinetest.Run(t, pagesPart(pageSettings{}), withTiles(seenNight(c.north, c.mirrored))).Bytes("folder"))
		x, y := find(t, sceneIn(t, files), "Copernicus")
		if math.Abs(x-500-c.x) > 2 || math.Abs(450-y-c.y) > 2 {
			t.Errorf("north %g°, mirrored %t: Copernicus is at %.0f right, %.0f up of the middle, want %.0f, %.0f", c.north, c.mirrored, x-500, 450-y, c.x, c.y)
		}
	}
}

func withTiles(in map[string][]any) map[string][]any {
	in["tiles"] = []any{map[string]any{}}
	return in
}

// A finish that turns the picture by a quarter and cuts it takes everything with it.
func TestOverlaysFollowTheFinish(t *testing.T) {
	in := withTiles(seenNight(0, false))
	// The finished picture's x runs down the mosaic, its y to the left: a quarter turn, cut by 10 and 20 px.
	in["finish"] = []any{map[string]any{"W": 800, "H": 900, "ToSource": warp.Affine{0, -1, 950, 1, 0, 30}}}
	sc := sceneIn(t, filesOf(t, pipelinetest.Run(t, pagesPart(pageSettings{}), in).Bytes("folder")))
	if got, want := *sc.Limb, [3]float64{450 - 30, 950 - 500, 400}; got != want {
		t.Errorf("the limb is at %v, want %v", got, want)
	}
	// The panel's middle is at (300, 400); it is 100 px wide and 200 high in the mosaic.
	if got, want := sc.Panels[0].Outline[0], [2]float64{300 - 30, 950 - 350}; got != want {
		t.Errorf("the panel's first corner is at %v, want %v", got, want)
	}
	if h := sc.Holes[0]; h.X != 450-30 || h.Y != 950-700 {
		t.Errorf("the hole is at %g, %g", h.X, h.Y)
	}
	// Half a limb radius east of the middle is nearly 30°: sin λ = ½·(1 − 0.0045·cos λ), as 384,400 km away the ball is 0.0045 wide.
	if got := sc.Holes[0].Place; got != "0.0° N, 29.9° E" {
		t.Errorf("the hole is at %s", got)
	}
}

func TestReportTells(t *testing.T) {
	in := withTiles(seenNight(0, false))
	files := filesOf(t, pipelinetest.Run(t, pagesPart(pageSettings{Title: "A <night> & more", ApertureMM: 150}), in).Bytes("folder"))
	report := string(files["report.html"])
	for _, want := range []string{
		"A &lt;night&gt; &amp; more", "1 of 2 panels are placed, 4 of 6 frames are in them", "nothing in it matches &lt;b&gt;",
		"2 of 3",                  // frames kept
		"4.00", "9.20", "12.17 ×", // period of 1/0.25 px, at 2.3″ a pixel, against λ/D of 0.756″ at 550 nm and 150 mm
		"1 torn", "Taken on 14 November 2023", "1 and 2", "<td>4</td><td>0.21</td>", "<td>none: by points</td><td>0.40</td>",
	} {
		if !strings.Contains(report, want) {
			t.Errorf("the report does not say %q", want)
		}
	}
	if strings.Contains(report, "22:13") {
		t.Error("the report tells a time of day")
	}
	again := filesOf(t, pipelinetest.Run(t, pagesPart(pageSettings{Title: "A <night> & more", ApertureMM: 150}), in).Bytes("folder"))
	for name, b := range files {
		if !bytes.Equal(b, again[name]) {
			t.Errorf("%s differs from run to run", name)
		}
	}
}

// Of panels that came stacked already it is told what is known of them, and nothing is drawn of frames that nobody has seen.
func TestReportOfStackedPanels(t *testing.T) {
	in := withTiles(seenNight(0, false))
	whole := in["panel"][0]
	stacked := map[string]any{"width": 640, "height": 480, "noise_sigma": 0.0021, "px_per_sensor_px": 1}
	blank := map[string]any{"width": 640, "height": 480, "limit_cycles_per_px": []float64{}}
	in["panel"] = []any{whole, stacked}
	in["frames"][1], in["index"][1], in["finest"][1] = map[string]any{}, map[string]any{}, blank
	files := filesOf(t, pipelinetest.Run(t, pagesPart(pageSettings{}), in).Bytes("folder"))
	report := string(files["report.html"])
	for _, want := range []string{"1 of 2 panels are placed, 2 of 3 frames are in them. 1 came stacked already", "Clip by clip", "Stacked already: 640 × 480 px, noise 0.21 % of white.", "<td>stacked already</td>"} {
		if !strings.Contains(report, want) {
			t.Errorf("the report does not say %q", want)
		}
	}
	if n := strings.Count(report, "Drift path;"); n != 1 {
		t.Errorf("%d drift paths, want that of the panel whose frames are known", n)
	}
	if p := sceneIn(t, files).Panels; p[0].Stacked != "" || p[1].Stacked != "640 × 480 px, noise 0.21 % of white" {
		t.Errorf("the page tells %+v", p)
	}
	in["panel"] = []any{stacked, stacked}
	in["frames"][0], in["index"][0], in["finest"][0] = map[string]any{}, map[string]any{}, blank
	in["finest_map"] = []any{map[string]any{"cell_px": 400, "nx": 3, "ny": 3, "period_px": make([]float64, 9)}}
	report = string(filesOf(t, pipelinetest.Run(t, pagesPart(pageSettings{}), in).Bytes("folder"))["report.html"])
	if !strings.Contains(report, "1 of 2 panels are placed. They came stacked already") || !strings.Contains(report, "Panel by panel") {
		t.Error("the report does not say that all panels came stacked")
	}
	for _, not := range []string{"0 of 0", "Drift path;", "Grade of each frame", "How fine the detail is", "Over the night", "two halves", "<figure><figcaption>"} {
		if strings.Contains(report, not) {
			t.Errorf("the report says %q, though no frame is known", not)
		}
	}
}

func TestNoMosaicNoOverlays(t *testing.T) {
	in := map[string][]any{"layout": {map[string]any{"width": 100, "height": 90, "tile_side": 512}}, "tiles": {map[string]any{}}}
	files := filesOf(t, pipelinetest.Run(t, pagesPart(pageSettings{URL: "https://example.org/moon"}), in).Bytes("folder"))
	sc := sceneIn(t, files)
	if len(sc.Panels)+len(sc.Features)+len(sc.Grid) > 0 || sc.PlacesWhy == "" || sc.PanelsWhy == "" {
		t.Errorf("the scene of a single panel is %+v", sc)
	}
	if !strings.Contains(string(files["tiles/info.json"]), `"id": "https://example.org/moon/tiles"`) {
		t.Errorf("info.json is %s", files["tiles/info.json"])
	}
}

// Whatever a title holds stays text, in the script as in the pages.
func TestTitlesStayText(t *testing.T) {
	in := withTiles(seenNight(0, false))
	title := "</script><img src=x onerror=alert(1)>\u2028'\"`${1}"
	files := filesOf(t, pipelinetest.Run(t, pagesPart(pageSettings{Title: title}), in).Bytes("folder"))
	for _, name := range []string{"index.html", "report.html", "scene.js"} {
		if b := string(files[name]); strings.Contains(b, "<img src=x") || strings.Contains(b, "\u2028") && name == "scene.js" {
			t.Errorf("%s holds the title as it is", name)
		}
	}
	if got := sceneIn(t, files).Title; got != title {
		t.Errorf("the script's title is %q", got)
	}
}

func TestWarningsComeFirst(t *testing.T) {
	id := strings.Repeat("0123456789ab", 6)[:64]
	rec := `{"plenilune_record":1,"parts":[{"warnings":[{"code":"clip-odd","text":"{clip:` + id + `} is <odd>"}]},{"warnings":[{"code":"clip-odd","text":"{clip:` + id + `} is <odd>"}]}]}`
	got, err := spliceWarnings([]byte("a"+warningsMark+"b"), []byte(rec))
	if err != nil {
		t.Fatal(err)
	}
	if s := string(got); strings.Count(s, "clip 0123456789ab is &lt;odd&gt;") != 1 || !strings.HasPrefix(s, "a<div") || !strings.HasSuffix(s, "</div>b") {
		t.Errorf("got %s", s)
	}
	if got, err = spliceWarnings([]byte(warningsMark), []byte(`{}`)); err != nil || !strings.Contains(string(got), "Nothing to warn of") {
		t.Errorf("without warnings: %s, %v", got, err)
	}
}

func TestTwoVersionsAreOfOneSize(t *testing.T) {
	layout := func(w int) map[string]any { return map[string]any{"width": w, "height": 90, "tile_side": 512} }
	s := pageSettings{Versions: []string{"print", "soft"}}
	in := map[string][]any{"tiles": {map[string]any{}}, "other": {map[string]any{}}, "layout": {layout(100)}, "other_layout": {layout(100)}}
	sc := sceneIn(t, filesOf(t, pipelinetest.Run(t, pagesPart(s), in).Bytes("folder")))
	if len(sc.Versions) != 2 || sc.Versions[1] != "soft" {
		t.Errorf("the versions are %q", sc.Versions)
	}
	in["other_layout"] = []any{layout(99)}
	if _, err := pipelinetest.New().Run(t, pagesPart(s), in); err == nil || !strings.Contains(err.Error(), "print has 100 × 90 px, soft has 99 × 90 px") {
		t.Errorf("two sizes: %v", err)
	}
}

// The frames that were kept are the best, and of equal ones the earlier.
func TestKeptFrames(t *testing.T) {
	c := clip{panel: panelTable{FramesKept: 3}, frames: framesTable{Grade: []float64{1, 0, 0.9, 1.2, 1, 1}}}
	if got := c.kept(); !slices.Equal(got, []int{0, 3, 4}) {
		t.Errorf("kept are %v", got)
	}
	bars := strings.Count(string(c.gradeChart(1)), `class="bar kept"`)
	if bars != 2 { // grades 1 and 1.2
		t.Errorf("%d bars of kept frames, want 2", bars)
	}
}

// Steps of round numbers: 1, 2 or 5 times a power of ten.
func TestRoundNumbers(t *testing.T) {
	for _, c := range []struct {
		from, to float64
		n        int
		want     []float64
	}{{0, 10, 5, []float64{0, 2, 4, 6, 8, 10}}, {0, 1.3, 4, []float64{0, 0.5, 1}}, {-7, 12, 4, []float64{-5, 0, 5, 10}}, {0, 1800, 6, []float64{0, 500, 1000, 1500}}} {
		if got := round(c.from, c.to, c.n); !slices.Equal(got, c.want) {
			t.Errorf("%g to %g by %d: %v, want %v", c.from, c.to, c.n, got, c.want)
		}
	}
}

// A clip that is not in the picture does not date it, and one with a clock far off hardly does.
func TestMiddleOfTimes(t *testing.T) {
	at := func(ns int64) clip { return clip{panel: panelTable{MidUnixNS: ns}} }
	n := night{clips: []clip{at(30), at(10), at(0), at(20), at(9000), at(1)}}
	for range n.clips {
		n.place.Panels = append(n.place.Panels, placement{Placed: true})
	}
	n.place.Panels[5].Placed = false
	if got := n.middle(); got != 30 { // of 10, 20, 30 and 9000
		t.Errorf("the middle is %d", got)
	}
	if got := (night{clips: n.clips[2:3], place: n.place}).middle(); got != 0 {
		t.Errorf("of no times the middle is %d", got)
	}
}
