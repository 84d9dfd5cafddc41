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
					s.Add(&c)
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

// plainly is Compare by its definition, pixel by pixel.
func plainly(p *Picture, cx, cy int, frame []float32, w, h int, dx, dy float32) (s Sums) {
	for y := cy * Side; y < min(p.H, (cy+1)*Side); y++ {
		for x := cx * Side; x < min(p.W, (cx+1)*Side); x++ {
			ix, kx := taps(float32(x) + dx)
			iy, ky := taps(float32(y) + dy)
			i := y*p.W + x
			if !p.Known[i] || ix < margin || iy < margin || ix+margin+1 >= w || iy+margin+1 >= h {
				continue
			}
			f := float64(at(frame, w, ix, iy, kx, ky))
			s.addOwn(p, i)
			s.FX += f * float64(p.GX[i])
			s.FY += f * float64(p.GY[i])
			s.FF += f * f
			s.FP += f * float64(p.Pix[i])
		}
	}
	return s
}

// Cells that are known and shown whole, in part and not at all, of a picture that no cell divides, give the sums of their
// pixels.
func TestCompareAddsUpPixels(t *testing.T) {
	const w, h = 45, 38
	r := rand.New(rand.NewPCG(1, 2))
	frame, known := make([]float32, w*h), all(w*h)
	for i := range frame {
		frame[i] = float32(r.Float64())
		known[i] = i%w > 20 || r.Float64() < 0.7
	}
	p := NewPicture(waves(w, h, 0, 0), known, w, h)
	counts := map[float64]bool{}
	for _, d := range [][2]float32{{0, 0}, {1.3, -0.7}, {-2.5, 2.25}, {11.9, -9.1}, {-20.4, 17}, {60, 0}} {
		for k := range p.NX * p.NY {
			cx, cy := k%p.NX, k/p.NX
			a, b := p.Compare(cx, cy, frame, w, h, d[0], d[1]), plainly(p, cx, cy, frame, w, h, d[0], d[1])
			counts[b.N] = true
			for k, q := range [][2]float64{{a.XX, b.XX}, {a.XY, b.XY}, {a.YY, b.YY}, {a.FX, b.FX}, {a.FY, b.FY}, {a.PX, b.PX},
				{a.PY, b.PY}, {a.FF, b.FF}, {a.FP, b.FP}, {a.PP, b.PP}, {a.N, b.N}} {
				if math.Abs(q[0]-q[1]) > 1e-5*(1+math.Abs(q[1])) {
					t.Errorf("cell %d, %d moved by %v, sum %d: %v, want %v", cx, cy, d, k, q[0], q[1])
				}
			}
		}
	}
	if len(counts) < 30 {
		t.Errorf("only %d different counts of pixels were tried", len(counts))
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
