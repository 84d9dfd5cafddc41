package simulate

import (
	_ "embed"
	"math"
	"slices"
	"strconv"
	"strings"

	"plenilune/steps/kernel/portable"
)

// gazetteer holds the larger craters of the near side and some small bright
// ones: name, diameter and place from the IAU/USGS Gazetteer of Planetary
// Nomenclature; "worn" and "flooded" are by eye.
//
//go:embed craters.csv
var gazetteer string

// crater is one bowl.
type crater struct {
	centre  vec     // selenographic axes
	km      float64 // rim-to-rim diameter
	worn    float64 // 0 fresh … 1 nearly gone
	flooded bool    // a flat floor of lava
	named   bool
}

// namedCraters parses the gazetteer.
func namedCraters() []crater {
	var out []crater
	for _, line := range strings.Split(gazetteer, "\n")[1:] {
		f := strings.Split(line, ",")
		if len(f) != 6 {
			continue
		}
		var v [4]float64
		for i := range v {
			v[i], _ = strconv.ParseFloat(f[i+1], 64)
		}
		out = append(out, crater{
			centre: place(v[1], v[2]), km: v[0], worn: v[3], flooded: f[5] == "1", named: true,
		})
	}
	return out
}

// population draws craters over the whole sphere whose number above a diameter
// falls as its power -slope, countAt20Km of them above 20 km on the whole
// sphere were it all highland; most that fall in maria are drowned.
func population(m *maria, seed uint64, countAt20Km, slope, smallestKm, largestKm float64) []crater {
	d := newDice(seed, forCraters)
	n := int(countAt20Km * portable.Pow(smallestKm/20, -slope))
	out := make([]crater, 0, n)
	for range n {
		c := crater{centre: onSphere(d), km: powerLaw(d, slope, smallestKm)}
		u, chance := d.unit(), d.unit()
		c.worn = 0.1 + float64(0.75*u)
		if u < 0.012 {
			c.worn = 0 // bright and young
		}
		if c.km > largestKm {
			continue // the large ones are known by name
		}
		if land := m.at(c.centre); land.mare > 0.4 {
			if chance > 0.13 {
				continue
			}
			c.worn *= 0.45
			c.km *= 0.8
		}
		out = append(out, c)
	}
	return out
}

func onSphere(d *dice) vec {
	z := d.between(-1, 1)
	s, c := portable.Sincos(d.between(0, 2*math.Pi))
	r := math.Sqrt(1 - float64(z*z))
	return vec{float64(r * c), float64(r * s), z}
}

// powerLaw draws from N(>x) = (x/least)^-slope.
func powerLaw(d *dice, slope, least float64) float64 {
	return float64(least * portable.Pow(1-d.unit(), -1/slope))
}

// byAge sorts the oldest first, large before small, so that young craters lie on
// old ones.
func byAge(cs []crater) {
	era := func(c crater) float64 { return c.worn + min(1, c.km/150) }
	slices.SortStableFunc(cs, func(a, b crater) int {
		switch x, y := era(a), era(b); {
		case x > y:
			return -1
		case x < y:
			return 1
		}
		return 0
	})
}

// depthKm is the depth below the rim's foot and rimKm the rim's height of a
// fresh crater: Pike 1977, d = 0.196 D^1.010 and h = 0.036 D^1.014 below 10.6
// and 1.044 D^0.301 and 0.236 D^0.399 above (both in km, d from rim crest).
func depthKm(km float64) float64 {
	if km < 10.6 {
		return float64(0.196 * portable.Pow(km, 1.010))
	}
	return float64(1.044 * portable.Pow(km, 0.301))
}

func rimKm(km float64) float64 {
	if km < 10.6 {
		return float64(0.036 * portable.Pow(km, 1.014))
	}
	return float64(0.236 * portable.Pow(km, 0.399))
}
