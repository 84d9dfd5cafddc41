package survey

import (
	"math"
	"strings"

	"plenilune/steps/kernel/gazetteer"
	"plenilune/steps/kernel/moon"
	"plenilune/steps/kernel/portable"
)

// mark names a landmark in each panel, and finds the brightest.
func (r *Report) mark(g *Grid) {
	disk := r.View.Disk()
	marks := r.landmarks(disk)
	for i := range g.Panels {
		p := &g.Panels[i]
		p.Landmark = landmark(marks, g, *p)
		if p.brightness = r.brightness(disk, g, *p); r.View.PhaseDeg < flatDeg {
			p.brightness = r.nearTycho(disk, *p)
		}
		if p.brightness > 0 && len(g.Panels) > 1 && (g.Brightest == 0 || p.brightness > g.Panels[g.Brightest-1].brightness) {
			g.Brightest = p.Number
		}
	}
}

// flatDeg is the phase angle below which the Moon is lit so flatly that not slopes but the ground itself makes the brightness.
const flatDeg = 15

// nearTycho ranks panels near the full Moon: by how near they are to the bright rays about Tycho.
func (r *Report) nearTycho(disk moon.Disk, p Panel) float64 {
	x, y, _ := disk.Project(moon.At(-11.22, -43.30)) // the IAU's gazetteer
	east, north := r.View.Sky(x, y)
	return 1 / (1 + portable.Hypot(east/60-p.EastArcmin, north/60-p.NorthArcmin))
}

// Landmarks have diameters, in km, that make them easy to know.
const (
	smallMark = 40
	largeMark = 330
)

// mark is a landmark and where it is seen, in arcmin east and north of the disk's middle.
type mark struct {
	name string
	at   spot
}

// landmarks are those that the Sun shines on, the largest first.
func (r *Report) landmarks(disk moon.Disk) (out []mark) {
	for _, f := range gazetteer.Features() {
		if f.DiameterKM > largeMark || f.DiameterKM < smallMark || !easy(f.Name) {
			continue
		}
		at := moon.At(f.Longitude, f.Latitude)
		x, y, visible := disk.Project(at)
		if !visible || r.View.Incidence(at) < 0.03 {
			continue
		}
		east, north := r.View.Sky(x, y)
		out = append(out, mark{f.Name, spot{east / 60, north / 60}})
	}
	return out
}

// landmark is the largest in the middle half of a panel, else in all of it.
func landmark(marks []mark, g *Grid, p Panel) string {
	up := frame(p.CameraDeg)
	for _, part := range []float64{0.25, 0.45} {
		for _, m := range marks {
			s := up.turn(m.at)
			if math.Abs(s.x-p.aim.x) < float64(part*g.WidthArcmin) && math.Abs(s.y-p.aim.y) < float64(part*g.HeightArcmin) {
				return m.name
			}
		}
	}
	return ""
}

// easy tells whether a name is that of something easy to know, such as a crater or a bay, and not of a row of hills or clefts.
func easy(name string) bool {
	for _, hard := range []string{"Rima", "Dors", "Catena", "Vallis", "["} {
		if strings.HasPrefix(name, hard) {
			return false
		}
	}
	i := strings.LastIndexByte(name, ' ')
	return len(name)-i != 2 // Encke T lies by Encke
}

// brightness is that of the panel's brightest twelfth by the law of Lommel and Seeliger, as if all ground were alike; ground near the limb, where
// the law exaggerates, does not count.
func (r *Report) brightness(disk moon.Disk, g *Grid, p Panel) float64 {
	const across = 12
	up := frame(p.CameraDeg)
	best := 0.0
	for j := range across {
		sum, n := 0.0, 0
		for i := range across {
			s := spot{p.aim.x + float64((float64(i)-5.5)/across*g.WidthArcmin), p.aim.y + float64((float64(j)-5.5)/across*g.HeightArcmin)}
			on := up.turn(s)
			ground, ok := disk.Unproject(r.View.OnDisk(on.x*60, on.y*60))
			if !ok {
				continue
			}
			sun, eye := r.View.Incidence(ground), disk.Emission(ground)
			if sun <= 0 || eye < 0.25 {
				continue
			}
			sum, n = sum+sun/(sun+eye), n+1
		}
		if n >= across/2 {
			best = max(best, sum/float64(n))
		}
	}
	return best
}
