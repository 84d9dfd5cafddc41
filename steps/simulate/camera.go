package simulate

import (
	"math"

	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/portable"
)

// camera is what the sensor adds of its own.
type camera struct {
	flat []float32 // sensitivity with vignetting and dust, 1 in the middle
	dark []float32 // electrons of dark signal an exposure
}

func newCamera(p *Plan) *camera {
	d := newDice(p.Seed, forSensor)
	n := p.Width * p.Height
	c := &camera{make([]float32, n), make([]float32, n)}
	mx, my := float64(float64(p.Width)*0.52), float64(float64(p.Height)*0.47)
	corner := sq(float64(p.Width)/2) + sq(float64(p.Height)/2)
	for i := range c.flat {
		r2 := sq(float64(i%p.Width)-mx) + sq(float64(i/p.Width)-my)
		c.flat[i] = float32(1 - float64(p.Vignetting*r2)/corner)
		c.dark[i] = float32(math.Abs(float64(d.gauss())))
	}
	for range p.Dust {
		x, y := d.between(0, float64(p.Width)), d.between(0, float64(p.Height))
		radius, depth := float64(d.between(4, 14)*float64(p.Width)/320), d.between(0.03, 0.09)
		for i := range c.flat {
			r := math.Sqrt(sq(float64(i%p.Width)-x) + sq(float64(i/p.Width)-y))
			ring := disc(r, radius) - float64(0.6*disc(r, float64(0.4*radius)))
			c.flat[i] *= float32(1 - float64(depth*ring))
		}
	}
	for range int(p.HotPixels * float64(n)) {
		c.dark[d.below(n)] += float32(portable.Pow(10, d.between(2.2, 3.8)))
	}
	return c
}

// disc is 1 inside a radius and 0 outside, with a soft edge of 3 px.
func disc(r, radius float64) float64 { return 1 - step(radius-1.5, radius+1.5, r) }

// expose turns light (1 = the brightest ground) on each pixel into samples.
func (c *camera) expose(p *Plan, d *dice, light []float32, dst []uint16) {
	top := float64(int(1)<<p.Bits - 1)
	scale := float32((1 - p.Pedestal) * top / p.FullWell)
	full := float32(p.FullWell * p.Exposure)
	pedestal, read2 := float32(p.Pedestal*top), float32(p.ReadNoise*p.ReadNoise)
	up := 0
	if p.Bits > 8 {
		up = 16 - p.Bits
	}
	for i, l := range light {
		e := float32(float32(l*full)*c.flat[i]) + c.dark[i]
		e += float32(float32(math.Sqrt(float64(max(e, 0)+read2))) * d.gauss())
		v := math.Floor(float64(float32(e*scale)+pedestal) + 0.5)
		dst[i] = uint16(max(0, min(top, v))) << up
	}
}

// balance is how a colour camera sees grey, against its green.
var balance = [3]float32{0.80, 1, 0.70}

// mosaic picks each pixel's colour by an RGGB filter.
func mosaic(img *plane.Image, dst []float32) {
	for y := range img.H {
		for x := range img.W {
			c := y%2 + x%2
			dst[y*img.W+x] = img.Pix[c][y*img.W+x] * balance[c]
		}
	}
}
