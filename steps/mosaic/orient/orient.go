// Package orient finds how the Moon lies in a picture of it: which way north is, and whether the picture is mirrored. Limb and
// terminator cannot tell; the dark maria can. It compares a coarse picture of the disk with a coarse map made from the
// gazetteer's names.
package orient

import (
	"math"

	"plenilune/steps/kernel/portable"
	"plenilune/steps/kernel/robust"
)

// Orientation says how the Moon lies in a picture.
type Orientation struct {
	Known    bool    `json:"known"`
	Source   string  `json:"source"`    // "found" by the maria, "turn" of the Moon under the panels, "stated" or ""
	NorthDeg float64 `json:"north_deg"` // of the Moon's north, anticlockwise from the picture's top
	// UnsureDeg is how far off that may be: some two standard deviations, 0 if stated.
	UnsureDeg float64 `json:"unsure_deg"`
	Mirrored  bool    `json:"mirrored"` // left and right are changed over against the sky
	Likeness  float64 `json:"likeness"` // correlation with the coarse map, −1…1; 0: not compared
	Rival     float64 `json:"rival"`    // the best of any other orientation

	Map int `json:"-"` // the number of the map that the likeness is to

	// of a stated orientation that what was found belies
	Belied        bool    `json:"belied,omitempty"`
	FoundDeg      float64 `json:"found_deg,omitempty"`
	FoundMirrored bool    `json:"found_mirrored,omitempty"`
}

// Against returns an orientation from elsewhere with what the maria say of it.
func (o Orientation) Against(found Orientation) Orientation {
	o.Likeness, o.Rival = found.Likeness, found.Rival
	if found.Known && (found.Mirrored != o.Mirrored || math.Abs(turnWithin(rad(found.NorthDeg-o.NorthDeg))) > rad(apart)) {
		o.Belied, o.FoundDeg, o.FoundMirrored = true, found.NorthDeg, found.Mirrored
	}
	return o
}

// Set by trial (no source): on Moons drawn from memory under many phases and librations, and on Moons with other maria, none of
// which may be taken for ours; see the tests.
const (
	least      = 0.4  // likeness
	margin     = 0.15 // by which the best explains the face better than any other, see evidence
	leastLit   = 0.25 // share of the disk that is sunlit and shown
	apart      = 25.0 // degrees: as near an orientation is the same one
	step       = 3.0  // degrees
	blur       = 1    // samples: what is finer, craters and rays, the map does not know
	degree     = 3    // of the polynomial that stands for shading
	librations = 6.0  // degrees to either side that are tried besides none
)

// Face is a coarse picture of a disk, one sample a pixel of a globe, right and down: how dark it is against its surroundings,
// and how much that counts.
type Face struct {
	dark, weight []float64
	lit          float64 // share of the disk with weight
}

// NewFace takes a disk's light on a globe's samples, NaN where nothing is shown. What smooth shading explains, a polynomial of
// third degree in the logarithm, is taken off.
func NewFace(light []float64) Face {
	var shown []float64
	for _, v := range light {
		if v == v {
			shown = append(shown, v)
		}
	}
	f := Face{make([]float64, len(light)), make([]float64, len(light)), 0}
	bright := robust.Quantile(shown, 0.95)
	if len(shown) == 0 || !(bright > 0) {
		return f
	}
	all := 0.0
	for k, v := range light {
		x, y := unit(k%Side), unit(k/Side)
		r2 := float64(x*x) + float64(y*y)
		if r2 >= 0.94 {
			continue
		}
		all++
		if v != v || v <= 0.05*bright {
			continue
		}
		f.dark[k] = -portable.Log(v / bright)
		f.weight[k] = math.Sqrt(1-r2) * max(0, min(1, (v/bright-0.08)/0.2))
		if f.weight[k] > 0 {
			f.lit++
		}
	}
	f.lit /= all
	f.dark = blurred(f.dark, f.weight)
	return f
}

// blurred smooths values by a Gaussian of blur samples, each with its weight: where there is none there is nothing.
func blurred(v, weight []float64) []float64 {
	const reach = 3 * blur
	var kernel [2*reach + 1]float64
	for i := range kernel {
		d := float64(i-reach) / blur
		kernel[i] = portable.Exp(-0.5 * float64(d*d))
	}
	pass := func(dst, src []float64, step, across int) {
		for line := range Side {
			for i := range Side {
				sum := 0.0
				for k := max(0, i-reach); k <= min(Side-1, i+reach); k++ {
					sum += float64(kernel[k-i+reach] * src[line*across+k*step])
				}
				dst[line*across+i*step] = sum
			}
		}
	}
	num, den, tmp := make([]float64, len(v)), make([]float64, len(v)), make([]float64, len(v))
	for k, w := range weight {
		num[k] = float64(w * v[k])
	}
	for _, p := range []struct{ dst, src []float64 }{{num, num}, {den, weight}} {
		pass(tmp, p.src, 1, Side)
		pass(p.dst, tmp, Side, 1)
	}
	for k, w := range weight {
		if num[k] /= den[k]; w == 0 {
			num[k] = 0
		}
	}
	return num
}

// shading spans what is not the ground's own brightness: polynomials over the disk, made orthonormal under a face's weights.
func shading(weight []float64) [][]float64 {
	var out [][]float64
	for a := range degree + 1 {
		for b := range degree + 1 - a {
			v := make([]float64, len(weight))
			for k := range v {
				p := 1.0
				for range a {
					p *= unit(k % Side)
				}
				for range b {
					p *= unit(k / Side)
				}
				v[k] = p
			}
			before := dot(weight, v, v)
			project(weight, out, v)
			project(weight, out, v)
			if n := dot(weight, v, v); n > 1e-9*before {
				scaleTo(v, 1/math.Sqrt(n))
				out = append(out, v)
			}
		}
	}
	return out
}

func dot(weight, a, b []float64) (sum float64) {
	for k, w := range weight {
		sum += float64(float64(w*a[k]) * b[k])
	}
	return sum
}

func scaleTo(v []float64, by float64) {
	for k := range v {
		v[k] *= by
	}
}

// project takes off v what a basis explains of it.
func project(weight []float64, basis [][]float64, v []float64) {
	for _, b := range basis {
		c := dot(weight, b, v)
		for k := range v {
			v[k] -= float64(c * b[k])
		}
	}
}

// trial is one orientation, and how like the map the face then is.
type trial struct {
	turn     float64 // degrees
	mirrored bool
	like     float64
	number   int // of the map
}

// Find compares a face with the map at every turn, as it is and mirrored, under the librations that the Moon may show.
func Find(f Face, maps [][]float64) Orientation {
	if f.lit < leastLit {
		return Orientation{}
	}
	basis := shading(f.weight)
	dark := append([]float64(nil), f.dark...)
	project(f.weight, basis, dark)
	norm := math.Sqrt(dot(f.weight, dark, dark))
	if !(norm > 0) {
		return Orientation{}
	}
	var all []trial
	best := trial{like: -1}
	turned := make([]float64, len(dark))
	try := func(m []float64, turn float64, mirrored bool) float64 {
		turnInto(turned, m, f.weight, turn, mirrored)
		project(f.weight, basis, turned)
		n := math.Sqrt(dot(f.weight, turned, turned))
		if !(n > 0) {
			return 0
		}
		return dot(f.weight, dark, turned) / (n * norm)
	}
	for _, mirrored := range []bool{false, true} {
		for turn := -180.0; turn < 180; turn += step {
			t := trial{turn: turn, mirrored: mirrored, like: -1}
			for k, m := range maps {
				if like := try(m, turn, mirrored); like > t.like {
					t.like, t.number = like, k
				}
			}
			all = append(all, t)
			if t.like > best.like {
				best = t
			}
		}
	}
	out := Orientation{Mirrored: best.mirrored, Likeness: best.like, Rival: -1, Map: best.number}
	for _, t := range all {
		if t.mirrored != best.mirrored || math.Abs(degrees(turnWithin(rad(t.turn-best.turn)))) > apart {
			out.Rival = max(out.Rival, t.like)
		}
	}
	out.NorthDeg = between(all, best)
	if out.Known = out.Likeness >= least && evidence(out.Likeness, out.Rival) >= margin; out.Known {
		out.Source, out.UnsureDeg = "found", foundUnsure
	}
	return out
}

// evidence is how much better one of two correlations explains a picture: the logarithm of the ratio of what they leave
// unexplained, twice the likelihood ratio a sample of Gaussian noise.
func evidence(best, rival float64) float64 {
	return portable.Log((1 - float64(rival*rival)) / (1 - float64(best*best)))
}

func degrees(rad float64) float64 { return rad * (180 / math.Pi) }

// between refines the best turn by a parabola through its neighbours.
func between(all []trial, best trial) float64 {
	at := func(turn float64) float64 {
		for _, t := range all {
			if t.mirrored == best.mirrored && math.Abs(turnWithin(rad(t.turn-turn))) < 1e-6 {
				return t.like
			}
		}
		return best.like
	}
	l, r := at(best.turn-step), at(best.turn+step)
	off := 0.0
	if d := (l - best.like) + (r - best.like); d < 0 {
		off = max(-0.5, min(0.5, 0.5*(l-r)/d))
	}
	return degrees(turnWithin(rad(best.turn + float64(off*step))))
}

// turnInto writes the map as a picture shows it whose north lies turn degrees anticlockwise from the top, and which is mirrored
// left to right before.
func turnInto(dst, m, weight []float64, turn float64, mirrored bool) {
	sin, cos := portable.Sincos(rad(turn))
	for k := range dst {
		dst[k] = 0
		if weight[k] == 0 {
			continue
		}
		x, y := unit(k%Side), -unit(k/Side)
		// turned back, so that north is up
		u, v := float64(cos*x)+float64(sin*y), float64(cos*y)-float64(sin*x)
		if mirrored {
			u = -u
		}
		dst[k] = sampleGlobe(m, u, v)
	}
}

// sampleGlobe interpolates a globe between four samples at u to the right and v up.
func sampleGlobe(m []float64, u, v float64) float64 {
	x, y := float64((u+1)*Side/2)-0.5, float64((1-v)*Side/2)-0.5
	i, j := max(0, min(Side-2, int(x))), max(0, min(Side-2, int(y)))
	p, q := x-float64(i), y-float64(j)
	a := m[j*Side+i:]
	b := m[(j+1)*Side+i:]
	top := a[0] + float64(p*(a[1]-a[0]))
	return top + float64(q*((b[0]+float64(p*(b[1]-b[0])))-top))
}

// GlobesFrom is the map seen from above a point of the Moon, in degrees north and east, where that is known.
func GlobesFrom(latDeg, lonDeg float64) [][]float64 {
	return [][]float64{globe(maria(), rad(latDeg), rad(lonDeg))}
}

// How far off north is that is found by the maria, in degrees: where it is not known from above which place the Moon is seen, and where it is.
// Measured on Moons drawn from memory under many phases and librations: 2.8° and 1.1° rms.
const (
	foundUnsure     = 6.0
	FoundUnsureFrom = 2.5
)

// Globes are the maps under the librations that are tried, none first.
func Globes() [][]float64 {
	p := maria()
	var out [][]float64
	for _, l := range [][2]float64{{}, {librations, 0}, {-librations, 0}, {0, librations}, {0, -librations}} {
		out = append(out, globe(p, rad(l[0]), rad(l[1])))
	}
	return out
}
