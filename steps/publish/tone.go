package publish

import (
	"math"

	"plenilune/steps/kernel/srgb"
)

// srgb tells whether the file's samples are sRGB values. Those of 8 bits always
// are: linear light would show steps in the shadows.
func (p *picture) srgb() bool {
	return p.s.Depth == "uint8" || p.s.Encoding == "srgb" || p.s.Encoding == "" && p.s.Display
}

// value turns a stored value into what the file's samples are.
func (p *picture) value(v float32) float64 {
	switch {
	case v != v || p.srgb() == p.s.Display:
		return float64(v)
	case p.s.Display:
		return p.light(float64(v))
	}
	return srgb.Encode(float64(v))
}

// level turns a stored value into a whole number of at most top; no data is 0.
func (p *picture) level(v float32, top float64) uint16 {
	if v != v {
		return 0
	}
	f := math.Floor(float64(p.value(max(0, v))*top) + 0.5)
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
