// Package raw reads the frames of uncompressed video, whatever file they stand in.
package raw

import "fmt"

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

// Layout says where the samples of each frame lie in a file.
type Layout struct {
	Width       int    `json:"width"`        // px
	Height      int    `json:"height"`       // px, first row uppermost
	Planes      int    `json:"planes"`       // samples a pixel, 1 or 3, interleaved
	SampleBytes int    `json:"sample_bytes"` // 1 or 2
	BigEndian   bool   `json:"big_endian"`   // order of the two bytes of a sample
	Pattern     string `json:"pattern"`
	Offset      int64  `json:"offset"` // byte at which frame 0 begins
	Stride      int64  `json:"stride"` // bytes from one frame to the next
}

// FrameBytes returns the bytes of one frame. It is meaningful for a layout that
// Check accepts.
func (l Layout) FrameBytes() int64 {
	return int64(l.Width) * int64(l.Height) * int64(l.Planes) * int64(l.SampleBytes)
}

// Frames returns how many whole frames a file of the given size holds.
func (l Layout) Frames(size int64) int64 {
	first := l.FrameBytes()
	if l.Stride <= 0 || size-l.Offset < first {
		return 0
	}
	return 1 + (size-l.Offset-first)/l.Stride
}

// Check tells what is wrong with a layout, or nil.
func (l Layout) Check() error {
	switch {
	case l.Width < 1 || l.Width > maxSide || l.Height < 1 || l.Height > maxSide:
		return fmt.Errorf("a frame of %d×%d px: each side must lie in 1…%d", l.Width, l.Height, maxSide)
	case l.SampleBytes != 1 && l.SampleBytes != 2:
		return fmt.Errorf("%d bytes a sample: must be 1 or 2", l.SampleBytes)
	case l.Planes != planesOf(l.Pattern):
		return fmt.Errorf("%d samples a pixel do not fit the pattern %q", l.Planes, l.Pattern)
	case l.mosaic() && (l.Width < 2 || l.Height < 2):
		return fmt.Errorf("a frame of %d×%d px behind the colour filters %s, which come in squares of 2×2 px: each side must be 2 px or more", l.Width, l.Height, l.Pattern)
	case l.Offset < 0:
		return fmt.Errorf("frames begin at byte %d, before the file", l.Offset)
	case l.Stride < l.FrameBytes():
		return fmt.Errorf("a frame every %d bytes: less than the %d bytes of one", l.Stride, l.FrameBytes())
	}
	return nil
}

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
