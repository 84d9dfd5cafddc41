package raw

import (
	"fmt"
	"io"
)

// How much of a clip is looked at: enough that a blank frame or two does not
// blind us, little enough that a clip of 100 GB costs a moment.
const (
	sampleFrames = 9
	sampleBands  = 8
	bandBytes    = 128 << 10
)

// Evidence is what the samples of some frames tell of byte order, depth and light.
type Evidence struct {
	bits  int      // of the word that holds a sample: 8 or 16
	count []uint32 // how often each word occurs, read as little-endian

	// Sums of |difference| of neighbours of one colour along rows, in both orders.
	diffLittle, diffBig uint64

	reach float64 // where samples are no words: what the largest word stands for
}

// Sample looks at a few frames spread evenly over the first n of a clip: at all
// of a small frame, at bands of rows of a large one.
func Sample(r io.ReaderAt, l Layout, n int) (*Evidence, error) {
	if !l.Words() {
		return sampleNumbers(r, l, n)
	}
	e := &Evidence{bits: 8 * l.SampleBytes, count: make([]uint32, 1<<(8*l.SampleBytes))}
	step := 1 // to the next sample of the same colour
	switch {
	case l.mosaic():
		step = 2
	case !l.Planar:
		step = l.Planes
	}
	return e, l.look(r, n, func(row []byte) {
		l.unfold(row)
		e.addRow(row, step)
	})
}

// look hands rows of frames spread evenly over the first n to a function, as they lie in the file.
func (l Layout) look(r io.ReaderAt, n int, see func(row []byte)) error {
	lines, each := l.lines()
	stride, rows, bands := l.rowStride(), lines, int64(1)
	if lines*stride > sampleBands*bandBytes {
		rows, bands = max(1, min(lines, bandBytes/stride)), sampleBands
	}
	buf := make([]byte, (rows-1)*stride+each)
	m := min(n, sampleFrames)
	for k := range m {
		frame := 0
		if m > 1 {
			frame = k * (n - 1) / (m - 1)
		}
		for b := range bands {
			at := l.at(int64(frame))
			if bands > 1 {
				at += b * (lines - rows) / (bands - 1) * stride
			}
			if got, err := r.ReadAt(buf, at); got < len(buf) {
				return fmt.Errorf("read frame %d at byte %d: %w", frame, at+int64(got), err)
			}
			for y := range rows {
				see(buf[y*stride:][:each])
			}
		}
	}
	return nil
}

func (e *Evidence) addRow(b []byte, step int) {
	if e.bits == 8 {
		for _, v := range b {
			e.count[v]++
		}
		return
	}
	for i := 0; i+1 < len(b); i += 2 {
		lo, hi := int(b[i]), int(b[i+1])
		e.count[lo|hi<<8]++
		if j := i - 2*step; j >= 0 {
			dlo, dhi := lo-int(b[j]), hi-int(b[j+1])
			e.diffLittle += uint64(abs(dlo + dhi<<8))
			e.diffBig += uint64(abs(dlo<<8 + dhi))
		}
	}
}

func abs(v int) int { return max(v, -v) }

// word returns the sample that the little-endian word v is in the given order.
func (e *Evidence) word(v int, big bool) int {
	if big && e.bits == 16 {
		return v>>8 | v&0xff<<8
	}
	return v
}

// over counts samples of depth bits or more, read in the given order.
func (e *Evidence) over(depth int, big bool) (n uint64) {
	for v, c := range e.count {
		if c > 0 && e.word(v, big)>>depth != 0 {
			n += uint64(c)
		}
	}
	return n
}

// Order tells whether samples are big-endian, and whether the samples decided;
// if they cannot (blank frames, 8 bit), the flag's published meaning stands.
//
// The published text says 1 for little-endian, but files in circulation use the
// flag both ways. With a depth below 16 bits the right order keeps every sample
// below 2^depth; else the right order is the one in which neighbours differ less:
// the wrong one puts noise on top.
func (e *Evidence) Order(depth int, flagBig bool) (big, decided bool) {
	if e.bits == 8 {
		return false, false
	}
	if depth < 16 {
		little, swapped := e.over(depth, false) == 0, e.over(depth, true) == 0
		if little != swapped {
			return swapped, true
		}
	}
	small, large := min(e.diffLittle, e.diffBig), max(e.diffLittle, e.diffBig)
	if small+small/4 >= large { // no clear difference: one quarter is far less than noise makes
		return flagBig, false
	}
	return e.diffBig < e.diffLittle, true
}
