package fourier

import (
	"fmt"
	"math"
	"testing"
)

// blobs is a smooth scene of four Gaussian spots, moved by (dy, dx).
func blobs(dy, dx float64) []float32 {
	out := make([]float32, 64*64)
	for _, b := range [][4]float64{{20, 24, 3, 1}, {40, 30, 2.5, .7}, {28, 45, 4, .5}, {48, 48, 2, .9}} {
		for y := range 64 {
			for x := range 64 {
				v, u := float64(y)-b[0]-dy, float64(x)-b[1]-dx
				out[y*64+x] += float32(b[3] * math.Exp(-(v*v+u*u)/(2*b[2]*b[2])))
			}
		}
	}
	return out
}

// Case and tolerance: the method of Guizar-Sicairos, Thurman & Fienup (2008) as
// scikit-image 0.19.3 (phase_cross_correlation, upsample_factor=100,
// normalization=None) answers it: the true shift within 0.005 px.
func TestShiftOfBlobs(t *testing.T) {
	for _, d := range [][2]float64{{3, -2}, {1.25, -2.4}, {.37, .81}, {-4.4, 5.6}} {
		ref, mov := blobs(0, 0), blobs(d[0], d[1])
		for _, fade := range []float64{0, 0.5} {
			dx, dy, peak := NewCorrelator(ref, 64, 64, Options{Fade: fade, Upsample: 100}).Shift(mov)
			t.Logf("fade %v: %.4f %.4f, peak %.3f", fade, dy-d[0], dx-d[1], peak)
			if math.Abs(dy-d[0]) > .005 || math.Abs(dx-d[1]) > .005 {
				t.Errorf("fade %v: moved by (%v, %v), found (%.4f, %.4f)", fade, d[0], d[1], dy, dx)
			}
		}
		dx, dy, _ := PhaseShift(ref, mov, 64, 64, 1)
		if dy != math.Round(d[0]) || dx != math.Round(d[1]) {
			t.Errorf("whole pixels: moved by (%v, %v), found (%v, %v)", d[0], d[1], dy, dx)
		}
	}
}

func TestSymmetricExchange(t *testing.T) {
	a, b := blobs(0, 0), blobs(1.3, 2.6)
	ax, ay, _ := PhaseShift(a, b, 64, 64, 100)
	bx, by, _ := PhaseShift(b, a, 64, 64, 100)
	if math.Abs(ax+bx) > .005 || math.Abs(ay+by) > .005 {
		t.Errorf("there (%v, %v), back (%v, %v)", ax, ay, bx, by)
	}
}

// A frame against itself, at any gain and offset, has not moved at all.
func TestZeroShift(t *testing.T) {
	ref := noise(96*80, 9)
	mov := make([]float32, len(ref))
	for i, v := range ref {
		mov[i] = 3*v + 0.25
	}
	for _, o := range []Options{{Upsample: 100}, {Fade: 0.5, Upsample: 100}, {Fade: 1, Upsample: 100, Coarse: 8, Fine: 1}} {
		dx, dy, peak := NewCorrelator(ref, 96, 80, o).Shift(mov)
		if math.Abs(dx) > 1e-4 || math.Abs(dy) > 1e-4 || math.Abs(peak-1) > 1e-4 {
			t.Errorf("%+v: (%v, %v), peak %v; want 0, 0, 1", o, dx, dy, peak)
		}
	}
}

// moved returns img displaced by an exact circular shift, through its spectrum.
func moved(img []float32, w, h int, dx, dy float64) []float32 {
	p := NewReal(w, h)
	half := p.Half()
	re, im := make([]float32, half*h), make([]float32, half*h)
	p.Forward(img, re, im)
	for v := range h {
		f := float64(v)
		if v > h/2 {
			f -= float64(h)
		}
		for u := range half {
			i := v*half + u
			a := -2 * math.Pi * (float64(u)*dx/float64(w) + f*dy/float64(h))
			c, s := math.Cos(a), math.Sin(a)
			r, m := float64(re[i]), float64(im[i])
			re[i], im[i] = float32(r*c-m*s), float32(r*s+m*c)
		}
	}
	out := make([]float32, w*h)
	p.Inverse(out, re, im)
	return out
}

// textured is noise smoothed to about the sharpness of a well sampled frame.
func textured(w, h int, seed uint64) []float32 {
	p := NewReal(w, h)
	re, im := make([]float32, p.Half()*h), make([]float32, p.Half()*h)
	p.Forward(noise(w*h, seed), re, im)
	for i, k := range band(w, h, 0, 0.8) {
		re[i] *= k
		im[i] *= k
	}
	out := make([]float32, w*h)
	p.Inverse(out, re, im)
	return out
}

// An exact circular shift comes back to half of the precision asked for.
func TestCircularShift(t *testing.T) {
	const w, h, upsample = 120, 100, 100
	ref := textured(w, h, 4)
	c := NewCorrelator(ref, w, h, Options{Upsample: upsample})
	for _, d := range [][2]float64{{0.5, 0.5}, {-31.3, 12.77}, {59.2, -49.1}, {0.013, -0.49}} {
		dx, dy, peak := c.Shift(moved(ref, w, h, d[0], d[1]))
		if math.Abs(dx-d[0]) > .5/upsample || math.Abs(dy-d[1]) > .5/upsample {
			t.Errorf("moved by %v, found (%.4f, %.4f)", d, dx, dy)
		}
		if math.Abs(peak-1) > 0.01 {
			t.Errorf("moved by %v: peak %v, want 1", d, peak)
		}
	}
}

// A field of view that drifts over a larger scene: what enters is new, what
// leaves is gone, and the shift is still right, with noise and a change of gain.
func TestDriftOverScene(t *testing.T) {
	const big, w, h = 256, 128, 96
	scene := textured(big, big, 11)
	view := func(x, y float64, seed uint64) []float32 {
		s := moved(scene, big, big, -x, -y)
		n := noise(w*h, seed)
		out := make([]float32, w*h)
		for j := range h {
			for i := range w {
				out[j*w+i] = 2*s[j*big+i] + 0.02*n[j*w+i]
			}
		}
		return out
	}
	c := NewCorrelator(view(60, 60, 1), w, h, Options{Fade: 0.5, Coarse: 16, Upsample: 100})
	for _, d := range [][3]float64{
		{0.3, 0.2, 0.01}, {5.5, -3.25, 0.01}, {20.25, 10.5, 0.02},
		{-30.7, 24.1, 0.05}, // the reference's fade begins to leave the frame
	} {
		dx, dy, peak := c.Shift(view(60-d[0], 60-d[1], 2))
		t.Logf("%v: off by %.4f, %.4f, peak %.3f", d, dx-d[0], dy-d[1], peak)
		if math.Hypot(dx-d[0], dy-d[1]) > d[2] {
			t.Errorf("moved by %v, found (%.4f, %.4f)", d[:2], dx, dy)
		}
	}
	other := textured(w, h, 99)
	if _, _, peak := c.Shift(other); peak > 0.3 {
		t.Errorf("another scene fits with a peak of %v", peak)
	}
}

func BenchmarkShift(b *testing.B) {
	for _, wh := range [][2]int{{256, 256}, {512, 512}, {640, 480}} {
		w, h := wh[0], wh[1]
		b.Run(fmt.Sprintf("%dx%d", w, h), func(b *testing.B) {
			ref := textured(w, h, 1)
			mov := moved(ref, w, h, 3.3, 4.4)
			c := NewCorrelator(ref, w, h, Options{Fade: 0.5, Upsample: 100})
			for b.Loop() {
				c.Shift(mov)
			}
		})
	}
}
