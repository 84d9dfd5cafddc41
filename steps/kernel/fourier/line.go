package fourier

import (
	"math"

	"plenilune/steps/kernel/portable"
)

// lanes is how many rows or columns are transformed side by side, so that every
// inner loop runs over neighbouring memory.
const lanes = 8

// cell is one sample of each lane: the real parts, then the imaginary ones.
type cell [2 * lanes]float32

// line transforms one dimension by Stockham's self-sorting passes of radix 4, 2,
// 3 and 5 (Stockham 1966; the form of Van Loan 1992, "Computational Frameworks
// for the FFT", §1.7), for all lanes at once. A prime factor above 5 gets a pass
// by the definition, which is slower.
type line struct {
	n      int
	passes []pass
}

// pass is one stage: m butterflies of a radix, with their twiddle factors
// exp(−2πi·k·p/(radix·m)), k = 1…radix−1, for each p.
type pass struct {
	radix, m int
	cos, sin []float32
	rc, rs   []float32 // the radix's own roots, where it has no butterfly of its own
}

func newLine(n int) *line {
	l := &line{n: n}
	for left := n; left > 1; {
		r := radix(left)
		p := pass{radix: r, m: left / r}
		for i := range p.m {
			for k := 1; k < r; k++ {
				c, s := root(k*i%left, left)
				p.cos, p.sin = append(p.cos, c), append(p.sin, s)
			}
		}
		if r > 5 {
			for k := range r {
				c, s := root(k, r)
				p.rc, p.rs = append(p.rc, c), append(p.rs, s)
			}
		}
		l.passes = append(l.passes, p)
		left = p.m
	}
	return l
}

// radix returns the factor of n to take next.
func radix(n int) int {
	for _, r := range []int{4, 2, 3, 5} {
		if n%r == 0 {
			return r
		}
	}
	r := 7
	for n%r != 0 {
		r += 2
	}
	return r
}

// root returns exp(−2πi·k/n), 0 ≤ k < n, with the symmetries of the circle kept
// to the last bit.
func root(k, n int) (cos, sin float32) {
	// Fold the angle 8k/n eighths of a turn into the first eighth.
	turn, rest := 8*k/n, 8*k%n
	if turn%2 == 1 {
		rest = n - rest
	}
	s, c := portable.Sincos(2 * math.Pi * (float64(rest) / float64(8*n)))
	if t := turn % 4; t == 1 || t == 2 {
		c, s = s, c
	}
	if turn >= 2 && turn < 6 {
		c = -c
	}
	if turn >= 4 {
		s = -s
	}
	return float32(c), -float32(s)
}

// run transforms a and returns where the result lies: a or b.
func (l *line) run(a, b []cell) []cell {
	s := 1
	for i := range l.passes {
		p := &l.passes[i]
		switch p.radix {
		case 2:
			p.two(a, b, s)
		case 3:
			p.three(a, b, s)
		case 4:
			p.four(a, b, s)
		case 5:
			p.five(a, b, s)
		default:
			p.any(a, b, s)
		}
		a, b = b, a
		s *= p.radix
	}
	return a
}
