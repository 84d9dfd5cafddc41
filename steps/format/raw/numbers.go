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
	reaches, number := l.reaches(), l.number()
	over, total := make([]uint64, len(reaches)), uint64(0)
	each := func(see func(v float64)) error {
		return l.look(r, n, func(row []byte) {
			for ; len(row) > 0; row = row[l.SampleBytes:] {
				see(number(row))
			}
		})
	}
	err := each(func(v float64) {
		total++
		for k, reach := range reaches {
			if v > reach {
				over[k]++
			}
		}
	})
	if err != nil {
		return nil, err
	}
	for k, reach := range reaches {
		if e.reach = reach; over[k]*strayShare <= total {
			break
		}
	}
	return e, each(func(v float64) {
		e.count[int(max(0, min(maxWord, math.Floor(float64(v/e.reach*maxWord)+0.5))))]++
	})
}

// reaches are the whites that samples may have, in rising order: 1, all of 16 bits, all of 32;
// of whole numbers that mean themselves, not more than their type holds. Formats say nothing
// of it, and how bright a clip is must not matter, so only these few are told apart. No
// source: the common practice of programs that write such files.
func (l Layout) reaches() []float64 {
	if l.Kind == Float || l.Scale != 0 && l.Scale != 1 {
		return []float64{1, maxWord, math.MaxUint32}
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
		return []float64{top}
	}
	return []float64{maxWord, top}
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
