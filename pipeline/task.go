package pipeline

import (
	"context"
	"encoding/json"
	"fmt"
	"image"
	"io"
	"math"
)

// Task is what a part sees while it runs: its settings, its inputs and places
// for its outputs; no path, no clock, no number of cores.
type Task struct {
	settings any
	ins      []boundInput
	store    Store
	each     func(ctx context.Context, n int, fn func(i int) error) error
	progress func(done float64)

	outs  map[string]ID
	facts []Fact
	warns []Warning
}

type boundInput struct {
	port string
	src  Source
}

// Store keeps values by content. The cache and the memory store of tests are such.
type Store interface {
	Put(b []byte) (ID, error)
	Get(id ID) ([]byte, error)
	Create(head []byte, chunkWords bool) (BlobWriter, error)
	Open(id ID) (BlobReader, error)
}

// BlobWriter takes a large value chunk by chunk.
type BlobWriter interface {
	Chunk(b []byte) error
	Commit() (ID, error)
	Abort()
}

// BlobReader gives a large value's chunks in any order; safe for concurrent use.
type BlobReader interface {
	Head() []byte
	Len() int
	Chunk(i int) ([]byte, error)
	io.Closer
}

// File is a capture as parts see it.
type File interface {
	io.ReaderAt
	Size() int64
}

// Source is one bound input.
type Source struct {
	id    ID
	store Store
	open  func() (File, io.Closer, error)
	file  *inputFile // nil: no file of the user's

	pieces []Piece // of a sequence
}

// ID returns the content id of the input.
func (s Source) ID() ID { return s.id }

// Table decodes a table into v.
func (s Source) Table(v any) error {
	b, err := s.store.Get(s.id)
	if err != nil {
		return fmt.Errorf("read table %s: %w", s.id.Short(), err)
	}
	if err := json.Unmarshal(b, v); err != nil {
		return fmt.Errorf("decode table %s: %w", s.id.Short(), err)
	}
	return nil
}

// Bytes returns a value that was put by PutBytes.
func (s Source) Bytes() ([]byte, error) { return readStream(s.store, s.id) }

// Plane opens a plane for reading by rectangles.
func (s Source) Plane() (*PlaneReader, error) { return openPlane(s.store, s.id) }

// Pixels reads a plane whole: width, height, and one row-major slice a channel.
func (s Source) Pixels() (w, h int, pix [][]float32, err error) {
	p, err := s.Plane()
	if err != nil {
		return 0, 0, nil, err
	}
	w, h, _ = p.Size()
	pix, err = p.ReadAll()
	return w, h, pix, err
}

// File opens a capture, or what was put by PutBytes; the caller closes it.
func (s Source) File() (File, io.Closer, error) {
	if s.open != nil {
		return s.open()
	}
	if s.pieces != nil {
		return nil, nil, fmt.Errorf("input %s is a sequence of pictures", s.id.Short())
	}
	f, err := openBytes(s.store, s.id)
	if err != nil {
		return nil, nil, err
	}
	return f, f, nil
}

// Piece is one file of a clip.
type Piece struct {
	// Open opens it; the caller closes it.
	Open func() (File, io.Closer, error)
}

// Pieces returns the pictures of a sequence in their order, or the one file that the clip is.
func (s Source) Pieces() []Piece {
	if s.pieces != nil {
		return s.pieces
	}
	return []Piece{{s.File}}
}

// Settings returns the part's settings as they were given.
func (t *Task) Settings() any { return t.settings }

// Bind adapts a function of typed settings to Part.Run.
func Bind[S any](f func(context.Context, S, *Task) error) func(context.Context, *Task) error {
	return func(ctx context.Context, t *Task) error { return f(ctx, t.settings.(S), t) }
}

// In returns the inputs on a port, in the order they were given.
func (t *Task) In(port string) []Source {
	var out []Source
	for _, b := range t.ins {
		if b.port == port {
			out = append(out, b.src)
		}
	}
	return out
}

// One returns the only input on a port; it panics if there is not exactly one.
func (t *Task) One(port string) Source {
	in := t.In(port)
	if len(in) != 1 {
		panic(fmt.Sprintf("pipeline: port %q has %d inputs, want 1", port, len(in)))
	}
	return in[0]
}

// Has tells whether a port has an input.
func (t *Task) Has(port string) bool { return len(t.In(port)) > 0 }

// PutTable stores a small value as JSON. NaN and infinities are refused.
func (t *Task) PutTable(port string, v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("encode table %q: %w", port, err)
	}
	id, err := t.store.Put(b)
	if err != nil {
		return fmt.Errorf("store table %q: %w", port, err)
	}
	t.outs[port] = id
	return nil
}

// PutBytes stores what write produces, such as an encoded picture file.
func (t *Task) PutBytes(port string, write func(io.Writer) error) error {
	id, err := writeStream(t.store, write)
	if err != nil {
		return fmt.Errorf("store %q: %w", port, err)
	}
	t.outs[port] = id
	return nil
}

// PutPlane stores a picture of w by h pixels, one row-major slice a channel.
func (t *Task) PutPlane(ctx context.Context, port string, w, h int, pix ...[]float32) error {
	return t.WritePlane(ctx, port, w, h, len(pix), func(r image.Rectangle, dst [][]float32) error {
		for c, p := range pix {
			for y := r.Min.Y; y < r.Max.Y; y++ {
				copy(dst[c][(y-r.Min.Y)*r.Dx():(y-r.Min.Y+1)*r.Dx()], p[y*w+r.Min.X:y*w+r.Max.X])
			}
		}
		return nil
	})
}

// WritePlane stores a picture that fill computes tile by tile, several at once:
// dst[c] is row-major, r.Dx() by r.Dy().
func (t *Task) WritePlane(ctx context.Context, port string, w, h, c int, fill func(r image.Rectangle, dst [][]float32) error) error {
	return t.WritePlanes(ctx, w, h, []PlanePort{{port, c}}, func(r image.Rectangle, dst [][][]float32) error { return fill(r, dst[0]) })
}

// WritePlanes stores pictures of one size that fill computes together, tile by tile, several at once: dst[i][c] is
// channel c of the i-th, row-major, r.Dx() by r.Dy(). Tiles are asked for row by row from the top, but for those in
// work at once.
func (t *Task) WritePlanes(ctx context.Context, w, h int, ports []PlanePort, fill func(r image.Rectangle, dst [][][]float32) error) error {
	ids, err := writePlanes(ctx, t, w, h, ports, fill)
	if err != nil {
		return fmt.Errorf("store plane %q: %w", ports[0].Name, err)
	}
	for i, id := range ids {
		t.outs[ports[i].Name] = id
	}
	return nil
}

// PlaneTiles returns the rectangles in which WritePlanes asks for a picture, in its order.
func PlaneTiles(w, h int) []image.Rectangle {
	p := planeHead{w: w, h: h}
	out := make([]image.Rectangle, p.tiles())
	for i := range out {
		out[i] = p.rect(i)
	}
	return out
}

// Each calls fn for 0…n−1, several at once when the run's bounds allow. Write
// results by index: the order of calls is not defined.
func (t *Task) Each(ctx context.Context, n int, fn func(i int) error) error {
	return t.each(ctx, n, fn)
}

// Progress tells what share of the part's work is done, 0…1.
func (t *Task) Progress(done float64) {
	if t.progress != nil {
		t.progress(done)
	}
}

// Fact states a measured number with its unit.
func (t *Task) Fact(name string, value float64, unit string) {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return // unknown: an absent fact says so
	}
	t.facts = append(t.facts, Fact{Name: name, Value: value, Unit: unit})
}

// FactText states something measured that is a word.
func (t *Task) FactText(name, text string) {
	t.facts = append(t.facts, Fact{Name: name, Text: text})
}

// Warn states something that the user should know.
func (t *Task) Warn(code, format string, args ...any) {
	t.warns = append(t.warns, Warning{Code: code, Text: fmt.Sprintf(format, args...)})
}
