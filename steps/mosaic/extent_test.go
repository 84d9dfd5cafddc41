package mosaic

import (
	"math"
	"testing"
)

// moonMap is a map of a disk of radius 100 about (150, 150), lit by the Sun from a direction at a phase angle, of which the
// cells that show tells are shown.
func moonMap(sunDeg, phaseDeg float64, show func(x, y float64) bool) (coverage, geometry) {
	g := geometry{Width: 300, Height: 300, Limb: limbTable{Found: true, X: 150, Y: 150, R: 100}}
	c := mapFor(g)
	sun := [3]float64{math.Cos(sunDeg*deg) * math.Sin(phaseDeg*deg), math.Sin(sunDeg*deg) * math.Sin(phaseDeg*deg), math.Cos(phaseDeg * deg)}
	for i := range c.shown {
		mx, my := c.middle(i%c.w, i/c.w)
		x, y := (mx-150)/100, (my-150)/100
		if mx < 0 || my < 0 || mx >= 300 || my >= 300 || !show(x, y) {
			continue
		}
		c.shown[i] = true
		if r2 := x*x + y*y; r2 < 1 {
			// The Sun stands above ground whose normal points at it, seen from straight above.
			c.lit[i] = x*sun[0]+y*sun[1]+math.Sqrt(1-r2)*sun[2] > 0
		}
	}
	return c, g
}

func everything(x, y float64) bool { return true }

// The lit share of a disk is (1 + cos i)/2 at the phase angle i (Meeus 1998, eq. 48.1).
func TestSunlitPartOfTheDisk(t *testing.T) {
	for _, phase := range []float64{0, 20, 60, 90, 122, 150} {
		for _, sun := range []float64{0, 33, 200} {
			c, g := moonMap(sun, phase, everything)
			l := c.fitSunlit(g)
			tol := 0.015
			if phase == 20 {
				tol = 0.035 // the dark sliver hides in the limb
			}
			if want := (1 + math.Cos(phase*deg)) / 2; math.Abs((1-l.K)/2-want) > tol {
				t.Errorf("phase %g°, Sun at %g°: %.3f of the disk is lit, want %.3f", phase, sun, (1-l.K)/2, want)
			}
			if phase == 0 {
				continue
			}
			if cos := l.UX*math.Cos(sun*deg) + l.UY*math.Sin(sun*deg); phase >= 60 && cos < math.Cos(5*deg) {
				t.Errorf("phase %g°: the Sun is found %.1f° off", phase, math.Acos(cos)/deg)
			}
			if _, share := c.sunlitCells(g); share < 0.999 {
				t.Errorf("phase %g°: %.3f of a whole disk's sunlit ground is shown", phase, share)
			}
		}
	}
}

func TestHowMuchMakesADisk(t *testing.T) {
	for _, v := range []struct {
		name          string
		sun, phase    float64
		show          func(x, y float64) bool
		disk          bool
		holes         int
		holesIfRegion int
	}{
		{"whole gibbous Moon", 10, 60, everything, true, 0, 0},
		{"a panel is missing in the middle", 10, 60, func(x, y float64) bool { return math.Abs(x-0.2) > 0.2 || math.Abs(y) > 0.2 }, true, 1, 1},
		{"a panel is missing at the limb", 10, 60, func(x, y float64) bool { return x < 0.7 || math.Abs(y) > 0.3 }, true, 1, 0},
		{"a panel of dark ground is missing", 10, 120, func(x, y float64) bool { return x > -0.7 || math.Abs(y) > 0.3 }, true, 0, 0},
		{"dark ground is missing in the middle", 0, 140, func(x, y float64) bool { return math.Abs(x+0.3) > 0.3 || math.Abs(y) > 0.3 }, true, 0, 0},
		{"the night half of a half Moon", 0, 90, func(x, y float64) bool { return x > -0.1 }, true, 0, 0},
		{"sky is missing", 0, 30, func(x, y float64) bool { return x > -1.2 || y > -1.2 }, true, 0, 0},
		{"the left half of a full Moon", 0, 5, func(x, y float64) bool { return x < 0 }, false, 0, 0},
		{"the upper half of a gibbous Moon", 0, 60, func(x, y float64) bool { return y < 0 }, false, 0, 0},
		{"a strip along the terminator", 0, 80, func(x, y float64) bool { return x > 0 && x < 0.45 }, false, 0, 0},
		{"a strip along the limb", 0, 80, func(x, y float64) bool { return x > 0.6 }, false, 0, 0},
		{"a region with a gap", 0, 60, func(x, y float64) bool { return x > 0.1 && (math.Abs(x-0.6) > 0.15 || math.Abs(y) > 0.15) && y < 0.5 }, false, 1, 1},
	} {
		c, g := moonMap(v.sun, v.phase, v.show)
		sunlit, share := c.sunlitCells(g)
		if disk := share >= wholeShare; disk != v.disk {
			t.Errorf("%s: %.2f of the sunlit ground is shown; a disk: %v", v.name, share, disk)
		}
		if got := c.holes(g, sunlit, v.disk); len(got) != v.holes {
			t.Errorf("%s: holes %+v, want %d", v.name, got, v.holes)
		}
		if got := c.holes(g, sunlit, false); len(got) != v.holesIfRegion {
			t.Errorf("%s, as a region: holes %+v, want %d", v.name, got, v.holesIfRegion)
		}
	}
}

func TestGapBeyondThePictureIsAHole(t *testing.T) {
	c, g := moonMap(0, 30, everything)
	// The picture ends at y = 75: a fifth of the disk above it is not in it at all.
	whole := c
	g.Height, g.Limb.Y = 225, 75
	c = mapFor(g)
	for i := range c.shown {
		mx, my := c.middle(i%c.w, i/c.w)
		if mx >= 0 && my >= 0 && mx < 300 && my < 225 {
			c.shown[i], c.lit[i] = true, whole.lit[(int(my)+75-whole.y0)*whole.w+int(mx)-whole.x0]
		}
	}
	sunlit, share := c.sunlitCells(g)
	if share < wholeShare || share > 0.95 {
		t.Fatalf("%.2f of the sunlit ground is shown", share)
	}
	h := c.holes(g, sunlit, true)
	// A cap of height 25 on a circle of radius 100 has an area of 2,266 px².
	if len(h) != 1 || h[0].Y > 0 || h[0].Area < 1700 || h[0].Area > 2400 {
		t.Errorf("holes %+v, want one above the picture of about 2,100 px²", h)
	}
}
