package warp

import (
	"math"
	"math/rand/v2"
	"testing"

	"plenilune/steps/kernel/plane"
)

var kernels = []Kernel{Linear, Cubic, Lanczos3}

// Source: R. G. Keys (1981), IEEE Trans. ASSP 29:1153, eq. 15 (a = -½) evaluated
// at the places named; for Lanczos-3 the windowed sinc of Duchon (1979) before
// normalisation.
func TestTaps(t *testing.T) {
	cases := []struct {
		k    Kernel
		t    float64
		want []float64
	}{
		{Cubic, .25, []float64{-.0703125, .8671875, .2265625, -.0234375}},
		{Cubic, .5, []float64{-.0625, .5625, .5625, -.0625}},
		{Lanczos3, .5, []float64{.024317, -.135095, .607927, .607927, -.135095, .024317}},
		{Lanczos3, .25, []float64{.030021, -.132871, .890067, .270190, -.067791, .007356}},
		{Linear, .25, []float64{.75, .25}},
	}
	for _, c := range cases {
		sum := 0.0
		for _, v := range c.want {
			sum += v
		}
		got := c.k.Weights(c.t)
		for j, v := range c.want {
			if math.Abs(got[j]-v/sum) > 1.5e-6 {
				t.Errorf("kernel %d at %v: tap %d is %v, want %v", c.k, c.t, j, got[j], v/sum)
			}
			raw := c.k.at(c.t - float64(j-len(c.want)/2+1))
			if math.Abs(raw-v) > 1e-6 {
				t.Errorf("kernel %d at %v: tap %d before normalisation is %v, want %v", c.k, c.t, j, raw, v)
			}
		}
	}
}

// The tables answer as the formula does, to the last place of float32.
func TestTablesAgainstFormula(t *testing.T) {
	worst := 0.0
	for _, k := range kernels {
		for i := range 20011 {
			x := float64(i) / 20011
			var got [6]float32
			tables[k].fill(&got, x)
			want := k.Weights(x)
			for j := range want {
				worst = max(worst, math.Abs(float64(got[j])-want[j]))
			}
		}
		var one [6]float32
		tables[k].fill(&one, 1)
		if one[k.Taps()/2] != 1 {
			t.Errorf("kernel %d: position 1 is %v", k, one)
		}
	}
	t.Logf("worst error of a tap: %.2g", worst)
	if worst > 7e-7 {
		t.Errorf("a tap is off by %v", worst)
	}
}

func scene(x, y float64) float64 { return math.Sin(x*0.31+0.5) * math.Cos(y*0.23-x*0.05) }

func picture(w, h int) *plane.Image {
	m := plane.New(w, h, 2)
	for y := range h {
		for x := range w {
			m.Pix[0][y*w+x] = float32(scene(float64(x), float64(y)))
			m.Pix[1][y*w+x] = 1
		}
	}
	return m
}

// Smooth scenes are read between the pixels to within the order of each kernel,
// constants to rounding, by every way of resampling.
func TestResampleOfAnalyticScene(t *testing.T) {
	src := picture(90, 70)
	limits := map[Kernel]float64{Linear: 0.02, Cubic: 0.002, Lanczos3: 0.008}
	maps := map[string]Affine{
		"turned":  Similarity(0.9, 0.4, 20, 3),
		"sheared": {0.8, 0.1, 8.3, -0.2, 0.9, 12.1},
		"shifted": Translation(7.3, -4.6),
		"along x": Translation(2.5, 1),
	}
	for name, a := range maps {
		for _, k := range kernels {
			dst := plane.New(64, 48, 2)
			Resample(dst, src, a, k)
			mx, my := make([]float32, 64*48), make([]float32, 64*48)
			seen := 0
			for y := range 48 {
				for x := range 64 {
					u, v := a.Apply(float64(x), float64(y))
					i := y*64 + x
					mx[i], my[i] = float32(u), float32(v)
					got := float64(dst.Pix[0][i])
					inside := u >= -0.5 && v >= -0.5 && u <= 89.5 && v <= 69.5
					if inside == math.IsNaN(got) && math.Abs(u-math.Round(u)) < 0.25 && math.Abs(v-math.Round(v)) < 0.25 {
						t.Fatalf("%s, kernel %d: (%d, %d) comes from (%v, %v) and is %v", name, k, x, y, u, v, got)
					}
					if u < 3 || v < 3 || u > 86 || v > 66 {
						continue
					}
					seen++
					if math.Abs(got-scene(u, v)) > limits[k] {
						t.Fatalf("%s, kernel %d: %v at (%v, %v), want %v", name, k, got, u, v, scene(u, v))
					}
					if one := dst.Pix[1][i]; math.Abs(float64(one)-1) > 1e-6 {
						t.Fatalf("%s, kernel %d: a constant became %v", name, k, one)
					}
				}
			}
			if seen < 500 {
				t.Fatalf("%s: only %d places seen", name, seen)
			}
			same := plane.New(64, 48, 2)
			Remap(same, src, mx, my, k)
			for i, v := range same.Pix[0] {
				// The map's own rounding to float32 decides at the very border.
				if d := float64(v - dst.Pix[0][i]); math.Abs(d) > 1e-5 {
					t.Fatalf("%s, kernel %d: the map gives %v at %d, want %v", name, k, v, i, dst.Pix[0][i])
				}
			}
		}
	}
}

func near(t *testing.T, name string, got, want []float32, tol float64) {
	t.Helper()
	for i := range want {
		if (got[i] != got[i]) != (want[i] != want[i]) || math.Abs(float64(got[i]-want[i])) > tol {
			t.Fatalf("%s: value %d is %v, want %v", name, i, got[i], want[i])
		}
	}
}

func random(w, h int, seed uint64) *plane.Image {
	r := rand.New(rand.NewPCG(seed, 0))
	m := plane.New(w, h, 1)
	for i := range m.Pix[0] {
		m.Pix[0][i] = float32(r.Float64())
	}
	return m
}

func TestIdentityIsExact(t *testing.T) {
	src := random(40, 30, 1)
	src.Pix[0][333] = nan
	for _, k := range kernels {
		dst := plane.New(40, 30, 1)
		Resample(dst, src, Identity(), k)
		near(t, "translation", dst.Pix[0], src.Pix[0], 0)
		// A turn by a right angle, four times, takes the other path.
		turned, back := plane.New(30, 40, 1), plane.New(40, 30, 1)
		Resample(turned, src, Affine{0, 1, 0, -1, 0, 29}, k)
		Resample(back, turned, Affine{0, -1, 29, 1, 0, 0}, k)
		near(t, "turn", back.Pix[0], src.Pix[0], 0)
	}
}

// The fast path of a translation is the general one but for the tables' error,
// borders and missing pixels included.
func TestShiftAgainstGeneralPath(t *testing.T) {
	src := random(50, 37, 2)
	for _, i := range []int{0, 77, 78, 500, 1200} {
		src.Pix[0][i] = nan
	}
	for _, k := range kernels {
		for _, d := range [][2]float64{{0.25, 0.75}, {-3.4, 10.1}, {12, -0.5}, {44.9, 0.2}, {-70, 3.5}, {3, 4}, {-0.1, -36.7}} {
			fast, slow := plane.New(44, 41, 1), plane.New(44, 41, 1)
			Shift(fast, src, d[0], d[1], k)
			s := sampler{src: src, tb: &tables[k]}
			for y := range 41 {
				for x := range 44 {
					s.put(slow, y*44+x, float64(x)+d[0], float64(y)+d[1])
				}
			}
			near(t, "shift", fast.Pix[0], slow.Pix[0], 5e-6)
			parts := plane.New(44, 41, 1)
			ResampleRows(parts, src, Translation(d[0], d[1]), k, 20, 41)
			ResampleRows(parts, src, Translation(d[0], d[1]), k, 0, 20)
			near(t, "in parts", parts.Pix[0], fast.Pix[0], 0)
		}
	}
}

// A missing pixel takes away its own place, not the whole reach of the kernel.
func TestMissingPixels(t *testing.T) {
	src := plane.New(20, 20, 1)
	fill(src.Pix[0], 2)
	src.Pix[0][10*20+10] = nan
	for _, k := range kernels {
		dst := plane.New(20, 20, 1)
		Shift(dst, src, 0.1, 0.1, k)
		gone := 0
		for i, v := range dst.Pix[0] {
			if v != v {
				gone++
				if i != 10*20+10 {
					t.Errorf("kernel %d: pixel %d is missing", k, i)
				}
			} else if math.Abs(float64(v)-2) > 1e-6 {
				t.Errorf("kernel %d: pixel %d is %v", k, i, v)
			}
		}
		if gone != 1 {
			t.Errorf("kernel %d: %d pixels are missing, want 1", k, gone)
		}
	}
	if v := At(src, 0, 4.5, 4.5, Cubic); v != 2 {
		t.Errorf("At = %v", v)
	}
	if v := At(src, 0, -0.51, 4, Cubic); v == v {
		t.Errorf("outside: %v", v)
	}
	if v := At(src, 0, math.NaN(), 4, Cubic); v == v {
		t.Errorf("nowhere: %v", v)
	}
	dst := plane.New(4, 4, 1)
	Shift(dst, src, math.NaN(), 0, Cubic)
	if v := dst.Pix[0][5]; v == v {
		t.Errorf("by NaN: %v", v)
	}
}

// The sum over a bright spot on nothing is kept by a shift.
func TestShiftKeepsTheSum(t *testing.T) {
	src := plane.New(40, 40, 1)
	src.Pix[0][20*40+20] = 1
	for _, k := range kernels {
		dst := plane.New(40, 40, 1)
		Shift(dst, src, 0.37, -0.21, k)
		sum, mx, my := 0.0, 0.0, 0.0
		for i, v := range dst.Pix[0] {
			sum += float64(v)
			mx += float64(v) * float64(i%40)
			my += float64(v) * float64(i/40)
		}
		if math.Abs(sum-1) > 1e-6 {
			t.Errorf("kernel %d: sum %v", k, sum)
		}
		// dst(x) = src(x+d): the spot moves by -d. Keys' kernel keeps first moments.
		if k == Cubic && (math.Abs(mx-19.63) > 1e-5 || math.Abs(my-20.21) > 1e-5) {
			t.Errorf("kernel %d: the spot lies at %v, %v", k, mx, my)
		}
	}
}

func TestAffine(t *testing.T) {
	a := Similarity(1.3, 0.7, 5, -2)
	x, y := a.Apply(2, 3)
	wx, wy := 1.3*(2*math.Cos(.7)-3*math.Sin(.7))+5, 1.3*(2*math.Sin(.7)+3*math.Cos(.7))-2
	if math.Abs(x-wx) > 1e-14 || math.Abs(y-wy) > 1e-14 {
		t.Errorf("Apply = %v, %v, want %v, %v", x, y, wx, wy)
	}
	if math.Abs(a.Scale()-1.3) > 1e-15 || math.Abs(a.Angle()-0.7) > 1e-15 {
		t.Errorf("Scale %v, Angle %v", a.Scale(), a.Angle())
	}
	inv, ok := a.Invert()
	if !ok {
		t.Fatal("no inverse")
	}
	for i, v := range inv.Mul(a) {
		if math.Abs(v-Identity()[i]) > 1e-15 {
			t.Errorf("inverse times map: %v", inv.Mul(a))
			break
		}
	}
	b := Affine{0.5, 2, 1, -1, 0.2, 4}
	px, py := b.Apply(7, 8)
	px, py = a.Apply(px, py)
	qx, qy := a.Mul(b).Apply(7, 8)
	if math.Abs(px-qx) > 1e-12 || math.Abs(py-qy) > 1e-12 {
		t.Errorf("b then a: %v, %v; product: %v, %v", px, py, qx, qy)
	}
	if _, ok := (Affine{1, 2, 0, 2, 4, 0}).Invert(); ok {
		t.Error("a map onto a line has no inverse")
	}
}

func BenchmarkResample(b *testing.B) {
	src, dst := random(640, 480, 1), plane.New(640, 480, 1)
	names := []string{"linear", "cubic", "lanczos3"}
	for _, k := range kernels {
		b.Run("shift/640x480/"+names[k], func(b *testing.B) {
			for b.Loop() {
				Shift(dst, src, 0.3, 0.4, k)
			}
		})
		b.Run("turn/640x480/"+names[k], func(b *testing.B) {
			for b.Loop() {
				Resample(dst, src, Similarity(1, 0.01, 0.3, 0.4), k)
			}
		})
	}
}
