package warp

import (
	"math"

	"plenilune/steps/kernel/portable"
)

// Kernel is an interpolation kernel.
type Kernel int

const (
	Linear   Kernel = iota // 2 taps
	Cubic                  // 4 taps, Keys (1981) with a = -½
	Lanczos3               // 6 taps, sinc(x)·sinc(x/3), normalised to sum 1
)

// Taps returns how many pixels a side the kernel touches.
func (k Kernel) Taps() int { return 2 * (int(k) + 1) }

// Weights returns the taps for a position t (0 ≤ t < 1) right of pixel i: the
// first Taps() of them belong to pixels i-Taps()/2+1 and on, and sum to 1.
func (k Kernel) Weights(t float64) (w [6]float64) {
	n := k.Taps()
	sum := 0.0
	for j := range n {
		w[j] = k.at(t - float64(j-n/2+1))
		sum += w[j]
	}
	if t == 0 || k == Linear {
		return w
	}
	for j := range n {
		w[j] /= sum
	}
	return w
}

// at returns the kernel at x, before normalisation.
func (k Kernel) at(x float64) float64 {
	x = math.Abs(x)
	switch {
	case x == 0:
		return 1
	case x >= float64(k.Taps()/2) || x == math.Trunc(x):
		return 0
	case k == Linear:
		return 1 - x
	case k == Cubic && x < 1:
		return 1 + float64(float64(x*x)*(float64(1.5*x)-2.5))
	case k == Cubic:
		return 2 + float64(x*(float64(x*(2.5-float64(0.5*x)))-4))
	}
	a := math.Pi * x
	return 3 * float64(portable.Sin(a)*portable.Sin(a/3)) / float64(a*a)
}

// phases is how finely the tables sample the space between two pixels. Taps
// between two phases are interpolated on the straight line, which is off by at
// most max|k″|/(8·phases²) < 4e-7: below the last place of float32 data.
const phases = 1024

// table holds a kernel's taps at every phase, 0…phases inclusive.
type table struct {
	taps int
	w    []float32 // (phases+1) rows of taps
}

var tables = [3]table{newTable(Linear), newTable(Cubic), newTable(Lanczos3)}

func newTable(k Kernel) table {
	n := k.Taps()
	t := table{n, make([]float32, (phases+1)*n)}
	for p := range phases {
		w := k.Weights(float64(p) / phases)
		for j := range n {
			t.w[p*n+j] = float32(w[j])
		}
	}
	// The last phase is the first of the next pixel.
	copy(t.w[phases*n+1:], t.w[:n-1])
	return t
}

// fill writes the taps for position t in 0…1 into w.
func (tb *table) fill(w *[6]float32, t float64) {
	s := float64(t * phases)
	p := int(s)
	f := float32(s - float64(p))
	if p >= phases {
		p, f = phases-1, 1
	}
	switch tb.taps {
	case 2:
		w[0], w[1] = 1-float32(t), float32(t)
	case 4:
		a := (*[8]float32)(tb.w[p*4:])
		for j := range 4 {
			w[j] = a[j] + float32(f*(a[4+j]-a[j]))
		}
	default:
		a := (*[12]float32)(tb.w[p*6:])
		for j := range 6 {
			w[j] = a[j] + float32(f*(a[6+j]-a[j]))
		}
	}
}
