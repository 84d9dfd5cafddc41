package orient

import (
	"math"
	"strings"

	"plenilune/steps/kernel/gazetteer"
	"plenilune/steps/kernel/portable"
)

// flood is dark ground, an oval about a place.
type flood struct {
	lat, lon   float64 // rad
	high, wide float64 // half its extent northward and eastward, rad on the ground
	dark       float64 // 0…1
}

const moonRadiusKM = 1737.4

// oval says what the diameters of two maria do not: that they are no discs. Half extents in degrees on the ground, coarse, from
// memory of the Moon as every map shows it.
var oval = map[string][2]float64{
	"Mare Frigoris":       {4, 22},
	"Oceanus Procellarum": {27, 20},
}

// maria are the floods of the near side that a coarse picture shows, from their names: seas, bays, lakes and marshes are all
// floods of dark lava.
func maria() []flood {
	var out []flood
	for _, f := range gazetteer.Features() {
		kind, _, _ := strings.Cut(f.Name, " ")
		switch {
		case f.DiameterKM < 120 || math.Abs(f.Longitude) > 100:
			continue
		case kind != "Mare" && kind != "Oceanus" && kind != "Sinus" && kind != "Lacus" && kind != "Palus":
			continue
		}
		r := f.DiameterKM / 2 / moonRadiusKM
		p := flood{rad(f.Latitude), rad(f.Longitude), r, r, 1}
		if kind == "Lacus" || kind == "Palus" {
			p.dark = 0.5
		}
		if o, ok := oval[f.Name]; ok {
			p.high, p.wide = rad(o[0]), rad(o[1])
		}
		out = append(out, p)
	}
	return out
}

// turnWithin brings an angle in radians to −π…π.
func turnWithin(a float64) float64 { return a - float64(2*math.Pi*math.Round(a/(2*math.Pi))) }

func rad(deg float64) float64 { return float64(deg * (math.Pi / 180)) }

// darkness is how dark the ground is at a latitude and longitude, 0…1: floods end softly.
func darkness(floods []flood, lat, lon float64) float64 {
	bright := 1.0
	for i := range floods {
		p := &floods[i]
		dy, dx := lat-p.lat, turnWithin(lon-p.lon)*portable.Cos(lat)
		if math.Abs(dy) > 1.3*p.high || math.Abs(dx) > 1.3*p.wide {
			continue
		}
		d := math.Sqrt(float64(dy*dy)/(p.high*p.high) + float64(dx*dx)/(p.wide*p.wide))
		bright *= 1 - float64(p.dark*max(0, min(1, (1.15-d)/0.3)))
	}
	return 1 - bright
}

// Side is how many samples the coarse picture of the Moon has across its disk.
const Side = 64

// globe is the coarse picture as it is seen from above a point of the Moon, north up and east to the right, of the square
// about the disk; 0 beyond the limb. It is orthographic: at this scale perspective tells nothing.
func globe(floods []flood, lat0, lon0 float64) []float64 {
	out := make([]float64, Side*Side)
	sin0, cos0 := portable.Sincos(lat0)
	for j := range Side {
		for i := range Side {
			x, y := unit(i), -unit(j)
			r2 := float64(x*x) + float64(y*y)
			if r2 >= 1 {
				continue
			}
			z := math.Sqrt(1 - r2)
			lat := portable.Asin(float64(z*sin0) + float64(y*cos0))
			lon := lon0 + portable.Atan2(x, float64(z*cos0)-float64(y*sin0))
			out[j*Side+i] = darkness(floods, lat, lon)
		}
	}
	whole := make([]float64, len(out))
	for k := range whole {
		whole[k] = 1
	}
	return blurred(out, whole)
}

// unit is a sample's place across the disk, −1…1.
func unit(i int) float64 { return float64((float64(2*i)+1)/Side) - 1 }
