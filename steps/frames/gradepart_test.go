package frames

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/kernel/robust"
)

func gradeOf(t *testing.T, workers int, f pipelinetest.File, idx clipIndex) (framesTable, *pipelinetest.Result) {
	t.Helper()
	b := pipelinetest.New()
	b.Workers = workers
	r, err := b.Run(t, gradePart(pipeline.Item{}, idx), map[string][]any{"file": {f}, "index": {idx}})
	if err != nil {
		t.Fatal(err)
	}
	var tab framesTable
	r.Table("frames", &tab)
	return tab, r
}

// walk is a clip that drifts, jumps once, dims and blurs, each independently.
func walk() []shot {
	r := rand.New(rand.NewPCG(3, 4))
	var s []shot
	for k := range 24 {
		x, y := 0.6*float64(k), 0.3*float64(k)
		if k >= 14 {
			x, y = x-19.3, y+11.7
		}
		s = append(s, shot{x + r.Float64(), y + r.Float64(), 0.5 + 2*r.Float64(), 0.6 + 0.4*r.Float64()})
	}
	return s
}

func TestGradePartFollowsAndRanks(t *testing.T) {
	shots := walk()
	f, idx := film(t, 5, 2, shots...)
	tab, _ := gradeOf(t, 2, f, idx)
	if len(tab.Rejected) != 0 || tab.SkyOnly {
		t.Fatalf("rejected %v, sky only %v", tab.Rejected, tab.SkyOnly)
	}
	ref := shots[tab.Reference]
	ex, ey := make([]float64, len(shots)), make([]float64, len(shots))
	for i, s := range shots {
		ex[i], ey[i] = tab.Shift[i][0]-(s.dx-ref.dx), tab.Shift[i][1]-(s.dy-ref.dy)
	}
	_, sx := robust.Mean(ex)
	_, sy := robust.Mean(ey)
	if math.Hypot(sx, sy) > 0.1 { // px, what the track is asked for
		t.Errorf("frames lie (%.3f, %.3f) px rms off their true places", sx, sy)
	}
	// Sharper must rank higher whatever the brightness: a clear difference in blur
	// may never be inverted.
	for i, a := range shots {
		for j, b := range shots {
			if a.blur+0.3 < b.blur && tab.Grade[i] <= tab.Grade[j] {
				t.Errorf("frame %d (blur %.2f, gain %.2f) has grade %.3f, not above frame %d (%.2f, %.2f) with %.3f",
					i, a.blur, a.gain, tab.Grade[i], j, b.blur, b.gain, tab.Grade[j])
			}
		}
	}
	// The gain is relative to the clip's mean.
	for i, s := range shots {
		if want := s.gain / ref.gain * tab.Gain[tab.Reference]; math.Abs(tab.Gain[i]-want) > 0.03*want {
			t.Errorf("frame %d: gain %.3f, want %.3f", i, tab.Gain[i], want)
		}
	}
}

func TestGradePartSameBytesOnAnyNumberOfWorkers(t *testing.T) {
	f, idx := film(t, 5, 2, walk()...)
	_, one := gradeOf(t, 1, f, idx)
	_, four := gradeOf(t, 4, f, idx)
	if one.Outputs["frames"] != four.Outputs["frames"] {
		t.Error("the table depends on the number of workers")
	}
}

func TestGradePartRejectsByNumber(t *testing.T) {
	shots := walk()
	f, idx := film(t, 6, 2, shots...)
	n := shotW * shotH
	copy(f[5*n:6*n], f[4*n:5*n]) // the camera delivered frame 4 twice
	for i := 9 * n; i < 10*n; i++ {
		f[i] = byte(i % 3) // the lens was covered
	}
	copy(f[16*n+n/2:17*n], f[2*n+n/2:3*n]) // the lower half belongs to frame 2
	r := rand.New(rand.NewPCG(1, 1))
	for i := 20 * n; i < 21*n; i++ { // something else altogether
		f[i] = byte(100 + 60*(i/7%5) + r.IntN(5))
	}
	tab, _ := gradeOf(t, 2, f, idx)
	got := map[int]string{}
	for _, x := range tab.Rejected {
		got[x.Frame] = x.Reason
	}
	if got[5] != "repeated" || got[9] != "black" || got[16] != "torn" || got[20] == "" || len(got) != 4 {
		t.Errorf("rejected %v, want 5 repeated, 9 black, 16 torn and 20", got)
	}
	for i, g := range tab.Grade {
		if (g == 0) != (got[i] != "") {
			t.Errorf("frame %d: grade %g, rejected %q", i, g, got[i])
		}
	}
}

func TestGradePartKnowsBareSky(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 8))
	n := shotW * shotH
	f := make(pipelinetest.File, 16*n)
	for i := range f {
		f[i] = byte(max(0, 6+1.5*normal(r)+2*float64(i%shotW)/shotW)) // with a glow to one side
	}
	idx := clipIndex{Layout: monoLayout(shotW, shotH), Frames: 16, Depth: 8, White: 255}
	tab, res := gradeOf(t, 2, f, idx)
	if !tab.SkyOnly {
		t.Errorf("a clip of bare sky was followed, fits %v", tab.Fit)
	}
	if !slices.ContainsFunc(res.Warnings, func(w pipeline.Warning) bool {
		return w.Code == "clip-sky-only" && strings.Contains(w.Text, "{clip:")
	}) {
		t.Errorf("warnings %v lack clip-sky-only with the clip's name", res.Warnings)
	}
	// A limb in a corner is enough to hold on to.
	for k := range 16 {
		for y := range 24 {
			for x := range 24 - y {
				f[k*n+(shotH-1-y)*shotW+x+k%3] += 40
			}
		}
	}
	if tab, _ = gradeOf(t, 2, f, idx); tab.SkyOnly {
		t.Errorf("a corner of the Moon was taken for sky, fits %v", tab.Fit)
	}
}

// What is kept of each frame does not grow without end with their number, and short clips do not notice.
func TestLongClipsAreTakenDownInLargerBlocks(t *testing.T) {
	for _, c := range []struct{ w, h, frames, side int }{
		{144, 112, 24, 8}, {640, 480, 2000, 8}, {1280, 960, 2000, 16}, {1280, 960, 10_000, 40}, {3000, 2000, 500, 64},
	} {
		if got := blockSide(c.w, c.h, c.frames); got != c.side {
			t.Errorf("%d frames of %d×%d px: blocks of %d px, want %d", c.frames, c.w, c.h, got, c.side)
		}
	}
	long := clipIndex{Layout: monoLayout(1280, 960), Frames: 10_000}
	if got := gradePart(pipeline.Item{}, long).Memory; got > 400<<20 {
		t.Errorf("10,000 frames of 1280×960 px ask for %d MiB", got>>20)
	}
}
