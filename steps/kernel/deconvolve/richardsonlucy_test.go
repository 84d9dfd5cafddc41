package deconvolve

import (
	"math"
	"testing"
)

// spots is the case of the outside values: 9×9 of 0.1 and two points in row 4.
func spots() []float64 {
	v := make([]float64, 81)
	for i := range v {
		v[i] = 0.1
	}
	v[4*9+3]++
	v[4*9+5] += 0.5
	return v
}

func binomial(b Border) *Separable[float64] {
	return &Separable[float64]{W: 9, H: 9, Border: b, Terms: []Term[float64]{{Weight: 1, Taps: []float64{0.5, 0.25}}}}
}

// The values of the iteration are those of scikit-image 0.19.3,
// skimage.restoration.richardson_lucy(b, psf, num_iter=n, clip=False), from an
// estimate of 0.5 and with the spread [1 2 1]ᵀ[1 2 1]/16; those of the periodic
// case were computed with numpy's transforms. Tolerance 1e-6 as printed there.
func TestStepAtOutsideValues(t *testing.T) {
	blurred := make([]float64, 81)
	binomial(Zero).Blur(blurred, spots())
	for x, want := range []float64{.075, .1, .225, .35, .2875, .225, .1625, .1, .075} {
		if math.Abs(blurred[4*9+x]-want) > 1e-12 {
			t.Errorf("blurred row 4, column %d: %v, want %v", x, blurred[4*9+x], want)
		}
	}
	for _, c := range []struct {
		border Border
		total  float64
		want   map[int][3]float64
	}{
		{Zero, 8.725, map[int][3]float64{
			1: {.252344, .240625, .193750}, 5: {.447003, .369393, .246559},
			10: {.561820, .417621, .276335}, 50: {.894747, .281056, .444365}}},
		{Wrap, 9.6, map[int][3]float64{10: {.548258, .385574, .270671}, 50: {.750916, .340733, .336208}}},
	} {
		b := binomial(c.border)
		data, e := make([]float64, 81), make([]float64, 81)
		b.Blur(data, spots())
		for i := range e {
			e[i] = 0.5
		}
		scratch := make([]float64, 81)
		seen, last := 0, math.Inf(-1)
		for n := 1; n <= 50; n++ {
			Step(e, data, scratch, b, nil)
			seen += compare(t, c.border, n, e, c.want[n])
			// Lucy (1974): the estimate has the light of the data after every step, and where
			// the blur keeps sums the likelihood never falls.
			b.Blur(scratch, e)
			likelihood, total := 0.0, 0.0
			for i, m := range scratch {
				likelihood += data[i]*math.Log(m) - m
				total += e[i]
			}
			if c.border == Wrap && likelihood < last-1e-12 {
				t.Errorf("iteration %d: the likelihood falls from %v to %v", n, last, likelihood)
			}
			last = likelihood
			if math.Abs(total-c.total) > 1e-9 {
				t.Errorf("border %d, iteration %d: the estimate adds up to %v, want %v", c.border, n, total, c.total)
			}
		}
		if seen != len(c.want) {
			t.Errorf("border %d: %d of %d rows compared", c.border, seen, len(c.want))
		}
	}
}

func compare(t *testing.T, border Border, n int, e []float64, want [3]float64) int {
	t.Helper()
	if want == [3]float64{} {
		return 0
	}
	for k, w := range want {
		if got := e[4*9+3+k]; math.Abs(got-w) > 1e-6 {
			t.Errorf("border %d, %d iterations, column %d: %v, want %v", border, n, 3+k, got, w)
		}
	}
	return 1
}

// What Step tells of a band is what it did there, each row once.
func TestStepTellsItsFactors(t *testing.T) {
	const w, h = 11, 2*bandRows + 5
	b := NewBlur(Spread{CoreSigma: 1}, w, h)
	e, data, was := make([]float32, w*h), make([]float32, w*h), make([]float32, w*h)
	for i := range e {
		data[i] = 1 + float32((37*i+5)%17)
		e[i] = 1 + float32((29*i+3)%13)
	}
	copy(was, e)
	told := 0
	Step(e, data, make([]float32, w*h), b, func(y0, y1 int, factor []float32) {
		told += y1 - y0
		for i, f := range factor {
			if k := y0*w + i; e[k] != was[k]*f || f == 1 {
				t.Fatalf("pixel %d was %v, is %v, and is said to be multiplied by %v", k, was[k], e[k], f)
			}
		}
	})
	if told != h {
		t.Errorf("%d rows of %d were told of", told, h)
	}
}

// A flat picture is what every blur of it is: nothing may change.
func TestConstantStays(t *testing.T) {
	const w, h = 37, 150
	b := NewBlur(Spread{Halo: 0.4, CoreSigma: 0.5, HaloSigma: 3}, w, h)
	e, data := make([]float32, w*h), make([]float32, w*h)
	for i := range e {
		e[i], data[i] = 0.3, 0.3
	}
	scratch := make([]float32, w*h)
	for range 20 {
		Step(e, data, scratch, b, nil)
	}
	for i, v := range e {
		if math.Abs(float64(v)-0.3) > 1e-6 {
			t.Fatalf("pixel %d of a flat picture of 0.3 became %v", i, v)
		}
	}
}

// A Gaussian of 3 px blurred by one of 2 px is one of √13 px: taking the blur out
// must give the one of 3 px back, with all its light.
func TestGaussianComesOutNarrower(t *testing.T) {
	const size, c = 65, 32
	gauss := func(s2 float64) []float32 {
		v := make([]float32, size*size)
		for i := range v {
			x, y := float64(i%size-c), float64(i/size-c)
			v[i] = float32(math.Exp(-(x*x+y*y)/(2*s2)) / (2 * math.Pi * s2))
		}
		return v
	}
	data, want := gauss(13), gauss(9)
	e := gauss(13)
	b := NewBlur(Spread{CoreSigma: 2}, size, size)
	scratch := make([]float32, size*size)
	for range 200 {
		Step(e, data, scratch, b, nil)
	}
	sum, worst := 0.0, 0.0
	for i, v := range e {
		sum += float64(v)
		worst = max(worst, math.Abs(float64(v-want[i])))
	}
	// 200 iterations leave about 1 % of the peak; before them it is 31 % off.
	if peak := float64(want[c*size+c]); worst > 0.015*peak {
		t.Errorf("off by %v of a peak of %v", worst, peak)
	}
	if math.Abs(sum-1) > 1e-3 {
		t.Errorf("light adds up to %v, want 1", sum)
	}
}

// Every border, size and number of taps against the definition.
func TestSeparableAgainstDefinition(t *testing.T) {
	taps := []float64{0.3, 0.2, 0.1, 0.04, 0.01}
	for _, border := range []Border{Mirror, Zero, Wrap} {
		for _, size := range [][2]int{{1, 1}, {1, 7}, {6, 1}, {5, 4}, {23, 19}, {9, 140}} {
			for k := 1; k <= len(taps); k++ {
				w, h := size[0], size[1]
				s := &Separable[float64]{W: w, H: h, Border: border, Terms: []Term[float64]{{0.7, taps[:k]}, {0.3, taps[:1]}}}
				src, got := make([]float64, w*h), make([]float64, w*h)
				for i := range src {
					src[i] = float64((37*i + 5) % 17)
				}
				s.Blur(got, src)
				for i := range src {
					want := 0.7*defined(src, w, h, border, taps[:k], i%w, i/w) + 0.3*0.09*src[i]
					if math.Abs(got[i]-want) > 1e-12 {
						t.Fatalf("%d×%d, border %d, %d taps, pixel %d: %v, want %v", w, h, border, k, i, got[i], want)
					}
				}
			}
		}
	}
}

func defined(src []float64, w, h int, b Border, taps []float64, x, y int) (sum float64) {
	for dy := 1 - len(taps); dy < len(taps); dy++ {
		for dx := 1 - len(taps); dx < len(taps); dx++ {
			ix, iy := b.index(x+dx, w), b.index(y+dy, h)
			if ix >= 0 && iy >= 0 {
				sum += taps[max(dx, -dx)] * taps[max(dy, -dy)] * src[iy*w+ix]
			}
		}
	}
	return sum
}

func TestBorders(t *testing.T) {
	want := map[Border][]int{
		Mirror: {1, 2, 3, 2, 1, 0, 1, 2, 3, 2, 1, 0},
		Zero:   {-1, -1, -1, -1, -1, 0, 1, 2, 3, -1, -1, -1},
		Wrap:   {3, 0, 1, 2, 3, 0, 1, 2, 3, 0, 1, 2},
	}
	for b, row := range want {
		for k, w := range row {
			if got := b.index(k-5, 4); got != w {
				t.Errorf("border %d: pixel %d of 4 is %d, want %d", b, k-5, got, w)
			}
		}
	}
}
