package simulate

import (
	"math"
	"testing"
)

// Orthographic places of Tycho and Copernicus (IAU/USGS gazetteer coordinates)
// for two librations, by the standard rotation of the sphere.
func TestPlacesOnTheDisk(t *testing.T) {
	for _, c := range []struct{ lon, lat, tx, ty, cx, cy float64 }{
		{0, 0, -.14161, -.68582, -.33850, .16711},
		{-1.23, 4.20, -.12625, -.73647, -.31855, .09833},
	} {
		g := newGlobe(2000, 1000, c.lon, c.lat, 1e7)
		for _, f := range []struct{ lat, lon, x, y float64 }{{-43.30, -11.22, c.tx, c.ty}, {9.62, -20.08, c.cx, c.cy}} {
			u, v := g.pixel(g.toView(place(f.lat, f.lon)))
			x, y := (u-g.cx)/g.radius, -(v-g.cy)/g.radius
			if math.Hypot(x-f.x, y-f.y) > 2e-5 {
				t.Errorf("libration %g, %g: (%.5f, %.5f), want (%.5f, %.5f)", c.lon, c.lat, x, y, f.x, f.y)
			}
		}
	}
}

// True perspective: ρ = sin t √(1-k²)/(1 - k cos t) with k the Moon's radius
// over its distance, by plane geometry; the visible cap ends where cos t = k.
func TestPerspective(t *testing.T) {
	const k = 1737.4 / 384400
	g := newGlobe(2000, 1000, 0, 0, 1/k)
	for _, deg := range []float64{10, 45, 80} {
		u, _ := g.pixel(vec{math.Sin(deg * degree), 0, math.Cos(deg * degree)})
		want := math.Sin(deg*degree) * math.Sqrt(1-k*k) / (1 - k*math.Cos(deg*degree))
		if got := (u - g.cx) / g.radius; math.Abs(got-want) > 1e-12 {
			t.Errorf("%g°: %.9f, want %.9f", deg, got, want)
		}
	}
	p := g.point(g.cx+g.radius, g.cy)
	if got := math.Acos(p[2]) / degree; math.Abs(got-89.74) > 0.005 {
		t.Errorf("the limb lies at %.3f°, want 89.74°", got)
	}
}

func TestPointUndoesPixel(t *testing.T) {
	g := newGlobe(800, 350, 3, -5, 218)
	for v := 60.0; v < 740; v += 37 {
		for u := 60.0; u < 740; u += 41 {
			if g.beyond(u, v) > 0.999 {
				continue
			}
			p := g.point(u, v)
			if math.Abs(p.norm()-1) > 1e-9 {
				t.Fatalf("(%g, %g) is %g from the centre", u, v, p.norm())
			}
			if a, b := g.pixel(p); math.Hypot(a-u, b-v) > 1e-6 {
				t.Fatalf("(%g, %g) comes back as (%g, %g)", u, v, a, b)
			}
			if q := g.toView(g.toMoon(p)); q.plus(-1, p).norm() > 1e-12 {
				t.Fatalf("%v comes back from the Moon as %v", p, q)
			}
		}
	}
}
