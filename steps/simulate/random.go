package simulate

import (
	"math"
	"math/rand/v2"
	"sync"

	"plenilune/steps/kernel/portable"
)

// dice is a stream of random numbers that hangs on its seed alone: every clip,
// frame and purpose has its own, so that no order of work changes a byte.
type dice struct {
	src  *rand.PCG
	bits uint64
	left int
}

// newDice returns the stream for a purpose and the indices that belong to it.
func newDice(seed uint64, purpose uint64, index ...int) *dice {
	a := mix(seed ^ mix(purpose))
	for _, i := range index {
		a = mix(a ^ mix(uint64(i)+1))
	}
	return &dice{src: rand.NewPCG(a, mix(a+1))}
}

// Purposes of streams.
const (
	forCraters = iota + 1
	forGround
	forRays
	forAims
	forNames
	forSensor
	forSeeing
	forScreen
	forWarp
	forNoise
	forDark
	forFlat
	forWind
)

// mix scrambles a word so that neighbours share nothing (SplitMix64's finaliser:
// Steele, Lea & Flood 2014).
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// unit returns a number in 0…1, 1 excluded.
func (d *dice) unit() float64 { return float64(d.src.Uint64()>>11) * 0x1p-53 }

// between returns a number in lo…hi.
func (d *dice) between(lo, hi float64) float64 { return lo + float64((hi-lo)*d.unit()) }

// below returns an integer in 0…n-1.
func (d *dice) below(n int) int { return int(d.unit() * float64(n)) }

// shuffle returns 0…n-1 in random order.
func (d *dice) shuffle(n int) []int {
	p := make([]int, n)
	for i := range p {
		p[i] = i
	}
	for i := n - 1; i > 0; i-- {
		j := d.below(i + 1)
		p[i], p[j] = p[j], p[i]
	}
	return p
}

// gauss returns a normal deviate of mean 0 and variance 1, one of quantileCount
// equally likely ones; the furthest lies at ±4.3.
func (d *dice) gauss() float32 {
	if d.left == 0 {
		d.bits, d.left = d.src.Uint64(), 4
	}
	q := quantiles()[d.bits&(quantileCount-1)]
	d.bits >>= 16
	d.left--
	return q
}

const quantileCount = 1 << 16

// quantiles returns the normal distribution's quantiles at (i+½)/quantileCount,
// by Newton's method on the series of Φ (Abramowitz & Stegun 26.2.11).
var quantiles = sync.OnceValue(func() []float32 {
	q := make([]float32, quantileCount)
	x := 0.0
	for i := quantileCount / 2; i < quantileCount; i++ {
		p := float64((float64(i) + 0.5) / quantileCount)
		for range 3 {
			below, density := normal(x)
			x += (p - below) / density
		}
		q[i], q[quantileCount-1-i] = float32(x), float32(-x)
	}
	return q
})

// normal returns Φ(x) and its derivative, for 0 ≤ x < 6.
func normal(x float64) (below, density float64) {
	density = portable.Exp(-0.5*float64(x*x)) / math.Sqrt(2*math.Pi)
	term, sum := x, x
	for n := 3.0; term > 1e-17*sum; n += 2 {
		term = float64(term*float64(x*x)) / n
		sum += term
	}
	return 0.5 + float64(density*sum), density
}
