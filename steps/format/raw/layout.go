// Package raw reads the frames of uncompressed video, whatever file they stand in.
package raw

import (
	"fmt"
	"math"
)

// maxSide bounds width and height in pixels, so that no product of sizes overflows.
const maxSide = 1 << 20

// Patterns of the colour filters in front of a mono sensor, and of pixels that
// hold all colours. A filter pattern names the upper left 2×2 pixels, row by row.
const (
	Mono = "mono"
	RGGB = "RGGB"
	GRBG = "GRBG"
	GBRG = "GBRG"
	BGGR = "BGGR"
	CYYM = "CYYM"
	YCMY = "YCMY"
	YMCY = "YMCY"
	MYYC = "MYYC"
	RGB  = "RGB" // three samples a pixel, red first
	BGR  = "BGR" // three samples a pixel, blue first
)

// Kinds of sample.
const (
	Unsigned = ""      // whole numbers from 0
	Signed   = "int"   // whole numbers in two's complement
	Float    = "float" // IEEE 754
)

// Layout says where the samples of each frame lie in a file, and what they mean. Its
// zero fields from RowStride on say what is usual: rows from the top that touch,
// unsigned numbers, frames at equal distances.
type Layout struct {
	Width       int    `json:"width"`        // px
	Height      int    `json:"height"`       // px
	Planes      int    `json:"planes"`       // samples a pixel, 1 or 3
	SampleBytes int    `json:"sample_bytes"` // 1 or 2; 1, 2, 4 or 8 if signed; 4 or 8 of a float
	BigEndian   bool   `json:"big_endian"`   // order of the bytes of a sample
	Pattern     string `json:"pattern"`
	Offset      int64  `json:"offset"` // byte at which frame 0 begins
	Stride      int64  `json:"stride"` // bytes from one frame to the next

	RowStride int64   `json:"row_stride,omitempty"` // bytes from one row to the next; 0: rows touch
	BottomUp  bool    `json:"bottom_up,omitempty"`  // the lowest row stands first
	Planar    bool    `json:"planar,omitempty"`     // the samples of one colour stand together, not those of one pixel
	Kind      string  `json:"kind,omitempty"`       // Unsigned, Signed or Float
	Scale     float64 `json:"scale,omitempty"`      // a sample means Zero + Scale·(the number that stands there); 0: 1
	Zero      float64 `json:"zero,omitempty"`
	Grey      []byte  `json:"grey,omitempty"` // what each of 256 numbers means; none: itself
	Runs      []Run   `json:"runs,omitempty"` // where frames stand at unequal distances: instead of Offset and Stride
}

// Run is frames at equal distances. It lasts until the next begins.
type Run struct {
	Frame  int64 `json:"n"`    // number of its first frame
	Offset int64 `json:"at"`   // byte at which that begins
	Stride int64 `json:"step"` // bytes from one of its frames to the next
}

// FrameBytes returns the bytes of one frame's samples. It is meaningful for a layout
// that Check accepts.
func (l Layout) FrameBytes() int64 {
	return int64(l.Width) * int64(l.Height) * int64(l.Planes) * int64(l.SampleBytes)
}

// lines returns how many rows of samples a frame has in its file, and how many bytes
// each has.
func (l Layout) lines() (n, each int64) {
	n, each = int64(l.Height), int64(l.Width)*int64(l.SampleBytes)
	if l.Planar {
		return n * int64(l.Planes), each
	}
	return n, each * int64(l.Planes)
}

// rowStride returns the bytes from one row to the next.
func (l Layout) rowStride() int64 {
	if l.RowStride != 0 {
		return l.RowStride
	}
	_, each := l.lines()
	return each
}

// Span returns the bytes from a frame's first sample to behind its last, with what
// stands between rows.
func (l Layout) Span() int64 {
	n, each := l.lines()
	return (n-1)*l.rowStride() + each
}

// at returns the byte at which frame i begins.
func (l Layout) at(i int64) int64 {
	if len(l.Runs) == 0 {
		return l.Offset + i*l.Stride
	}
	lo, hi := 0, len(l.Runs) // the run is in lo…hi−1
	for hi-lo > 1 {
		if m := (lo + hi) / 2; l.Runs[m].Frame <= i {
			lo = m
		} else {
			hi = m
		}
	}
	r := l.Runs[lo]
	return r.Offset + (i-r.Frame)*r.Stride
}

// Frames returns how many whole frames a file of the given size holds.
func (l Layout) Frames(size int64) int64 {
	last := Run{0, l.Offset, l.Stride}
	for _, r := range l.Runs {
		if r.Offset+l.Span() > size {
			break
		}
		last = r
	}
	span := l.Span()
	if last.Stride <= 0 || size-last.Offset < span {
		return last.Frame
	}
	n := last.Frame + 1 + (size-last.Offset-span)/last.Stride
	for _, r := range l.Runs {
		if r.Frame > last.Frame {
			return min(n, r.Frame)
		}
	}
	return n
}

// Check tells what is wrong with a layout, or nil.
func (l Layout) Check() error {
	switch {
	case l.Width < 1 || l.Width > maxSide || l.Height < 1 || l.Height > maxSide:
		return fmt.Errorf("a frame of %d×%d px: each side must lie in 1…%d", l.Width, l.Height, maxSide)
	case l.Kind == Unsigned && l.SampleBytes != 1 && l.SampleBytes != 2:
		return fmt.Errorf("%d bytes a sample: must be 1 or 2", l.SampleBytes)
	case l.Planes != planesOf(l.Pattern):
		return fmt.Errorf("%d samples a pixel do not fit the pattern %q", l.Planes, l.Pattern)
	case l.mosaic() && (l.Width < 2 || l.Height < 2):
		return fmt.Errorf("a frame of %d×%d px behind the colour filters %s, which come in squares of 2×2 px: each side must be 2 px or more", l.Width, l.Height, l.Pattern)
	}
	if err := l.checkSamples(); err != nil {
		return err
	}
	if _, each := l.lines(); l.RowStride != 0 && (l.RowStride < each || l.RowStride > 2*each+maxPadding) {
		return fmt.Errorf("a row every %d bytes: does not fit the %d bytes of one", l.RowStride, each)
	}
	if l.Offset < 0 {
		return fmt.Errorf("frames begin at byte %d, before the file", l.Offset)
	}
	if l.Stride < l.Span() {
		return fmt.Errorf("a frame every %d bytes: less than the %d bytes of one", l.Stride, l.Span())
	}
	return l.checkRuns()
}

// maxPadding bounds what stands between rows, in bytes.
const maxPadding = 4096

// checkSamples looks at what the usual layouts leave at zero.
func (l Layout) checkSamples() error {
	whole := l.SampleBytes == 1 || l.SampleBytes == 2
	wide := l.SampleBytes == 4 || l.SampleBytes == 8
	switch {
	case l.Kind != Unsigned && l.Kind != Signed && l.Kind != Float:
		return fmt.Errorf("samples of the kind %q", l.Kind)
	case l.Kind == Signed && !whole && !wide || l.Kind == Float && !wide:
		return fmt.Errorf("%d bytes a sample of the kind %q", l.SampleBytes, l.Kind)
	case len(l.Grey) != 0 && (len(l.Grey) != 256 || l.SampleBytes != 1 || l.Kind != Unsigned || l.Planes != 1):
		return fmt.Errorf("a palette of %d greys for samples of %d bytes", len(l.Grey), l.SampleBytes)
	case !finite(l.Scale) || !finite(l.Zero) || l.Scale < 0:
		return fmt.Errorf("samples that mean %v + %v·(what stands there)", l.Zero, l.Scale)
	}
	return nil
}

func (l Layout) checkRuns() error {
	for k, r := range l.Runs {
		switch {
		case k == 0 && (r.Frame != 0 || r.Offset != l.Offset):
			return fmt.Errorf("run 0 begins with frame %d at byte %d", r.Frame, r.Offset)
		case r.Stride < l.Span():
			return fmt.Errorf("run %d: a frame every %d bytes: less than the %d bytes of one", k, r.Stride, l.Span())
		case k == 0:
			continue
		}
		before := l.Runs[k-1]
		if n := r.Frame - before.Frame; n < 1 || n > (math.MaxInt64-before.Offset)/before.Stride ||
			r.Offset < before.Offset+(n-1)*before.Stride+l.Span() {
			return fmt.Errorf("run %d begins with frame %d at byte %d, within the one before", k, r.Frame, r.Offset)
		}
	}
	return nil
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// mosaic tells whether colour filters lie in front of a mono sensor.
func (l Layout) mosaic() bool { return l.Planes == 1 && l.Pattern != Mono }

// planesOf returns the samples a pixel of a pattern, 0 for an unknown one.
func planesOf(pattern string) int {
	switch pattern {
	case Mono, RGGB, GRBG, GBRG, BGGR, CYYM, YCMY, YMCY, MYYC:
		return 1
	case RGB, BGR:
		return 3
	}
	return 0
}
