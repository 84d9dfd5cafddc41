package publish

import (
	"math"

	"plenilune/steps/kernel/srgb"
)

// srgb tells whether the file's samples are sRGB values. Those of 8 bits always
// are: linear light would show steps in the shadows.
func (p *picture) srgb() bool { return p.s.Display || p.s.Depth == "uint8" }

// level turns a stored value into a whole number of at most top; no data is 0.
func (p *picture) level(v float32, top float64) uint16 {
	if v != v {
		return 0
	}
	f := math.Max(0, float64(v))
	if p.srgb() && !p.s.Display {
		f = srgb.Encode(f)
	}
	f = math.Floor(float64(f*top) + 0.5)
	if f > top {
		p.over++
		f = top
	}
	return uint16(f)
}

// decodeSteps is fine enough for the table's straight pieces: the curve's second
// derivative is below 3.1, so they are off by less than 3.1/8/8192² = 6e-9.
const decodeSteps = 8192

// light gives the linear light of a stored value.
func (p *picture) light(v float64) float64 {
	if !p.s.Display {
		return v
	}
	if v < 0 || v >= 1 {
		return srgb.Decode(v)
	}
	if p.decode == nil {
		p.decode = make([]float64, decodeSteps+1)
		for i := range p.decode {
			p.decode[i] = srgb.Decode(float64(float64(i) / decodeSteps))
		}
	}
	at := float64(v * decodeSteps)
	i := int(at)
	return p.decode[i] + float64((at-float64(i))*(p.decode[i+1]-p.decode[i]))
}

// stored undoes light, exactly.
func (p *picture) stored(v float64) float64 {
	if p.s.Display {
		return srgb.Encode(v)
	}
	return v
}
