package mosaic

import (
	"image"

	"plenilune/steps/kernel/filter"
	"plenilune/steps/kernel/wavelet"
)

// Panels that agree are averaged; where they do not, because one lies wrong by more than a pixel or a shadow has moved
// on, the average would show the ground twice, and the panel that has the most to say is taken alone.
const (
	accordSigma = 4               // px over which agreement is judged
	accordReach = 4 * accordSigma // px that the judgement looks around
	accordFirst = 1               // the finest plane judged; the one before is mostly noise
	accordNoise = 2               // times what noise makes panels differ by is no disagreement
	// The share of the detail by which panels differ: two of equal say that show detail of 8 px displaced by d differ by
	// (1 − cos(2π·d/8))/2, a fifth at 1.2 px, two fifths at 1.7 px; pictures with nothing in common by a half.
	accordFrom, accordTo = 0.2, 0.4
)

// accord gathers how panels differ in a rectangle.
type accord struct {
	w, h         int
	square       [sharpBands][]float32 // sum of weight times detail squared, over the channels
	noise        [sharpBands][]float32 // sum of weight times the variance of noise
	most         []float32             // the most that one panel has to say
	who          []int                 // which one it is, counted from 1 as they were added; 0: none
	lead         [sharpBands][][]float32
	several      bool // more than one panel was added
	first        bool
	noiseOfPlane [sharpBands]float32 // of the panel being added
}

func newAccord(r image.Rectangle, channels int) *accord {
	n := r.Dx() * r.Dy()
	a := &accord{w: r.Dx(), h: r.Dy(), most: make([]float32, n), who: make([]int, n)}
	for j := range sharpBands {
		a.square[j], a.noise[j] = make([]float32, n), make([]float32, n)
		for range channels {
			a.lead[j] = append(a.lead[j], make([]float32, n))
		}
	}
	return a
}

// begin prepares for a panel.
func (a *accord) begin() { a.several, a.first = a.first, true }

// channel prepares for one of its channels, the noise of which has the given standard deviation, its planes raised by gain.
func (a *accord) channel(sigma float64, gain [sharpBands]float32) {
	for j := range a.noiseOfPlane {
		v := float32(sigma*wavelet.NoiseFactor(j)) * gain[j]
		a.noiseOfPlane[j] = v * v
	}
}

// add takes one pixel of a plane of one channel: what is shown, and with what weight. leads tells whether no
// panel has had more to say.
func (a *accord) add(j, channel, i int, v, weight float32, leads bool) {
	a.square[j][i] += float32(weight * float32(v*v))
	a.noise[j][i] += float32(weight * a.noiseOfPlane[j])
	if leads {
		a.lead[j][channel][i] = v
	}
}

// doubt returns how far each pixel is to be taken from one panel alone, 0…1; nil if there is only one. sum and under
// are the blend's sums.
func (a *accord) doubt(b *blend) []float32 {
	if !a.several {
		return nil
	}
	differs, all := make([]float32, a.w*a.h), make([]float32, a.w*a.h)
	for j := accordFirst; j < sharpBands; j++ {
		for c, fine := range b.fine[j].Pix {
			under := b.under[j].Pix[c]
			for i, k := range under {
				if k > 0 {
					mean := fine[i] / k
					differs[i] -= float32(mean * mean)
					all[i] += float32(mean * mean)
				}
			}
		}
		for i, k := range b.under[j].Pix[0] {
			if k > 0 {
				differs[i] += a.square[j][i]/k - float32(accordNoise*(a.noise[j][i]/k))
			}
		}
	}
	filter.Gaussian(differs, differs, a.w, a.h, accordSigma)
	filter.Gaussian(all, all, a.w, a.h, accordSigma)
	any := false
	for i, d := range differs {
		share := float32(0)
		if d > 0 {
			share = d / (all[i] + d)
		}
		u := min(max((share-accordFrom)/(accordTo-accordFrom), 0), 1)
		differs[i] = float32(float32(u*u) * (3 - float32(2*u)))
		any = any || u > 0
	}
	if !any {
		return nil
	}
	return differs
}
