package mosaic

import (
	"math"
	"testing"

	"plenilune/steps/kernel/plane"
)

// waves is ground with detail 8 px long, displaced.
func waves(w, h int, by float64) *plane.Image {
	v := make([]float32, w*h)
	for y := range h {
		for x := range w {
			v[y*w+x] = float32(0.5 + 0.1*math.Sin(2*math.Pi*(float64(x)-by)/8) + 0.1*math.Sin(2*math.Pi*float64(y)/8))
		}
	}
	return plane.Of(w, h, v)
}

// Two panels that lie half a pixel apart are averaged; two that lie half a wave apart, which would wipe the waves out,
// show those of the panel that has more to say.
func TestDisagreementIsNotAveraged(t *testing.T) {
	const w, h = 160, 120
	r := inner(w, h)
	first := waves(w, h, 0)
	joined := func(by float64, says float32) []float32 {
		b := newBlend(r, 1)
		b.add(r, first, evenSays(r, says), []level{{1, 0}}, sharpness{}, 0.001)
		b.add(r, waves(w, h, by), evenSays(r, 0.6), []level{{1, 0}}, sharpness{}, 0.001)
		return b.finish()[0]
	}
	amplitude := func(v []float32, by float64) float64 {
		var sum float64
		for y := range r.Dy() {
			for x := range r.Dx() {
				sum += (float64(v[y*r.Dx()+x]) - 0.5) * math.Sin(2*math.Pi*(float64(x+r.Min.X)-by)/8)
			}
		}
		return 2 * sum / float64(r.Dx()*r.Dy())
	}
	// The mean of two waves of equal weight, d apart, has cos(π·d/8) of their amplitude.
	if got, want := amplitude(joined(0.5, 0.6), 0.25), 0.1*math.Cos(math.Pi*0.5/8); math.Abs(got-want) > 0.001 {
		t.Errorf("half a pixel apart, the waves' amplitude is %.4f, want %.4f", got, want)
	}
	if got := amplitude(joined(4, 0.7), 0); got < 0.06 {
		t.Errorf("half a wave apart, the first panel's waves have an amplitude of %.4f of 0.1", got)
	}
	if got := amplitude(joined(4, 0.5), 4); got < 0.06 {
		t.Errorf("half a wave apart, the second panel's waves have an amplitude of %.4f of 0.1", got)
	}
}
