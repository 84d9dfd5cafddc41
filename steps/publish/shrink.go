package publish

import (
	"math"
	"slices"
)

// keys is the cubic of R. G. Keys (1981, IEEE Trans. ASSP 29:1153, a = −½), which is zero from 2 on.
func keys(x float64) float64 {
	switch x = math.Abs(x); {
	case x < 1:
		return float64(float64(float64(1.5*x)-2.5)*float64(x*x)) + 1
	case x < 2:
		return float64((float64((float64(-0.5*x)+2.5)*x)-4)*x) + 2
	}
	return 0
}

// taps are what of the larger picture's pixels, along one side, goes into one of the smaller's; they add up to 1.
type taps struct {
	from   int
	weight []float64
}

// lowPass spreads Keys's kernel over as many pixels as one of the smaller picture is wide, so that what it cannot show is left
// out instead of showing as a pattern.
func lowPass(from, to int) []taps {
	ratio := float64(from) / float64(to)
	out := make([]taps, to)
	for i := range out {
		mid := float64((float64(i)+0.5)*ratio) - 0.5
		lo, hi := max(0, int(math.Ceil(mid-2*ratio))), min(from-1, int(math.Floor(mid+2*ratio)))
		t := taps{from: lo}
		sum := 0.0
		for j := lo; j <= hi; j++ {
			k := keys((float64(j) - mid) / ratio)
			t.weight = append(t.weight, k)
			sum += k
		}
		for j := range t.weight {
			t.weight[j] /= sum
		}
		out[i] = t
	}
	return out
}

// shrunk is one row of the larger picture made narrower: linear light, and how much of each pixel's kernel has data; nil is all.
type shrunk struct{ light, share []float64 }

// shrinker makes a picture smaller in linear light.
type shrinker struct {
	across, down []taps
	rows         map[[2]int]shrunk // by channel and row; those that the last rows of the file needed
	decoded      []float64
}

func newShrinker(sw, sh, w, h int) *shrinker {
	return &shrinker{across: lowPass(sw, w), down: lowPass(sh, h), rows: map[[2]int]shrunk{}, decoded: make([]float64, sw)}
}

// smallRow fills dst with row y of a file that is smaller than its source. A pixel has data if half of its kernel has.
func (p *picture) smallRow(y int, dst []float32) error {
	s := p.small
	t := s.down[y]
	for k := range s.rows { // what no further row of the file needs
		if k[1] < t.from || k[1] >= t.from+len(t.weight) {
			delete(s.rows, k)
		}
	}
	sum, share := make([]float64, p.w), make([]float64, p.w)
	for c := range p.c {
		clear(sum)
		clear(share)
		for j, k := range t.weight {
			r, err := p.narrowed(c, t.from+j)
			if err != nil {
				return err
			}
			for x, v := range r.light {
				sum[x] += float64(k * v)
			}
			for x := range share {
				if r.share == nil {
					share[x] += k
				} else {
					share[x] += float64(k * r.share[x])
				}
			}
		}
		for x := range p.w {
			dst[x*p.c+c] = float32(math.NaN())
			if share[x] >= 0.5 {
				dst[x*p.c+c] = float32(p.stored(max(0, sum[x]/share[x])))
			}
		}
	}
	return nil
}

// narrowed returns a row of the source made narrower.
func (p *picture) narrowed(c, y int) (shrunk, error) {
	s := p.small
	if r, ok := s.rows[[2]int{c, y}]; ok {
		return r, nil
	}
	src, err := p.sourceRow(c, y)
	if err != nil {
		return shrunk{}, err
	}
	whole := !slices.ContainsFunc(src, func(v float32) bool { return v != v })
	for x, v := range src {
		s.decoded[x] = 0
		if v == v {
			s.decoded[x] = p.light(float64(v))
		}
	}
	r := shrunk{light: make([]float64, p.w)}
	for x, t := range s.across {
		sum := 0.0
		for j, k := range t.weight {
			sum += float64(k * s.decoded[t.from+j])
		}
		r.light[x] = sum
	}
	if !whole {
		r.share = make([]float64, p.w)
		for x, t := range s.across {
			for j, k := range t.weight {
				if v := src[t.from+j]; v == v {
					r.share[x] += k
				}
			}
		}
	}
	s.rows[[2]int{c, y}] = r
	return r, nil
}
