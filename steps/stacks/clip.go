package stacks

import (
	"fmt"
	"io"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/format/raw"
	"plenilune/steps/kernel/calibrate"
	"plenilune/steps/kernel/plane"
)

// clipIndex is what this stage reads of a clip's index.
type clipIndex struct {
	Layout raw.Layout `json:"layout"`
	Frames int        `json:"frames"`
	White  float64    `json:"white"`
	Times  []int64    `json:"times_unix_ns"`
	Start  int64      `json:"start_unix_ns"`
	Empty  bool       `json:"empty"`

	Sites *[4]float64 `json:"sites"` // gains of the sites of a filter that is ignored
}

// clipFrames is what this stage reads of a clip's frames.
type clipFrames struct {
	Grade []float64 `json:"grade"` // 0: rejected
	Cells struct {
		NX    int         `json:"nx"`
		NY    int         `json:"ny"`
		Grade [][]float64 `json:"grade"`
	} `json:"cells"`
	Shift   [][2]float64 `json:"shift"`
	Gain    []float64    `json:"gain"`
	Noise   noiseModel   `json:"noise"` // of a calibrated sample
	SkyOnly bool         `json:"sky_only"`
}

// canvas is the window of a clip's stack. It depends on all usable frames, not on how many are kept, so that fields and
// stacks of any share fit each other.
func (t *clipFrames) canvas(l raw.Layout) canvas {
	var s [][2]float64
	for _, i := range ranked(t.Grade) {
		s = append(s, t.Shift[i])
	}
	return frameCanvas(s, l.Width, l.Height)
}

// clip reads calibrated frames of one capture; safe for concurrent use.
type clip struct {
	idx    clipIndex
	tab    clipFrames
	w, h   int
	reader *raw.Reader
	dark   *plane.Image // nil: none
	flat   *plane.Image // nil: none
	hot    []int
	closer io.Closer
}

// openClip opens the inputs "file", "index", "frames", and "dark", "flat" and
// "hot" where they are bound.
func openClip(t *pipeline.Task) (*clip, error) {
	c := &clip{}
	if err := t.One("index").Table(&c.idx); err != nil {
		return nil, err
	}
	if err := t.One("frames").Table(&c.tab); err != nil {
		return nil, err
	}
	f, closer, err := t.One("file").File()
	if err != nil {
		return nil, fmt.Errorf("open clip: %w", err)
	}
	c.w, c.h, c.closer = c.idx.Layout.Width, c.idx.Layout.Height, closer
	if c.reader, err = raw.NewReader(f, f.Size(), c.idx.Layout); err == nil {
		err = c.openMasters(t)
	}
	if err != nil {
		closer.Close()
		return nil, fmt.Errorf("open clip: %w", err)
	}
	return c, nil
}

func (c *clip) openMasters(t *pipeline.Task) (err error) {
	if c.dark, err = readPlane(t, "dark"); err != nil {
		return err
	}
	if c.flat, err = readPlane(t, "flat"); err != nil {
		return err
	}
	if t.Has("hot") {
		var h struct {
			Pixels []int `json:"pixels"`
		}
		if err := t.One("hot").Table(&h); err != nil {
			return err
		}
		c.hot = h.Pixels
	}
	return nil
}

// readPlane reads the plane bound to a port whole, or returns nil if there is none.
func readPlane(t *pipeline.Task, port string) (*plane.Image, error) {
	if !t.Has(port) {
		return nil, nil
	}
	w, h, pix, err := t.One(port).Pixels()
	if err != nil {
		return nil, err
	}
	return plane.Of(w, h, pix...), nil
}

// Close closes the file, which was only read.
func (c *clip) Close() { c.closer.Close() }

// frame reads and calibrates frame i into dst, which has the clip's planes.
func (c *clip) frame(i int, dst *plane.Image) error { return c.frameFull(i, dst, nil) }

// frameFull is frame, and marks in full, unless that is nil, which samples are saturated.
func (c *clip) frameFull(i int, dst *plane.Image, full *fullness) error {
	if err := c.reader.Frame(i, c.idx.White, dst.Pix); err != nil {
		return fmt.Errorf("read frame %d: %w", i, err)
	}
	if full != nil {
		full.mark(dst)
	}
	calibrate.Filtered(dst, c.dark, c.flat, c.hot, c.idx.Layout.Pattern, c.idx.Sites)
	return nil
}

func (c *clip) newFrame() *plane.Image { return plane.New(c.w, c.h, c.idx.Layout.Planes) }

// mosaicked tells whether neighbouring pixels see different colours.
func (c *clip) mosaicked() bool { return mosaicked(c.idx.Layout) }

func mosaicked(l raw.Layout) bool { return l.Planes == 1 && l.Pattern != raw.Mono }

// channels returns how many channels the stack of such a clip has.
func channels(l raw.Layout) int {
	if l.Planes == 3 || mosaicked(l) {
		return 3
	}
	return 1
}

// gain returns how bright frame i is against the clip's mean.
func (c *clip) gain(i int) float32 {
	if i < len(c.tab.Gain) && c.tab.Gain[i] > 0.05 {
		return float32(c.tab.Gain[i])
	}
	return 1
}

// sigma is the noise of a calibrated sample at a level, never less than the step from one sample value to the next.
func (c *clip) sigma(level float32) float32 {
	s, step := float64(c.tab.Noise.sigma(level)), 1/c.idx.White
	return float32(math.Sqrt(float64(s*s) + float64(step*step)))
}

// midTime returns the middle of the recording in Unix nanoseconds, 0 if unknown.
func (c *clip) midTime() int64 {
	if n := len(c.idx.Times); n > 0 {
		return c.idx.Times[n/2]
	}
	return c.idx.Start
}
