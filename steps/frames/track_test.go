package frames

import (
	"math"
	"testing"
)

// blobs draws the picture that the sub-pixel registration of Guizar-Sicairos,
// Thurman & Fienup (2008, Opt. Lett. 33:156) was tried on by two independent
// programs: 64×64, a·exp(−r²/2s²) at four places, moved by dx, dy.
func blobs(dx, dy float64) []float32 {
	out := make([]float32, 64*64)
	for y := range 64 {
		for x := range 64 {
			var v float64
			for _, b := range [][4]float64{{20, 24, 3, 1}, {40, 30, 2.5, .7}, {28, 45, 4, .5}, {48, 48, 2, .9}} {
				ry, rx := float64(y)-b[0]-dy, float64(x)-b[1]-dx
				v += b[3] * math.Exp(-(rx*rx+ry*ry)/(2*b[2]*b[2]))
			}
			out[y*64+x] = float32(v)
		}
	}
	return out
}

func TestTrackerFindsSubpixelShifts(t *testing.T) {
	cover := make([]float32, 64*64)
	for i := range cover {
		cover[i] = 1
	}
	tr := newTracker(blobs(0, 0), cover, 64, 64)
	// The shifts of the published trial; it allows 0.005 px at 1/100 px upsampling.
	for _, s := range [][2]float64{{0, 0}, {-2, 3}, {-2.4, 1.25}, {.81, .37}} {
		x, y, fit, share := tr.track(blobs(s[0], s[1]), math.Round(s[0]), math.Round(s[1]), 0.01)
		// Cubic interpolation of blobs with σ ≥ 2 px is wrong by less than 0.01 px.
		if math.Hypot(x-s[0], y-s[1]) > 0.01 || fit < 0.999 || share < 0.8 {
			t.Errorf("moved by %v: found %.4f %.4f, fit %.4f, share %.2f", s, x, y, fit, share)
		}
	}
}

func TestFinderFindsFarShifts(t *testing.T) {
	f := newFinder(64, 64, blobs(0, 0)).worker()
	for _, s := range [][2]float64{{0, 0}, {10, -7}, {-20, 5}} {
		p := f.find(blobs(s[0], s[1]))
		if len(p) == 0 || math.Hypot(p[0].x-s[0], p[0].y-s[1]) > 0.3 {
			t.Errorf("moved by %v: found %v", s, p)
		}
	}
}

func TestLikeliestTrustsNeighboursInTime(t *testing.T) {
	near := func(x float64) []place { return []place{{x, 0, 0.82}, {x + 60, 0, 0.79}} }
	far := func(x float64) []place { return []place{{x + 60, 0, 0.80}, {x, 0, 0.79}} }
	all := []looks{{places: near(0)}, {places: far(1)}, {}, {places: near(2)}, {places: far(3)},
		{places: []place{{40, 0, 0.9}, {4, 0, 0.2}}}, {places: []place{{41, 0, 0.9}}}}
	want := []float64{0, 1, 0, 2, 3, 40, 41} // a bump is believed when the fit says so
	for i, p := range likeliest(all, 200) {
		if p.x != want[i] {
			t.Errorf("frame %d put at %g, want %g", i, p.x, want[i])
		}
	}
}

func TestTranslate(t *testing.T) {
	src := blobs(0, 0)
	dst := make([]float32, len(src))
	translate(dst, src, 64, 64, 3, -2)
	if got, want := dst[20*64+20], src[18*64+23]; got != want {
		t.Errorf("whole pixels: %v, want %v", got, want)
	}
	if v := dst[10*64+63]; v == v {
		t.Errorf("outside the picture: %v, want NaN", v)
	}
	// Keys 1981 (IEEE Trans. ASSP 29:1153), a = −½.
	for _, c := range []struct {
		t float32
		w [4]float32
	}{{.25, [4]float32{-.0703125, .8671875, .2265625, -.0234375}}, {.5, [4]float32{-.0625, .5625, .5625, -.0625}}, {0, [4]float32{0, 1, 0, 0}}} {
		if got := keys(c.t); got != c.w {
			t.Errorf("taps at %g are %v, want %v", c.t, got, c.w)
		}
	}
}
