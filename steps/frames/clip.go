package frames

import (
	"fmt"
	"io"

	"plenilune/pipeline"
	"plenilune/steps/format/raw"
	"plenilune/steps/kernel/calibrate"
	"plenilune/steps/kernel/plane"
)

// clipIndex is what this stage reads of a clip's index.
type clipIndex struct {
	Layout raw.Layout `json:"layout"`
	Frames int        `json:"frames"`
	Depth  int        `json:"depth"`
	White  float64    `json:"white"`
	Level  float64    `json:"level"` // mean, share of white
	Empty  bool       `json:"empty"`

	FilePattern string      `json:"file_pattern"` // as the file's header has it
	Sites       *[4]float64 `json:"sites"`        // gains of the sites of a filter that is ignored
}

// clip reads calibrated frames of one capture; safe for concurrent use.
type clip struct {
	lay   raw.Layout
	n     int // frames, of all files
	depth int
	sites *[4]float64 // gains of the sites of a filter that is ignored
	files []clipFile
	dark  *plane.Image // nil: none
	flat  *plane.Image // nil: none
	hot   []int
}

// clipFile is one file of a clip; only masters are made from more than one.
type clipFile struct {
	from   int // number of its first frame
	white  float64
	reader *raw.Reader
	close  io.Closer
}

type hotTable struct {
	Pixels []int `json:"pixels"`
}

// openClip opens the inputs "file" and "index", and "dark", "flat" and "hot"
// where they are bound.
func openClip(t *pipeline.Task) (*clip, error) {
	c, err := openClips(t)
	if err != nil {
		return nil, err
	}
	if err := c.openMasters(t); err != nil {
		c.Close()
		return nil, fmt.Errorf("open masters: %w", err)
	}
	return c, nil
}

// openClips opens all files on the port "file", each with its "index", as if
// they were one clip, without masters.
func openClips(t *pipeline.Task) (*clip, error) {
	c := &clip{}
	files, tables := t.In("file"), t.In("index")
	for k, src := range files {
		if err := c.open(src, tables[k]); err != nil {
			c.Close()
			return nil, fmt.Errorf("open clip: %w", err)
		}
	}
	return c, nil
}

func (c *clip) open(src, table pipeline.Source) error {
	var idx clipIndex
	if err := table.Table(&idx); err != nil {
		return err
	}
	f, closer, err := src.File()
	if err != nil {
		return err
	}
	r, err := raw.NewReader(f, f.Size(), idx.Layout)
	if err != nil {
		closer.Close()
		return err
	}
	if len(c.files) == 0 {
		c.lay, c.depth, c.sites = idx.Layout, idx.Depth, idx.Sites
	}
	c.files = append(c.files, clipFile{c.n, idx.White, r, closer})
	c.n += idx.Frames
	return nil
}

func (c *clip) openMasters(t *pipeline.Task) (err error) {
	if c.dark, err = readPlane(t, "dark"); err != nil {
		return err
	}
	if c.flat, err = readPlane(t, "flat"); err != nil {
		return err
	}
	if t.Has("hot") {
		var h hotTable
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

// Close closes the files; they were only read.
func (c *clip) Close() {
	for _, f := range c.files {
		f.close.Close()
	}
}

// of returns the file that holds frame i, and the frame's number there.
func (c *clip) of(i int) (clipFile, int) {
	k := len(c.files) - 1
	for c.files[k].from > i {
		k--
	}
	return c.files[k], i - c.files[k].from
}

// frame reads and calibrates frame i into dst, which has the clip's planes.
func (c *clip) frame(i int, dst *plane.Image) error {
	f, k := c.of(i)
	if err := f.reader.Frame(k, f.white, dst.Pix); err != nil {
		return fmt.Errorf("read frame %d: %w", i, err)
	}
	calibrate.Filtered(dst, c.dark, c.flat, c.hot, c.lay.Pattern, c.sites)
	return nil
}

// frameBy is frame by way of a buffer, which then holds the frame as it lies in the file.
func (c *clip) frameBy(buf []byte, i int, dst *plane.Image) error {
	f, k := c.of(i)
	if err := f.reader.FrameBy(buf, k, f.white, dst.Pix); err != nil {
		return fmt.Errorf("read frame %d: %w", i, err)
	}
	calibrate.Filtered(dst, c.dark, c.flat, c.hot, c.lay.Pattern, c.sites)
	return nil
}

func (c *clip) newFrame() *plane.Image { return plane.New(c.lay.Width, c.lay.Height, c.lay.Planes) }

// mosaicked tells whether neighbouring pixels see different colours.
func (c *clip) mosaicked() bool { return c.lay.Planes == 1 && c.lay.Pattern != raw.Mono }
