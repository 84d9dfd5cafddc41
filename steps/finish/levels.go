package finish

import (
	"errors"
	"slices"

	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/robust"
)

const (
	// A pixel within this share of the span above the darkest is taken for sky or
	// for ground that no sunlight meets.
	skyShare = 0.03
	// Less of it than this share of the picture, and there is no sky in view.
	skyLeast = 0.01
	// Ground brighter than this share of the span tells the Moon's mean colour.
	litShare = 0.2
	// This share of the ground's pixels is no brighter than groundAt on the scale
	// that the curve begins with.
	groundShare, groundAt = 0.995, 0.8
)

// measure finds what becomes black and white in a linear picture.
func (v *survey) measure(whitePct float64) (levelsTable, error) {
	var l levelsTable
	m := v.thin
	span := make([]float64, m.Channels())
	for c, p := range m.Pix {
		v := known(p)
		if len(v) == 0 {
			return l, errors.New("the picture has no pixel with data: look at what it is made of, as a picture of its mosaic or stack, and at that one's warnings")
		}
		slices.Sort(v)
		lo, hi := at(v, 0.001), at(v, 0.999)
		span[c] = hi - lo
		l.Black = append(l.Black, black(v, lo, hi))
	}
	l.Gain = neutral(m, l.Black, span)
	top := l.scaled(m)
	l.White = at(top, whitePct/100)
	if whitePct >= 100 {
		for c, most := range v.most {
			l.White = max(l.White, float64((float64(most)-l.Black[c])*l.Gain[c]))
		}
	}
	if l.White <= 0 {
		l.White = 1 // a picture of one brightness: any scale will do
	}
	l.Large = large(top, l.White)
	return l, nil
}

// scaled returns the sorted values of all channels above black and with their gains.
func (l *levelsTable) scaled(m *plane.Image) []float32 {
	var top []float32
	for c, p := range m.Pix {
		for _, v := range known(p) {
			top = append(top, float32((float64(v)-l.Black[c])*l.Gain[c]))
		}
	}
	slices.Sort(top)
	return top
}

// large is the level that all but few pixels of the ground keep below, with some
// room above for the gradation of the brightest of them. The sky does not count,
// so that a crescent is made no darker or brighter than a full disk.
func large(sorted []float32, white float64) float64 {
	n, _ := slices.BinarySearch(sorted, float32(skyShare*at(sorted, 0.999)))
	ground := sorted[n:]
	if len(ground) == 0 {
		return white
	}
	if v := at(ground, groundShare) / groundAt; v > 0 {
		return min(white, v)
	}
	return white
}

// black is the level of the sky and one deviation of its noise, so that the sky
// is black and does not glitter; without sky it is zero light.
func black(sorted []float32, lo, hi float64) float64 {
	n, _ := slices.BinarySearch(sorted, float32(lo+float64(skyShare*(hi-lo))))
	if float64(n) < float64(skyLeast*float64(len(sorted))) || lo > float64(0.2*hi) {
		return min(lo, 0)
	}
	sky := thinned(sorted[:n])
	return at(sky, 0.5) + float64(robust.Sigma(sky))
}

// thinned returns evenly spaced ones of many sorted values: their quantiles are those of all.
func thinned(sorted []float32) []float32 {
	const enough = 20000
	if len(sorted) <= 2*enough {
		return sorted
	}
	out := make([]float32, enough)
	for i := range out {
		out[i] = sorted[(2*i+1)*len(sorted)/(2*enough)]
	}
	return out
}

// neutral returns the factors that make lit ground grey on the mean, green kept
// (the grey-world rule: Buchsbaum 1980, J. Franklin Inst. 310:1).
func neutral(m *plane.Image, black, span []float64) []float64 {
	gain := slices.Repeat([]float64{1}, m.Channels())
	if m.Channels() < 3 {
		return gain
	}
	sum := make([]float64, m.Channels())
	for i, g := range m.Pix[1] {
		if float64(g)-black[1] < float64(litShare*span[1]) {
			continue
		}
		ok := true
		for c := range m.Pix {
			ok = ok && m.Pix[c][i] == m.Pix[c][i]
		}
		for c := range m.Pix {
			if ok {
				sum[c] += float64(m.Pix[c][i]) - black[c]
			}
		}
	}
	for c := range gain {
		if sum[c] > 0 && sum[1] > 0 {
			gain[c] = sum[1] / sum[c]
		}
	}
	return gain
}

// known copies the pixels that have data.
func known(p []float32) []float32 {
	out := make([]float32, 0, len(p))
	for _, v := range p {
		if v == v {
			out = append(out, v)
		}
	}
	return out
}

// at returns the quantile q of sorted values, the nearest below.
func at(sorted []float32, q float64) float64 {
	return float64(sorted[int(float64(q*float64(len(sorted)-1)))])
}
