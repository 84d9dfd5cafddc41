package sunlit

import (
	"math"
	"testing"
)

// seen is a grid of places on a disk that the Sun lights from some degrees at a phase angle: ground is lit where its normal
// points at the Sun, seen from straight above.
func seen(sunDeg, phaseDeg float64) (cells []Cell) {
	const deg = math.Pi / 180
	sun := [3]float64{math.Cos(sunDeg*deg) * math.Sin(phaseDeg*deg), math.Sin(sunDeg*deg) * math.Sin(phaseDeg*deg), math.Cos(phaseDeg * deg)}
	for x := -0.96; x < 1; x += 0.02 {
		for y := -0.96; y < 1; y += 0.02 {
			if r2 := x*x + y*y; r2 < 0.95 {
				cells = append(cells, Cell{x, y, x*sun[0]+y*sun[1]+math.Sqrt(1-r2)*sun[2] > 0})
			}
		}
	}
	return cells
}

// K is minus the cosine of the phase angle (Meeus 1998, chapter 48).
func TestFit(t *testing.T) {
	for _, phase := range []float64{60, 90, 122} {
		for _, sun := range []float64{0, 35, 200} {
			p := Fit(seen(sun, phase))
			cos := p.UX*math.Cos(sun*math.Pi/180) + p.UY*math.Sin(sun*math.Pi/180)
			if math.Abs(p.K+math.Cos(phase*math.Pi/180)) > 0.03 || cos < math.Cos(5.1*math.Pi/180) {
				t.Errorf("Sun at %g°, phase angle %g°: %+v", sun, phase, p)
			}
		}
	}
	full := Fit(seen(0, 0))
	if full.K != -1 || !full.Lights(-0.6, 0.5, 0.06) {
		t.Errorf("a full Moon: %+v", full)
	}
}
