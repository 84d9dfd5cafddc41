package simulate

import (
	"context"
	"math"
	"testing"
)

// Lommel–Seeliger along the photometric equator, longitudes -30, 0, 30, 60, 80
// degrees from the disk's centre, Sun at +α: by the formula, worked by hand.
func TestLommelSeeliger(t *testing.T) {
	at := []float64{-30, 0, 30, 60, 80}
	for alpha, row := range map[float64][]float64{
		0:  {.5, .5, .5, .5, .5},
		30: {.3660, .4641, .5359, .6340, .7873},
		60: {0, .3333, .5, .6667, .8440},
		90: {0, 0, .3660, .6340, .8501},
	} {
		for i, want := range row {
			mu0, mu := math.Cos((alpha-at[i])*degree), math.Cos(at[i]*degree)
			if mu0 < 1e-9 {
				mu0 = 0
			}
			if got := lommelSeeliger(mu0, mu); math.Abs(got-want) > 5e-5 {
				t.Errorf("α = %g°, longitude %g°: %.4f, want %.4f", alpha, at[i], got, want)
			}
		}
	}
}

// Disk-integrated Lommel–Seeliger law, 1 - sin(α/2) tan(α/2) ln cot(α/4), as a
// sphere's brightness against full phase (Lumme & Bowell 1981 quote it).
func TestDiskIntegral(t *testing.T) {
	disk := func(alpha float64) float64 {
		const n = 400
		sun := vec{math.Sin(alpha * degree), 0, math.Cos(alpha * degree)}
		sum := 0.0
		for j := range n {
			for i := range n {
				x, y := (float64(i)+0.5)/n*2-1, (float64(j)+0.5)/n*2-1
				if r := x*x + y*y; r < 1 {
					p := vec{x, y, math.Sqrt(1 - r)}
					sum += lommelSeeliger(p.dot(sun), p[2])
				}
			}
		}
		return sum
	}
	full := disk(0)
	for alpha, want := range map[float64]float64{30: .85939, 60: .61983, 90: .37677, 120: .17604} {
		if got := disk(alpha) / full; math.Abs(got-want) > 2e-3 {
			t.Errorf("α = %g°: %.5f, want %.5f", alpha, got, want)
		}
	}
}

// McEwen 1991, Icarus 92:298: the weight of the Lommel–Seeliger term.
func TestMcEwen(t *testing.T) {
	for alpha, want := range map[float64]float64{0: 1, 30: .6084, 60: .4158, 90: .1859} {
		if got := mcEwen(alpha); math.Abs(got-want) > 5e-5 {
			t.Errorf("α = %g°: %.4f, want %.4f", alpha, got, want)
		}
	}
	if got := lunarLambert(0.5, 0.5, 0); math.Abs(got-1) > 1e-12 {
		t.Errorf("full phase: %g, want 1: the normal albedo itself", got)
	}
}

// A wall 12 km high in the middle of a smooth disk, the Sun 20 degrees up at
// the right: the ray that grazes its top meets the sphere where the shadow ends.
func TestShadowLength(t *testing.T) {
	const side, wallKm = 900, 12.0
	g := newGlobe(side, 400, 0, 0, 1e5)
	r := &relief{
		globe: g, dirs: make([]float32, 3*side*side), height: make([]float32, side*side),
		albedo: make([]float32, side*side), fresh: make([]float32, side*side),
	}
	for i := range r.height {
		p := g.point(float64(i%side), float64(i/side))
		for k := range 3 {
			r.dirs[3*i+k] = float32(p[k])
		}
		r.albedo[i] = 0.1
		if x := i % side; x == side/2 || x == side/2+1 {
			r.height[i] = wallKm
		}
	}
	out, err := r.shine(context.Background(), 70, 0, 2)
	if err != nil {
		t.Fatal(err)
	}
	row := out[side/2*side:]
	if row[side/2-25] <= 0 || row[side/2+25] <= 0 {
		t.Fatal("open ground lies in the dark")
	}
	end := 0
	for x := side/2 - 1; row[x] < 0.5*row[side/2-25]; x-- {
		end = side/2 - x
	}
	top := moonRadiusKm + wallKm
	b := top * math.Cos(70*degree)
	far := b - math.Sqrt(b*b-top*top+moonRadiusKm*moonRadiusKm)
	want := far * math.Sin(70*degree) / g.kmPerPx()
	if math.Abs(float64(end)-want) > 1.2 { // a pixel, and the Sun's half shadow
		t.Errorf("the shadow is %d px long, want %.1f", end, want)
	}
}
