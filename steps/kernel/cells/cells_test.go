package cells

import (
	"math"
	"math/rand/v2"
	"testing"
)

// waves is a smooth scene, known everywhere.
func waves(w, h int, dx, dy float64) []float32 {
	out := make([]float32, w*h)
	for y := range h {
		for x := range w {
			u, v := float64(x)-dx, float64(y)-dy
			out[y*w+x] = float32(0.5 + 0.2*math.Sin(u/3) + 0.15*math.Cos(v/4+u/9))
		}
	}
	return out
}

func all(n int) []bool {
	out := make([]bool, n)
	for i := range out {
		out[i] = true
	}
	return out
}

// One step of least squares from near by finds a displacement: with the frame resampled at it, what is left is ∇P·u.
func TestStepFindsDisplacement(t *testing.T) {
	const w, h = 70, 61
	p := NewPicture(waves(w, h, 0, 0), all(w*h), w, h)
	for _, d := range [][2]float64{{0.2, -0.1}, {3.15, -2.2}, {-4.7, 5.55}} {
		frame := waves(w, h, d[0], d[1])
		x, y := math.Round(d[0]), math.Round(d[1])
		for range 3 {
			var s Sums
			for cy := range p.NY {
				for cx := range p.NX {
					c := p.Compare(cx, cy, frame, w, h, float32(x), float32(y))
					s.Add(&c, 1)
				}
			}
			bx, by := s.PX-s.FX, s.PY-s.FY
			det := s.XX*s.YY - s.XY*s.XY
			x += (s.YY*bx - s.XY*by) / det
			y += (s.XX*by - s.XY*bx) / det
		}
		if math.Hypot(x-d[0], y-d[1]) > 0.01 {
			t.Errorf("displaced by %v: found %.4f %.4f", d, x, y)
		}
	}
}

// A whole cell's quick way and the way pixel by pixel give the same sums.
func TestEdgeAgrees(t *testing.T) {
	const w, h = 48, 40
	r := rand.New(rand.NewPCG(1, 2))
	frame := make([]float32, w*h)
	for i := range frame {
		frame[i] = float32(r.Float64())
	}
	p := NewPicture(waves(w, h, 0, 0), all(w*h), w, h)
	for _, d := range [][2]float32{{0, 0}, {1.3, -0.7}, {-2.5, 2.25}} {
		ix, kx := taps(16 + d[0])
		iy, ky := taps(16 + d[1])
		a, b := p.Compare(2, 2, frame, w, h, d[0], d[1]), p.compareEdge(16, 16, frame, w, h, ix, iy, kx, ky)
		for k, q := range [][2]float64{{a.XX, b.XX}, {a.XY, b.XY}, {a.YY, b.YY}, {a.FX, b.FX}, {a.FY, b.FY}, {a.PX, b.PX},
			{a.PY, b.PY}, {a.FF, b.FF}, {a.FP, b.FP}, {a.PP, b.PP}, {a.N, b.N}} {
			if math.Abs(q[0]-q[1]) > 1e-5*(1+math.Abs(q[1])) {
				t.Errorf("moved by %v, sum %d: %v and %v", d, k, q[0], q[1])
			}
		}
	}
}

// What the frame does not show, and what is not known, does not count.
func TestCounts(t *testing.T) {
	const w, h = 32, 32
	known := all(w * h)
	known[9*w+9] = false
	p := NewPicture(waves(w, h, 0, 0), known, w, h)
	frame := waves(w, h, 0, 0)
	for _, c := range []struct {
		cx, cy int
		dx, dy float32
		want   float64
	}{{2, 2, 0, 0, 64}, {1, 1, 0, 0, 63}, {0, 0, 0, 0, 36}, {3, 3, 0, 0, 25}, {2, 2, 40, 0, 0}, {2, 2, -17, 0, 5 * 8}, {2, 2, -1000, 1000, 0}} {
		if got := p.Compare(c.cx, c.cy, frame, w, h, c.dx, c.dy).N; got != c.want {
			t.Errorf("cell %d, %d moved by %g, %g: %g pixels, want %g", c.cx, c.cy, c.dx, c.dy, got, c.want)
		}
	}
}

// Keys 1981 (IEEE Trans. ASSP 29:1153), a = −½, at a quarter and a half of the way.
func TestTaps(t *testing.T) {
	for _, c := range []struct {
		at   float32
		ix   int
		want [4]float32
	}{
		{7.25, 7, [4]float32{-.0703125, .8671875, .2265625, -.0234375}},
		{-2.5, -3, [4]float32{-.0625, .5625, .5625, -.0625}},
		{1023, 1023, [4]float32{0, 1, 0, 0}},
	} {
		if ix, k := taps(c.at); ix != c.ix || *k != c.want {
			t.Errorf("at %g: pixel %d, taps %v; want %d, %v", c.at, ix, *k, c.ix, c.want)
		}
	}
	// Cubic interpolation by this kernel is exact for a parabola (Keys 1981).
	pix := make([]float32, 64)
	for i := range pix {
		pix[i] = float32((i % 8) * (i % 8))
	}
	if got := At(pix, 8, 3.5, 3); math.Abs(float64(got)-12.25) > 1e-5 {
		t.Errorf("x² at 3.5 is %v, want 12.25", got)
	}
}
