package fourier

import (
	"math"
	"math/rand/v2"
	"testing"
)

var nan32 = float32(math.NaN())

// holed returns a w×h view of a scene at (x, y) with some pixels missing.
func holed(scene []float32, side, x, y, w, h int, gain, offset float32, seed uint64) []float32 {
	r := rand.New(rand.NewPCG(seed, 7))
	out := make([]float32, w*h)
	for j := range h {
		for i := range w {
			out[j*w+i] = gain*scene[(y+j)*side+x+i] + offset
			if r.IntN(10) == 0 || (i < 6 && j < 9) {
				out[j*w+i] = nan32
			}
		}
	}
	return out
}

// slowNCC is the correlation coefficient by its definition, at one shift.
func slowNCC(a []float32, aw, ah int, b []float32, bw, bh, dx, dy int) (r float64, n int) {
	var sa, sb, saa, sbb, sab float64
	for y := range ah {
		for x := range aw {
			u, v := x+dx, y+dy
			if u < 0 || v < 0 || u >= bw || v >= bh {
				continue
			}
			p, q := float64(a[y*aw+x]), float64(b[v*bw+u])
			if p != p || q != q {
				continue
			}
			n++
			sa, sb, saa, sbb, sab = sa+p, sb+q, saa+p*p, sbb+q*q, sab+p*q
		}
	}
	m := float64(n)
	return (sab - sa*sb/m) / math.Sqrt((saa-sa*sa/m)*(sbb-sb*sb/m)), n
}

func TestMaskedNCCAgainstDefinition(t *testing.T) {
	const side = 80
	scene := textured(side, side, 5)
	const aw, ah, bw, bh = 31, 26, 24, 33
	a := holed(scene, side, 10, 12, aw, ah, 1, 0, 1)
	b := holed(scene, side, 25, 20, bw, bh, 0.5, 0.3, 2)
	s := MaskedNCC(a, aw, ah, b, bw, bh)
	if s.W != aw+bw-1 || s.H != ah+bh-1 {
		t.Fatalf("surface of %d×%d", s.W, s.H)
	}
	count := func(v []float32) (n float64) {
		for _, x := range v {
			if x == x {
				n++
			}
		}
		return n
	}
	fewer := min(count(a), count(b))
	checked := 0
	for j := range s.H {
		for i := range s.W {
			r, n := slowNCC(a, aw, ah, b, bw, bh, s.X0+i, s.Y0+j)
			k := j*s.W + i
			if math.Abs(float64(s.Overlap[k])-float64(n)/fewer) > 1e-6 {
				t.Fatalf("shift %d, %d: overlap %v, want %v", s.X0+i, s.Y0+j, s.Overlap[k], float64(n)/fewer)
			}
			if n < 20 {
				continue
			}
			checked++
			if math.Abs(r-float64(s.NCC[k])) > 1e-3 {
				t.Fatalf("shift %d, %d: %v, want %v", s.X0+i, s.Y0+j, s.NCC[k], r)
			}
		}
	}
	if checked < 1000 {
		t.Fatalf("only %d shifts compared", checked)
	}
	// What lies at x in a lies at x + (10-25, 12-20) in b.
	m := s.Peaks(3, 0.1, 3)
	if len(m) == 0 || math.Abs(m[0].DX+15) > 0.2 || math.Abs(m[0].DY+8) > 0.2 || m[0].NCC < 0.999 {
		t.Errorf("peaks %+v, want -15, -8 first", m)
	}
}

func TestMaskedNCCOfNothing(t *testing.T) {
	empty := []float32{nan32, nan32, nan32, nan32}
	s := MaskedNCC(empty, 2, 2, []float32{1, 2, 3, 4}, 2, 2)
	for k := range s.NCC {
		if s.NCC[k] != 0 || s.Overlap[k] != 0 {
			t.Fatalf("entry %d: %v, %v", k, s.NCC[k], s.Overlap[k])
		}
	}
	if m := s.Peaks(1, 0, 0); m != nil {
		t.Errorf("peaks %v", m)
	}
}

// A sampled Gaussian of σ = 1.5 px, off by .10 and .25: the parabola's bias is
// .08969 and .22941 (computed from the formula); on logarithms it has none.
func TestParabola(t *testing.T) {
	for _, c := range [][2]float64{{.10, .08969}, {.25, .22941}} {
		g := func(x float64) float64 { return math.Exp(-(x - c[0]) * (x - c[0]) / (2 * 1.5 * 1.5)) }
		if got := Parabola(g(-1), g(0), g(1)); math.Abs(got-c[1]) > 5e-6 {
			t.Errorf("Parabola = %v, want %v", got, c[1])
		}
		if got := Parabola(math.Log(g(-1)), math.Log(g(0)), math.Log(g(1))); math.Abs(got-c[0]) > 1e-12 {
			t.Errorf("on logarithms %v, want %v", got, c[0])
		}
	}
	if Parabola(1, 1, 1) != 0 || Parabola(2, 1, 2) != 0 {
		t.Error("a plateau or a trough has no top")
	}
}

func BenchmarkNCC(b *testing.B) {
	const side = 320
	x := textured(side, side, 1)
	plan := NewReal(Good(2*side-1), Good(2*side-1))
	m := NewMasked(plan, x, side, side)
	b.Run("prepare/320x320", func(b *testing.B) {
		for b.Loop() {
			NewMasked(plan, x, side, side)
		}
	})
	b.Run("pair/320x320", func(b *testing.B) {
		for b.Loop() {
			NCC(m, m)
		}
	})
}
