package ser

import (
	"fmt"
	"io"

	"plenilune/steps/format/raw"
)

// How much of a clip is looked at: enough that a blank frame or two does not
// blind us, little enough that a clip of 100 GB costs a moment.
const (
	sampleFrames = 9
	sampleBands  = 8
	bandBytes    = 128 << 10
)

// Evidence is what the samples of some frames tell of byte order and depth.
type Evidence struct {
	bits  int      // of the word that holds a sample: 8 or 16
	count []uint32 // how often each word occurs, read as little-endian

	// Sums of |difference| of neighbours of one colour along rows, in both orders.
	diffLittle, diffBig uint64
}

// Sample looks at a few frames spread evenly over the first n of a clip: at all
// of a small frame, at bands of rows of a large one.
func Sample(r io.ReaderAt, l raw.Layout, n int) (*Evidence, error) {
	e := &Evidence{bits: 8 * l.SampleBytes, count: make([]uint32, 1<<(8*l.SampleBytes))}
	row := int64(l.Width) * int64(l.Planes) * int64(l.SampleBytes)
	rows, bands := int64(l.Height), int64(1)
	if l.FrameBytes() > sampleBands*bandBytes {
		rows, bands = max(1, min(int64(l.Height), bandBytes/row)), sampleBands
	}
	buf := make([]byte, rows*row)
	step := l.Planes // to the next sample of the same colour
	if l.Planes == 1 && l.Pattern != raw.Mono {
		step = 2
	}
	m := min(n, sampleFrames)
	for k := range m {
		frame := 0
		if m > 1 {
			frame = k * (n - 1) / (m - 1)
		}
		for b := range bands {
			at := l.Offset + int64(frame)*l.Stride
			if bands > 1 {
				at += b * (int64(l.Height) - rows) / (bands - 1) * row
			}
			if got, err := r.ReadAt(buf, at); got < len(buf) {
				return nil, fmt.Errorf("read frame %d at byte %d: %w", frame, at+int64(got), err)
			}
			for y := range rows {
				e.addRow(buf[y*row:(y+1)*row], step)
			}
		}
	}
	return e, nil
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
