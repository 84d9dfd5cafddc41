package frames

import (
	"bytes"
	"cmp"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/format/ser"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/robust"
	"plenilune/steps/simulate"
)

// folder is a simulate.Sink in memory.
type folder map[string]*bytes.Buffer

func (f folder) Create(name string) (io.WriteCloser, error) {
	f[name] = &bytes.Buffer{}
	return struct {
		io.Writer
		io.Closer
	}{f[name], io.NopCloser(nil)}, nil
}

// ranks returns each value's place in rising order.
func ranks(v []float64) []float64 {
	order := make([]int, len(v))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(v[a], v[b]) })
	out := make([]float64, len(v))
	for r, i := range order {
		out[i] = float64(r)
	}
	return out
}

// rankCorrelation is Spearman's (1904).
func rankCorrelation(a, b []float64) float64 {
	var d float64
	x, y := ranks(a), ranks(b)
	for i := range x {
		d += (x[i] - y[i]) * (x[i] - y[i])
	}
	n := float64(len(a))
	return 1 - 6*d/(n*(n*n-1))
}

// TestASimulatedNight holds grade and track against what air and mount really did.
func TestASimulatedNight(t *testing.T) {
	p := simulate.Small()
	p.Frames, p.HotPixels, p.Vignetting, p.Dust, p.Calibration, p.Workers = 32, 0, 0, 0, 0, 2
	p.Width, p.Height, p.DiskPx = 200, 176, 260
	p.ApertureOverR0, p.WarpPx = 2.6, 0.6
	night := folder{}
	truth, err := p.Shoot(t.Context(), night, nil)
	if err != nil {
		t.Fatal(err)
	}
	var alike, off []float64
	for c := range truth.Clips {
		clip := &truth.Clips[c]
		b := night["clips/"+clip.Name+".ser"].Bytes()
		f, err := ser.Open(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			t.Fatal(err)
		}
		idx := clipIndex{Layout: f.Layout, Frames: f.Frames, Depth: 8, White: 255}
		tab, _ := gradeOf(t, 2, pipelinetest.File(b), idx)
		sharp := make([]float64, p.Frames)
		for i, fr := range clip.Frames {
			weigh(truth.Panel(clip), func(x, y int, texture float64) {
				sharp[i] += texture * fr.Corners[2*(2*y/p.Height)+2*x/p.Width]
			})
		}
		alike = append(alike, rankCorrelation(tab.Grade, sharp))
		off = append(off, trackError(truth, clip, &tab))
	}
	// Where the air bends the picture by 0.6 px one common shift for all places is no better defined: they are followed one
	// by one where frames are stacked.
	if m := robust.Median(off); m > 0.35 {
		t.Errorf("clips are tracked to %.3f px rms", off)
	}
	if m := robust.Median(alike); m < 0.9 || slices.Min(alike) < 0.8 {
		t.Errorf("grades rank like the true sharpness with %.3f", alike)
	}
}

// weigh calls do for every other pixel of a panel, away from its border, with the
// energy of its gradient.
func weigh(panel *plane.Image, do func(x, y int, texture float64)) {
	p, w := panel.Pix[0], panel.W
	for y := 8; y < panel.H-8; y += 2 {
		for x := 8; x < w-8; x += 2 {
			k := y*w + x
			gx, gy := float64(p[k+1]-p[k-1]), float64(p[k+w]-p[k-w])
			if e := gx*gx + gy*gy; e == e {
				do(x, y, e)
			}
		}
	}
}

// trackError is the rms distance of the frames' shifts from the mean over the field,
// weighted by texture, of how far mount and air displaced them.
func trackError(truth *simulate.Truth, c *simulate.ClipTruth, tab *framesTable) float64 {
	panel := truth.Panel(c)
	var ex, ey []float64
	for i, s := range tab.Shift {
		var w, sx, sy float64
		weigh(panel, func(x, y int, texture float64) {
			dx, dy := c.Displacement(i, float64(x), float64(y))
			w, sx, sy = w+texture, sx+texture*dx, sy+texture*dy
		})
		ex, ey = append(ex, s[0]-sx/w), append(ey, s[1]-sy/w)
	}
	_, x := robust.Mean(ex)
	_, y := robust.Mean(ey)
	return math.Hypot(x, y)
}

// A field that drifts by half its width, with two jumps on the way and frames in
// between that wind has smeared or thrown elsewhere.
func TestFarDriftAndWind(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 6))
	var shots []shot
	for k := range 96 {
		x, y := -0.25*shotW+0.5*shotW*float64(k)/95, 8*math.Sin(float64(k)/15)
		if k >= 40 && k < 71 {
			y -= 14
		}
		s := shot{x + r.Float64(), y + r.Float64(), 0.6 + r.Float64(), 1}
		switch k {
		case 21, 58:
			s.dx, s.dy = s.dx+17, s.dy-12 // a gust, one frame long
		case 45:
			s.blur = 14
		}
		shots = append(shots, s)
	}
	f, idx := film(t, 8, 2, shots...)
	tab, _ := gradeOf(t, 2, f, idx)
	ref := shots[tab.Reference]
	for i, s := range shots {
		if slices.ContainsFunc(tab.Rejected, func(x Rejection) bool { return x.Frame == i }) {
			if i != 45 {
				t.Errorf("frame %d is rejected", i)
			}
			continue
		}
		if d := math.Hypot(tab.Shift[i][0]-(s.dx-ref.dx), tab.Shift[i][1]-(s.dy-ref.dy)); d > 0.3 && i != 45 {
			t.Errorf("frame %d lies %.2f px off its true place", i, d)
		}
	}
	if slices.Max(tab.Grade[:45]) <= tab.Grade[45] {
		t.Error("a smeared frame has the best grade")
	}
}
