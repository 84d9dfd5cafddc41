package mosaic

import (
	"math"
	"slices"
)

// falloff is how the light falls off over a sensor where no flat frame told it: the share of the ground's light that
// each of its places is shown, in the mean one. It is of the telescope and the camera, so that all panels of a night
// have it in common, each in its own pixels, however they are turned. With u, v from the sensor's middle in halves of its
// diagonal, and ρ² = u² + v², it is
//
//	S(u, v) = (1 + A·ρ² + B·ρ⁴ + C·(u² − v²) + D·2uv) / Mean
//
// that is, the first two terms of what any round aperture takes away, and an ellipse. It has no slope: what one does to
// panels that are not turned against each other is what a slope of their factors over the whole disk does, so that
// overlaps do not tell it, and a small one of a sensor would become a large one of the disk.
type falloff struct {
	Found      bool
	A, B, C, D float64
	Mean       float64
	Pedestal   float64 // the value of no light at all: it does not fall off
}

// falloffTerms are the unknowns of a falloff: A, B, C, D and the pedestal.
const falloffTerms = 5

// sensorPlace returns where a pixel of a panel lies, in halves of the panel's diagonal from its middle.
func sensorPlace(x, y float64, w, h int) (u, v float64) {
	half := 2 / math.Sqrt(float64(w*w+h*h))
	return float64((x - float64(float64(w-1)/2)) * half), float64((y - float64(float64(h-1)/2)) * half)
}

// shape is the share of light at a place, in units of that in the middle; with it come its derivatives by A, B, C and D.
func (f *falloff) shape(u, v float64) (s float64, by [falloffTerms - 1]float64) {
	uu, vv := float64(u*u), float64(v*v)
	r := uu + vv
	by = [falloffTerms - 1]float64{r, float64(r * r), uu - vv, float64(2 * u * v)}
	s = 1 + float64(f.A*by[0]) + float64(f.B*by[1]) + float64(f.C*by[2]) + float64(f.D*by[3])
	return max(s, leastShare), by
}

// leastShare bounds what is made of the darkest corner.
const leastShare = 0.2

// share is the share of the ground's light that a place is shown.
func (f *falloff) share(u, v float64) float64 {
	s, _ := f.shape(u, v)
	return s / f.Mean
}

// even returns what a place would show if it were lit like the mean of the sensor.
func (f *falloff) even(value, u, v float64) float64 {
	if !f.Found {
		return value
	}
	return f.Pedestal + (value-f.Pedestal)/f.share(u, v)
}

// corner is by how much the corners are darker than the brightest place, as a share.
func (f *falloff) corner() float64 {
	if !f.Found {
		return 0
	}
	var corners, most float64
	overSensor(func(u, v float64) { most = max(most, f.share(u, v)) })
	// The diagonal of most sensors leans 3:4; the radial terms, which are nearly all, do not ask.
	for _, c := range [4][2]float64{{-0.8, -0.6}, {0.8, -0.6}, {-0.8, 0.6}, {0.8, 0.6}} {
		corners += float64(f.share(c[0], c[1]) / 4)
	}
	return 1 - corners/most
}

// evenSky returns places of bare sky, by panel, out of which the falloff is taken; has tells which panels have it.
func (f *falloff) evenSky(places [][]skyPlace, has []bool) [][]skyPlace {
	if !f.Found {
		return places
	}
	out := make([][]skyPlace, len(places))
	for i, panel := range places {
		out[i] = slices.Clone(panel)
		for k, p := range panel {
			if has[i] {
				out[i][k].Value = f.even(p.Value, p.U, p.V)
			}
		}
	}
	return out
}

// overSensor calls a function at places spread evenly over a sensor of 4:3.
func overSensor(f func(u, v float64)) {
	const nx, ny = 16, 12
	for j := range ny {
		for i := range nx {
			f(float64(0.8*float64(2*i+1-nx)/nx), float64(0.6*float64(2*j+1-ny)/ny))
		}
	}
}

// normalise brings the mean over the sensor to one.
func (f *falloff) normalise() {
	var sum, n float64
	overSensor(func(u, v float64) {
		s, _ := f.shape(u, v)
		sum, n = sum+s, n+1
	})
	f.Mean = sum / n
}

// evenOut takes the falloff out of the pixels of a panel, in place, and returns them.
func (f *falloff) evenOut(pix []float32, w, h int) []float32 {
	return f.over(pix, w, h, f.Pedestal)
}

// noise raises the noise of a panel as evenOut raises its dark corners.
func (f *falloff) noise(pix []float32, w, h int) { f.over(pix, w, h, 0) }

func (f *falloff) over(pix []float32, w, h int, pedestal float64) []float32 {
	if !f.Found {
		return pix
	}
	for i, p := range pix {
		u, v := sensorPlace(float64(i%w), float64(i/w), w, h)
		pix[i] = float32(pedestal + (float64(p)-pedestal)/f.share(u, v))
	}
	return pix
}

// calm is one over what evening a pixel makes of the variance of its noise.
func (f *falloff) calm(x, y float64, w, h int) float32 {
	if f == nil || !f.Found {
		return 1
	}
	s := f.share(sensorPlace(x, y, w, h))
	return float32(s * s)
}

// evenTies returns ties between panels out of which the falloff is taken; has tells which have it.
func (f *falloff) evenTies(ties []toneTie, has []bool) []toneTie {
	if !f.Found {
		return ties
	}
	out := make([]toneTie, len(ties))
	for k, t := range ties {
		if has[t.A] {
			s := f.share(t.AU, t.AV)
			t.VA, t.SA = f.Pedestal+(t.VA-f.Pedestal)/s, t.SA/s
		}
		if has[t.B] {
			s := f.share(t.BU, t.BV)
			t.VB, t.SB = f.Pedestal+(t.VB-f.Pedestal)/s, t.SB/s
		}
		out[k] = t
	}
	return out
}
