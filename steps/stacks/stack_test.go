package stacks

import (
	"math"
	"slices"
	"strconv"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
)

// stackOf runs all parts of one clip's stack; whole leaves the fields out.
func stackOf(t *testing.T, workers int, n int, noise, keep float64, whole bool) (*pipelinetest.Result, panelTable) {
	t.Helper()
	return stackOfFilm(t, workers, n, noise, keep, whole, func(pipelinetest.File) {})
}

// stackOfFilm is stackOf of a film that was changed.
func stackOfFilm(t *testing.T, workers int, n int, noise, keep float64, whole bool, change func(pipelinetest.File)) (*pipelinetest.Result, panelTable) {
	t.Helper()
	f, idx, tab := film(n, noise)
	change(f)
	tab["noise"] = noiseModel{Base: noise * noise}
	return stackFilm(t, workers, f, idx, tab, meanSettings{Keep: strconv.FormatFloat(keep, 'f', -1, 64), Scale: 1}, whole)
}

func stackFilm(t *testing.T, workers int, f pipelinetest.File, idx clipIndex, tab map[string]any, set meanSettings, whole bool) (*pipelinetest.Result, panelTable) {
	t.Helper()
	b := pipelinetest.New()
	b.Workers = workers
	in := map[string][]any{"file": {f}, "index": {idx}, "frames": {tab}}
	run := func(set any, fn func(*pipeline.Part)) *pipelinetest.Result {
		p := pipeline.Part{Name: "part", Settings: set}
		fn(&p)
		r, err := b.Run(t, p, in)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	if !whole {
		ref := run(nil, func(p *pipeline.Part) { p.Run = runReference })
		in["reference"], in["colours"] = []any{ref.Stored("reference")}, []any{ref.Stored("colours")}
		set.Blocks = blocksFor(tab["grade"].([]float64), Kept(idx.Frames, set.Keep))
		for _, k := range set.Blocks {
			in["fields"] = append(in["fields"], run(k, func(p *pipeline.Part) { p.Run = pipeline.Bind(runBlock) }).Stored("fields"))
		}
	}
	r := run(set, func(p *pipeline.Part) { p.Run = pipeline.Bind(runMean) })
	var pt panelTable
	r.Table("panel", &pt)
	return r, pt
}

// errorOf is the rms difference to the true terrain away from the border.
func errorOf(img pipelinetest.Plane, pt panelTable) float64 {
	var s, n float64
	for y := 12; y < img.H-12; y++ {
		for x := 12; x < img.W-12; x++ {
			d := float64(img.Pix[0][y*img.W+x]) - ground(float64(x+pt.ReferenceX), float64(y+pt.ReferenceY))
			s, n = s+d*d, n+1
		}
	}
	return math.Sqrt(s / n)
}

func TestStackUndoesTheAirsBending(t *testing.T) {
	img, pt := stackOf(t, 2, 20, 0.003, 1, false)
	rigid, pr := stackOf(t, 2, 20, 0.003, 1, true)
	local, whole := errorOf(img.Plane("image"), pt), errorOf(rigid.Plane("image"), pr)
	// Noise of 0.003 leaves 0.0007 in a mean of 20. The mean bend is 0, so that the stack
	// must lie where the ground is, not where the reference was bent to.
	if local > 0.0015 || local > 0.5*whole {
		t.Errorf("rms error %.4f with fields, %.4f without", local, whole)
	}
	if pt.FramesKept != 20 || pt.FramesTotal != 20 || pt.Channels != 1 {
		t.Errorf("panel %+v", pt)
	}
	weight := img.Plane("weight").Pix[0]
	if mid := weight[pt.Height/2*pt.Width+pt.Width/2]; mid != 1 {
		t.Errorf("weight in the middle is %g, want 1", mid)
	}
}

func TestStackSameBytesOnAnyNumberOfWorkers(t *testing.T) {
	one, _ := stackOf(t, 1, 11, 0.01, 0.6, false)
	three, _ := stackOf(t, 3, 11, 0.01, 0.6, false)
	for _, port := range []string{"image", "weight", "panel"} {
		if one.Outputs[port] != three.Outputs[port] {
			t.Errorf("%s depends on the number of workers", port)
		}
	}
}

func TestKeepMoreAddsBlocksOnly(t *testing.T) {
	grade := make([]float64, 1500)
	for i := range grade {
		grade[i] = 1 + float64(i*7919%1500)/1500
	}
	grade[3] = 0
	ranks := ranked(grade)
	kept := Kept(len(ranks), "0.3")
	few, more := blocksFor(grade, Kept(len(ranks), "0.2")), blocksFor(grade, kept)
	if len(more) <= len(few) || !slices.Equal(more[:len(few)], few) {
		t.Errorf("%d blocks at 0.2 are not the first of %d at 0.3", len(few), len(more))
	}
	seen := map[int]bool{}
	for _, b := range more {
		for _, i := range b.frames(grade) {
			if seen[i] {
				t.Fatalf("frame %d is in two blocks", i)
			}
			seen[i] = true
		}
	}
	for _, i := range ranks[:kept] {
		if !seen[i] {
			t.Fatalf("kept frame %d is in no block", i)
		}
	}
	if s := sampled(grade); len(s) > sampleMost || len(s) < sampleMost-1 {
		t.Errorf("the sample has %d frames, want %d less a rejected one", len(s), sampleMost)
	}
	if s := sampled(grade[:40]); len(s) != 39 {
		t.Errorf("the sample of a short clip has %d frames, want all 39 usable ones", len(s))
	}
}

// A quick stack adds the best 64 frames at most, and never more than a whole one.
func TestQuickStackIsOfFewFrames(t *testing.T) {
	for _, c := range []struct {
		n    int
		keep string
		want int
	}{{1800, KeepAuto, 64}, {1800, "1", 64}, {1799, "0.5", 64}, {1800, "0.01", 18}, {128, KeepAuto, 64}, {100, KeepAuto, 50}, {2, "1", 2}} {
		tab := clipFrames{Grade: make([]float64, c.n+1)} // and one that was rejected
		for i := range c.n {
			tab.Grade[i] = 1
		}
		p := quick(needs{scale: 1}, tab, Settings{Keep: c.keep, Scale: 1}, nil)
		set := p.Settings.(meanSettings)
		if got := Kept(c.n, set.Keep); got != c.want || len(set.Blocks) > 0 {
			t.Errorf("keep %s of %d: %d frames with %d blocks, want %d with none", c.keep, c.n, got, len(set.Blocks), c.want)
		}
	}
}

func TestRankAndKeep(t *testing.T) {
	if got := ranked([]float64{1, 0, 3, 1, 2}); !slices.Equal(got, []int{2, 4, 0, 3}) {
		t.Errorf("ranked %v: best first, ties by time, 0 is rejected", got)
	}
	for _, c := range []struct {
		n    int
		keep string
		want int
	}{{40, "0.5", 20}, {40, "0.01", 3}, {2, "0.5", 2}, {10, "0.3", 3}, {10, "0.31", 4}, {40, "1", 40},
		{1, "auto", 1}, {4, "auto", 3}, {20, "auto", 10}, {400, "auto", 200}, {1600, "auto", 565}, {10000, "auto", 2236}} {
		if got := Kept(c.n, c.keep); got != c.want {
			t.Errorf("keep %s of %d: %d, want %d", c.keep, c.n, got, c.want)
		}
	}
}

func TestCanvas(t *testing.T) {
	// Frames 100 wide at 0, +10.5 and −4: they show places 0…99, −10.5…88.5 and 4…103.
	// A quarter of three is one: −10 to 103.
	cv := frameCanvas([][2]float64{{0, 0}, {10.5, 2}, {-4, 0}}, 100, 50)
	if cv != (canvas{-10, -2, 114, 52}) {
		t.Errorf("canvas %+v", cv)
	}
	// One of eight alone is not enough.
	s := make([][2]float64, 8)
	s[7] = [2]float64{40, 0}
	if cv := frameCanvas(s, 100, 50); cv != (canvas{0, 0, 100, 50}) {
		t.Errorf("canvas %+v", cv)
	}
}

func TestFillUnknown(t *testing.T) {
	nan := float32(math.NaN())
	pix := []float32{nan, nan, nan, nan, 1, 2, nan, nan, nan}
	fillUnknown(pix, 3, 3)
	if !slices.Equal(pix, []float32{1, 1, 2, 1, 1, 2, 1, 1, 2}) {
		t.Errorf("filled %v", pix)
	}
}

// The sample is all of a short clip, half of a longer one, and never over 400 frames.
func TestSampleSize(t *testing.T) {
	for n, want := range map[int]int{1: 1, 64: 64, 65: 64, 127: 64, 129: 65, 200: 100, 799: 400, 5000: 400} {
		if got := SampleSize(n); got != want {
			t.Errorf("a sample of %d of %d frames, want %d", got, n, want)
		}
	}
}

// Views are those of any picture, one row or column included, and even out what is plain.
func TestViewsOfAnySize(t *testing.T) {
	for _, s := range [][2]int{{1, 1}, {1, 40}, {40, 1}, {2, 2}, {3, 5}, {17, 8}} {
		pix := make([]float32, s[0]*s[1])
		for i := range pix {
			pix[i] = 0.7
		}
		v := newViewer(s[0], s[1]).see(pix)
		for _, p := range [][]float32{v.broad, v.fine} {
			for i, x := range p {
				if math.Abs(float64(x)) > 1e-6 {
					t.Errorf("%v px of one brightness: %v at %d", s, x, i)
				}
			}
		}
	}
}

// What fine views take off is broad: a slope all of it, two pixels from the border on, and a wave of 4 px next to nothing.
func TestFineViewTakesOffSlopes(t *testing.T) {
	const w, h = 96, 64
	slope, wave := make([]float32, w*h), make([]float32, w*h)
	for i := range slope {
		x, y := float64(i%w), float64(i/w)
		slope[i], wave[i] = float32(0.01*x-0.02*y), float32(math.Sin(math.Pi/2*x))
	}
	v := newViewer(w, h)
	flat := append([]float32(nil), v.see(slope).fine...)
	kept := v.see(wave).fine
	for y := 20; y < h-20; y++ {
		for x := 20; x < w-20; x++ {
			i := y*w + x
			if math.Abs(float64(flat[i])) > 1e-5 {
				t.Fatalf("%v is left of a slope at %d, %d", flat[i], x, y)
			}
			if d := math.Abs(float64(kept[i] - wave[i])); d > 0.01 {
				t.Fatalf("a wave of 4 px loses %v at %d, %d", d, x, y)
			}
		}
	}
}
