package simulate

import (
	"math"
	"testing"
	"time"

	"plenilune/steps/kernel/moon"
)

// The sample's Moon stands as its clock has it in the middle of the night, seen from the Earth's middle: constants, so that its bytes follow
// no reckoning. North up, the Sun's direction from the right is its position angle from the lunar north and a quarter turn.
func TestSampleFollowsItsClock(t *testing.T) {
	p := Sample()
	v := moon.Centre(moon.Unix(p.middle().UnixNano()))
	for name, c := range map[string]struct{ got, want, within float64 }{
		"libration in longitude": {p.SubObserverLonDeg, v.SubLonDeg, 0.01},
		"libration in latitude":  {p.SubObserverLatDeg, v.SubLatDeg, 0.01},
		"distance":               {p.DistanceRadii, v.DistanceKM / moon.RadiusKM, 0.01},
		"phase":                  {p.PhaseDeg, v.PhaseDeg, 0.05},
		"bright limb":            {p.BrightLimbDeg, math.Mod(90+v.BrightLimbDeg-v.AxisDeg, 360), 0.05},
	} {
		if math.Abs(c.got-c.want) > c.within {
			t.Errorf("%s: %.3f, the clock has %.3f", name, c.got, c.want)
		}
	}
}

// middle is the time between the beginning of the first clip and the end of the last.
func (p *Plan) middle() time.Time {
	n := p.PanelsAcross * p.PanelsDown
	return p.Start.Add((time.Duration(n-1)*p.ClipEvery + p.ClipTime) / 2)
}

// Craters are drawn where names are put by the clock, all over the disk, within 0.3 px.
func TestSampleShowsCratersWhereTheyAreNamed(t *testing.T) {
	p := Sample()
	g := newGlobe(1400, p.DiskPx/2, p.SubObserverLonDeg, p.SubObserverLatDeg, p.DistanceRadii)
	disk := moon.Centre(moon.Unix(p.middle().UnixNano())).Disk()
	for name, at := range map[string][2]float64{ // longitude, latitude: IAU/USGS gazetteer
		"Tycho": {-11.22, -43.30}, "Copernicus": {-20.08, 9.62}, "Plato": {-9.38, 51.62}, "Langrenus": {61.04, -8.86}, "Endymion": {55.94, 53.61},
	} {
		u, v := g.pixel(g.toView(place(at[1], at[0])))
		east, north, seen := disk.Project(moon.At(at[0], at[1]))
		if x, y := g.cx+g.radius*east, g.cy-g.radius*north; !seen || math.Hypot(u-x, v-y) > 0.3 {
			t.Errorf("%s is drawn at %.2f, %.2f and named at %.2f, %.2f", name, u, v, x, y)
		}
	}
}
