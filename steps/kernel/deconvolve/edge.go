package deconvolve

import (
	"errors"
	"math"

	"plenilune/steps/kernel/portable"
	"plenilune/steps/kernel/solve"
)

// EdgeReach is how far from the edge a profile reaches on either side, and EdgeBin
// how wide its bins are, in pixels.
const (
	EdgeReach = 14
	EdgeBin   = 0.25
	EdgeBins  = 2 * EdgeReach * 4
)

// Of the profile, in pixels from the edge: the dark level is taken between these
// two, the line along which the bright side runs on between those.
const (
	darkFar, darkNear     = -13.5, -10
	brightNear, brightFar = 5, 13
)

// Profile is a mean profile across an edge, dark side first, in bins of EdgeBin
// pixels, as the edge-based spatial frequency response of ISO 12233 bins it.
type Profile [EdgeBins]float64

// At returns where bin i lies, in pixels from the edge.
func At(i int) float64 { return float64((float64(i)+0.5)*EdgeBin) - EdgeReach }

// Normal returns the profile with its dark side at 0 and its bright side, which
// may rise or fall with distance, at 1; ok is false where there is no edge. step
// is the height of the edge, slope the bright side's per pixel, spread the
// standard deviation about the line, the latter two as shares of step.
func (p Profile) Normal() (n Profile, step, slope, spread float64, ok bool) {
	var dark, darks, count, sx, sy, sxx, sxy float64
	for i, v := range p {
		switch x := At(i); {
		case x > darkFar && x < darkNear:
			dark, darks = dark+v, darks+1
		case x > brightNear && x < brightFar:
			count, sx, sy = count+1, sx+x, sy+v
			sxx, sxy = sxx+float64(x*x), sxy+float64(x*v)
		}
	}
	dark /= darks
	slope = (sxy - float64(sx*sy)/count) / (sxx - float64(sx*sx)/count)
	top := (sy - float64(slope*sx)) / count
	if step = top - dark; !(step > 0) {
		return n, step, 0, 0, false
	}
	for i, v := range p {
		x := At(i)
		if n[i] = (v - dark) / (top + float64(slope*max(x, 0)) - dark); x > brightNear && x < brightFar {
			d := v - top - float64(slope*x)
			spread += float64(d*d) / count
		}
	}
	return n, step, slope / step, math.Sqrt(spread) / step, true
}

// edgeModel predicts the profile of a straight step seen through a telescope and a
// spread: ½ + Σ M(f)·sin(2πfx)/(πf)·df over the frequencies that pass.
type edgeModel struct {
	freq, weight []float64 // weight holds all of M but the spread, over πf, times df
	sin, cos     []float64 // of 2πfx, a row a bin
}

const edgeFrequencies = 96

func newEdgeModel(t Telescope) *edgeModel {
	m := &edgeModel{}
	df := t.Cutoff / edgeFrequencies
	for k := range edgeFrequencies {
		f := (float64(k) + 0.5) * df
		m.freq = append(m.freq, f)
		m.weight = append(m.weight, float64(t.Transfer(f)*sinc(float64(f*EdgeBin)))*df/(math.Pi*f))
	}
	for i := range EdgeBins {
		for _, f := range m.freq {
			s, c := portable.Sincos(2 * math.Pi * f * At(i))
			m.sin, m.cos = append(m.sin, s), append(m.cos, c)
		}
	}
	return m
}

// profile returns the normal profile of an edge at shift pixels.
func (m *edgeModel) profile(s Spread, shift float64) Profile {
	var a, b [edgeFrequencies]float64
	for k, f := range m.freq {
		w := float64(m.weight[k] * s.Transfer(f))
		sin, cos := portable.Sincos(2 * math.Pi * f * shift)
		a[k], b[k] = w*cos, w*sin
	}
	var p Profile
	for i := range p {
		row := i * edgeFrequencies
		sum := 0.5
		for k := range edgeFrequencies {
			sum += float64(m.sin[row+k]*a[k]) - float64(m.cos[row+k]*b[k])
		}
		p[i] = sum
	}
	n, _, _, _, _ := p.Normal()
	return n
}

// ErrNoEdge says that no spread explains a profile.
var ErrNoEdge = errors.New("the profile is not that of a blurred edge")

// worstFit is how far, rms, a profile may lie from the best model, as a share of
// the edge's height; real limbs come within a third of it.
const worstFit = 0.03

// FitEdge returns the spread that best explains a normal profile of an edge that
// was sharp before it was seen through the telescope, and how far, rms, the model
// is from the profile.
func FitEdge(p Profile, t Telescope) (s Spread, rms float64, err error) {
	m := newEdgeModel(t)
	best := math.Inf(1)
	starts := [][]float64{ // the unknowns, as spreadOf reads them
		{0, -1.5, -1.5, 0}, {0, -1.5, 0, 0}, {0, -1.5, 1, 0}, // a narrow, a middling and a wide halo
		{-1.5, 1, 0, 0}, // hardly any, about a wide core
	}
	for _, x := range starts {
		r, err := solve.Fit(x, solve.FitOptions{Rounds: 80, Tolerance: 1e-7}, func(x []float64, e *solve.Normal) { m.residuals(p, x, e) })
		if err == nil && r.Cost < best {
			best, s = r.Cost, spreadOf(x)
		}
	}
	rms = math.Sqrt(2 * best / EdgeBins)
	if !(rms < worstFit) {
		return Spread{}, rms, ErrNoEdge
	}
	return s, rms, nil
}

// Bounds of what is fitted: beyond them a profile of this length tells nothing.
const (
	coreMost              = 5
	haloLeast, haloBeyond = 0.6, 5
)

// spreadOf reads the unknowns, each of which runs over all numbers: share of the
// halo, the two widths; the fourth, where the edge lies, is not of the spread.
func spreadOf(x []float64) Spread {
	return Spread{
		Halo:      bounded(x[0], 0, 0.95),
		CoreSigma: bounded(x[1], 0, coreMost),
		HaloSigma: bounded(x[2], haloLeast, haloBeyond),
	}
}

// bounded maps any number smoothly into lo…hi.
func bounded(x, lo, hi float64) float64 {
	return lo + float64((hi-lo)/(1+portable.Exp(-min(max(x, -30), 30))))
}

// residuals adds each bin's error and its slopes, by differences, to the equations.
func (m *edgeModel) residuals(p Profile, x []float64, e *solve.Normal) {
	const h = 1e-4
	now := m.profile(spreadOf(x), x[3])
	var by [4]Profile
	for j := range by {
		moved := append([]float64(nil), x...)
		moved[j] += h
		by[j] = m.profile(spreadOf(moved), moved[3])
	}
	at, slope := []int{0, 1, 2, 3}, make([]float64, 4)
	for i, v := range p {
		for j := range by {
			slope[j] = (by[j][i] - now[i]) / h
		}
		e.Add(at, slope, now[i]-v, 1)
	}
}
