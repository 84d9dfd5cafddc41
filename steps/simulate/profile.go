package simulate

import "math"

// profile is the cross-section of a crater, ready to be evaluated: heights in
// km against the country around, r in rim radii.
type profile struct {
	depth, rim float64 // below and above the country
	floor      float64 // radius of the flat floor, 0 for a bowl
	peak       float64 // height of the central peak above the floor
	worn       float64
	reach      float64 // beyond it nothing is changed
}

func newProfile(c crater) profile {
	rim := rimKm(c.km)
	p := profile{depth: depthKm(c.km) - rim, rim: rim, worn: c.worn, reach: 2.6 - c.worn}
	if c.km > 14 {
		p.floor = min(0.74, 0.30+float64(0.14*math.Sqrt((c.km-14)/14)))
	}
	if c.km > 26 && c.km < 150 && !c.flooded {
		p.peak = float64(0.42*p.depth) * (1 - c.worn)
	}
	p.depth *= 1 - float64(0.55*c.worn)
	p.rim *= 1 - float64(0.66*c.worn)
	if c.flooded {
		p.depth *= 0.62
		p.floor = 0.83
	}
	return p
}

// at returns the height at r.
func (p *profile) at(r float64) float64 {
	if r >= p.reach {
		return 0
	}
	fade := 1 - step(1.2, p.reach, r)
	if r >= 1 {
		// Ejecta thin out as the third power of distance (McGetchin, Settle & Head 1973).
		return float64(p.rim/float64(float64(r*r)*r)) * fade
	}
	if p.floor == 0 {
		return float64((p.depth+p.rim)*float64(r*r)) - p.depth
	}
	h := -p.depth
	if r > p.floor {
		t := (r - p.floor) / (1 - p.floor)
		// A wall that steepens toward the rim, less so where it has slumped.
		bend := float64(t * t)
		t = blend(float64(bend*(3-float64(2*t))), blend(t, bend, 0.6), 1-p.worn)
		h += float64((p.depth + p.rim) * t)
	}
	if p.peak > 0 && r < 0.3 {
		k := 1 - r/0.3
		h += float64(p.peak * float64(float64(k*k)*(1+k)*0.5))
	}
	return h
}

// erased is how much of the former ground is gone at r: everything inside a
// fresh crater, little under a worn one.
func (p *profile) erased(r float64) float64 {
	return float64((0.95 - float64(0.7*p.worn)) * (1 - step(0.86, 1.25, r)))
}
