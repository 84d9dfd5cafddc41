package raw

import (
	"io"
	"math"
)

// maxWord is what the samples of numbers that are no words are made to span.
const maxWord = 1<<16 - 1

// sampleNumbers is Sample of samples that are no words: they are counted as words of 16
// bits, of which the largest stands for what the samples reach.
func sampleNumbers(r io.ReaderAt, l Layout, n int) (*Evidence, error) {
	e := &Evidence{bits: 16, count: make([]uint32, maxWord+1)}
	whites, number := l.whites(), l.number()
	over, total := make([]uint64, len(whites)), uint64(0)
	each := func(see func(v float64)) error {
		return l.look(r, n, func(row []byte) {
			for ; len(row) > 0; row = row[l.SampleBytes:] {
				see(number(row))
			}
		})
	}
	err := each(func(v float64) {
		total++
		for k, w := range whites {
			if v > w.most {
				over[k]++
			}
		}
	})
	if err != nil {
		return nil, err
	}
	for k, w := range whites {
		if e.reach = w.white; over[k]*strayShare <= total {
			break
		}
	}
	return e, each(func(v float64) {
		e.count[int(max(0, min(maxWord, math.Floor(float64(v/e.reach*maxWord)+0.5))))]++
	})
}

// white is what samples of white have, and up to what it is taken for that.
type white struct{ white, most float64 }

// floatWhites are the whites of floating-point samples: 1, all of 16 bits, all of 32. Formats
// say nothing of it, and how bright a clip is must not matter, nor whether corrections and
// ringing left some samples above white: the gap from shares of 1 to counts is wide. No
// source: the common practice of programs that write such files.
func floatWhites() []white {
	return []white{{1, 16}, {maxWord, 2 * maxWord}, {math.MaxUint32, 2 * math.MaxUint32}}
}

// FloatWhite returns the white of floating-point samples that reach most: 1, 65,535 or 2³²−1,
// or most where that is beyond twice all of these. Clips, pictures and panels share the rule.
func FloatWhite(most float64) float64 {
	for _, w := range floatWhites() {
		if most <= w.most {
			return w.white
		}
	}
	return most
}

// whites are those that samples may have, in rising order; of whole numbers that mean
// themselves, not more than their type holds.
func (l Layout) whites() []white {
	if l.Kind == Float || l.Scale != 0 && l.Scale != 1 {
		return floatWhites()
	}
	bits := 8 * l.SampleBytes
	if l.Kind == Signed {
		bits--
	}
	top := math.Ldexp(1, bits) - 1 + l.Zero
	if top < 1 {
		top = 1
	}
	if top <= maxWord {
		return []white{{top, top}}
	}
	return []white{{maxWord, maxWord}, {top, top}}
}

// Spread returns a layout of the same samples in which what they reach, as the evidence has
// it, is the white of 16 bits. One of words stays.
func (e *Evidence) Spread(l Layout) Layout {
	if e.reach == 0 || e.reach == maxWord {
		return l
	}
	by := maxWord / e.reach
	if l.Scale == 0 {
		l.Scale = 1
	}
	l.Scale *= by
	l.Zero *= by
	return l
}
