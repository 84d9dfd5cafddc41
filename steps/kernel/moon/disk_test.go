package moon

import (
	"math"
	"testing"
)

func TestDiskMiddleAndLimb(t *testing.T) {
	d := DiskOf(-6, 4, 370000)
	x, y, ok := d.Project(At(-6, 4))
	near(t, "middle", math.Hypot(x, y), 0, 1e-15)
	if !ok {
		t.Error("the sub-observer point is not visible")
	}
	// What lies at asin(R/d) less than 90° from the middle is the limb, at a distance of 1 by definition.
	edge := 90 - math.Asin(RadiusKM/370000)/degree
	x, y, _ = DiskOf(0, 0, 370000).Project(At(edge, 0))
	near(t, "east limb x", x, 1, 1e-12)
	near(t, "east limb y", y, 0, 1e-12)
	if _, y, _ = DiskOf(0, 0, 370000).Project(At(0, edge)); math.Abs(y-1) > 1e-12 {
		t.Errorf("north limb at %g", y)
	}
	for _, c := range []struct {
		off  float64
		want bool
	}{{-0.01, true}, {0.01, false}} {
		if _, _, ok := DiskOf(0, 0, 370000).Project(At(edge+c.off, 0)); ok != c.want {
			t.Errorf("%g° beyond the limb: visible %v", c.off, ok)
		}
	}
	if _, ok := d.Unproject(0.8, 0.7); ok {
		t.Error("a place beyond the limb is on the ground")
	}
}

// TestDiskPerspective holds the projection to plain geometry: eye, ground and tangent plane in space.
func TestDiskPerspective(t *testing.T) {
	const far = 356400.0
	d := DiskOf(3, -5, far)
	z, north := At(3, -5), At(3, 85)
	eye := vector(z)
	for i := range eye {
		eye[i] *= far / RadiusKM
	}
	p := At(40, 20)
	sight := vector(p).plus(-1, eye)
	depth := -sight.dot(vector(z))
	_, y, _ := d.Project(p)
	limb := math.Tan(math.Asin(RadiusKM / far))
	near(t, "y", y, sight.dot(vector(north))/depth/limb, 1e-12)
	// Without perspective: the plain shadow on the plane.
	_, y, _ = DiskOf(3, -5, math.Inf(1)).Project(p)
	near(t, "orthographic y", y, vector(p).dot(vector(north)), 1e-14)
}

func TestDiskAndBack(t *testing.T) {
	for _, far := range []float64{356400, 406700, math.Inf(1), 5000} {
		d := DiskOf(5.5, -6.2, far)
		for _, lon := range []float64{-60, -3, 20, 71} {
			for _, lat := range []float64{-55, 0, 64} {
				p := At(lon, lat)
				x, y, visible := d.Project(p)
				if !visible {
					continue
				}
				q, ok := d.Unproject(x, y)
				l, b := q.LonLat()
				if !ok {
					t.Errorf("%g° %g° from %g km: beyond the limb", lon, lat, far)
				}
				near(t, "longitude", l, lon, 1e-9)
				near(t, "latitude", b, lat, 1e-9)
			}
		}
	}
}

func TestDiskScale(t *testing.T) {
	d := DiskOf(0, 0, 370000)
	const h = 1e-6
	for _, lon := range []float64{1, 30, 60, 80} {
		around, inward := d.Scale(At(lon, 0))
		x0, _, _ := d.Project(At(lon-h, 0))
		x1, _, _ := d.Project(At(lon+h, 0))
		_, y1, _ := d.Project(At(lon, h))
		near(t, "inward", inward, (x1-x0)/(2*h*degree), 1e-6)
		near(t, "around", around, y1/(h*degree), 1e-6)
		// The ground seems shorter by the cosine of the emission angle, but for the view's own width of half a degree.
		near(t, "shortening", inward/around, d.Emission(At(lon, 0)), 5e-5)
	}
}

func TestSkyAndBack(t *testing.T) {
	v := View{AxisDeg: 0, DistanceKM: 384400}
	e, n := v.Sky(0, 1)
	near(t, "north pole's limb, east", e, 0, 1e-9)
	near(t, "north pole's limb, north", n, 932.27, 0.01) // asin(1737.4/384400)
	if e, _ = v.Sky(1, 0); e > -900 {
		t.Errorf("lunar east is seen %g″ east: it lies in the sky's west", e)
	}
	v.AxisDeg = 90
	if e, _ = v.Sky(0, 1); e < 900 {
		t.Errorf("with the axis at 90° the pole is seen %g″ east", e)
	}
	v.AxisDeg = 341.2
	x, y := v.OnDisk(v.Sky(0.31, -0.77))
	near(t, "x", x, 0.31, 1e-12)
	near(t, "y", y, -0.77, 1e-12)
}

func carry(t *testing.T, from, to Disk, soft float64) Carry {
	t.Helper()
	c, err := NewCarry(from, to, soft)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestCarryIsTheGround(t *testing.T) {
	from, to := DiskOf(-2, 3, 372000), DiskOf(-0.8, 3.4, 369000)
	c := carry(t, from, to, 0.004)
	for _, p := range []Point{At(0, 0), At(-40, 30), At(60, -20), At(10, 70)} {
		x, y, _ := from.Project(p)
		wx, wy, _ := to.Project(p)
		gx, gy := c.At(x, y)
		near(t, "x", gx, wx, 1e-12)
		near(t, "y", gy, wy, 1e-12)
	}
	same := carry(t, from, from, 0.004)
	for _, x := range []float64{0, 0.5, 0.998, 1.4} {
		gx, gy := same.At(x, 0.02)
		near(t, "itself x", gx, x, 1e-14)
		near(t, "itself y", gy, 0.02, 1e-14)
	}
}

// TestCarryHoldsTogether looks along many rays over the limb: the limb stays the limb, sky only turns, and everywhere the map
// has a slope that neither jumps nor folds.
func TestCarryHoldsTogether(t *testing.T) {
	for _, tilt := range []float64{0.05, 0.5, 2, 6, 11} {
		from, to := DiskOf(4, -2, 380000), DiskOf(4+0.8*tilt, -2+0.6*tilt, 375000)
		c := carry(t, from, to, 0.002)
		for deg := 0.0; deg < 360; deg += 15 {
			sin, cos := math.Sincos(deg * degree)
			x, y := c.At(cos, sin)
			near(t, "limb", math.Hypot(x, y), 1, 1e-12)
			x, y = c.At(1.3*cos, 1.3*sin)
			near(t, "sky", math.Hypot(x, y), 1.3, 1e-12)
			const h = 1e-5
			for r := 0.0; r < 1.1; r += 0.0005 {
				x0, y0 := c.At((r-h)*cos, (r-h)*sin)
				x1, y1 := c.At((r+h)*cos, (r+h)*sin)
				x2, y2 := c.At(r*cos-h*sin, r*sin+h*cos)
				x3, y3 := c.At(r*cos+h*sin, r*sin-h*cos)
				ux, uy, vx, vy := (x1-x0)/(2*h), (y1-y0)/(2*h), (x2-x3)/(2*h), (y2-y3)/(2*h)
				if det := ux*vy - uy*vx; det < 0.1 || det > 2 {
					t.Fatalf("views %g° apart, direction %g°, %g from the middle: areas grow by %.3f", tilt, deg, r, det)
				}
			}
		}
	}
}

func TestCarryRefusesOtherSides(t *testing.T) {
	if _, err := NewCarry(DiskOf(0, 0, 380000), DiskOf(15, 0, 380000), 0); err == nil {
		t.Error("views 15° apart are carried into each other")
	}
}

func BenchmarkCarry(b *testing.B) {
	c, err := NewCarry(DiskOf(0, 0, 380000), DiskOf(1, 1, 380000), 0.004)
	if err != nil {
		b.Fatal(err)
	}
	for i := range b.N {
		c.At(float64(i%100)/100, 0.1)
	}
}

// TestAspect holds carrying by aspects to carrying by the views themselves: the same, but for the ball's turn against the Moon.
func TestAspect(t *testing.T) {
	site := Site{LatitudeDeg: 47, LongitudeDeg: 8}
	ref, v := site.View(Universal(2460751.5)), site.View(Universal(2460751.6))
	a := v.Against(ref)
	straight := carry(t, v.Disk(), ref.Disk(), 0.01)
	told := carry(t, a.Disk(), DiskOf(0, 0, ref.DistanceKM), 0.01)
	lean := (v.AxisDeg - ref.AxisDeg - a.AxisDeg) * degree // of the ball's pole, to the right
	sin, cos := math.Sincos(lean)
	for _, c := range [][2]float64{{0, 0}, {0.4, -0.3}, {-0.8, 0.5}, {0.2, 0.97}, {1.2, 0.1}} {
		wx, wy := straight.At(c[0], c[1])
		gx, gy := told.At(cos*c[0]-sin*c[1], sin*c[0]+cos*c[1])
		near(t, "x", gx, wx, 1e-9)
		near(t, "y", gy, wy, 1e-9)
	}
	nearAngle(t, "the zenith", ref.AxisDeg+a.AxisDeg+a.ZenithDeg, v.Horizon.ParallacticDeg, 1e-9)
	near(t, "towards the zenith", a.UprightDeg-a.AxisDeg, ref.Horizon.ParallacticDeg-v.Horizon.ParallacticDeg, 1e-9)
	if same := ref.Against(ref); math.Abs(same.EastDeg)+math.Abs(same.NorthDeg)+math.Abs(same.AxisDeg)+math.Abs(same.UprightDeg) > 1e-12 {
		t.Errorf("a view differs from itself: %+v", same)
	}
}
