package pipeline

import (
	"bytes"
	"context"
	"fmt"
	"io"

	"plenilune/cache"
)

// Bound is an input given to RunAlone: something in the store, or a file's bytes.
type Bound struct {
	Port     string
	ID       ID
	File     []byte
	Pictures [][]byte // of a sequence
	Path     string   // of a file that Programs may read
	Programs Programs
}

// Outcome is what a part made and stated.
type Outcome struct {
	Outputs  map[string]ID
	Facts    []Fact
	Warnings []Warning
}

// RunAlone runs one part on a store, outside any run: what tests of steps need.
// Part.In is ignored, ins are bound instead.
func RunAlone(ctx context.Context, p Part, ins []Bound, s Store, workers int) (Outcome, error) {
	e := newExecutor(max(workers, 1), 1<<40)
	t := &Task{settings: p.Settings, store: s, outs: map[string]ID{}, each: e.each}
	if err := e.workers.Acquire(ctx, 1); err != nil {
		return Outcome{}, err
	}
	defer e.workers.Release(1)
	for _, in := range ins {
		src := Source{id: in.ID, store: s}
		if in.File != nil {
			src.open = func() (File, io.Closer, error) {
				r := bytes.NewReader(in.File)
				return r, io.NopCloser(r), nil
			}
		}
		if in.Path != "" {
			stamp, err := cache.StampOf(in.Path)
			if err != nil {
				return Outcome{}, fmt.Errorf("look at %s: %w", in.Path, err)
			}
			src = sourceOf(in.ID, s, &inputFile{path: in.Path, id: in.ID, size: stamp.Size, stamp: stamp, set: &fileSet{through: straight, programs: in.Programs}})
		}
		for _, b := range in.Pictures {
			src.pieces = append(src.pieces, Piece{func() (File, io.Closer, error) {
				r := bytes.NewReader(b)
				return r, io.NopCloser(r), nil
			}})
		}
		t.ins = append(t.ins, boundInput{in.Port, src})
	}
	if err := p.Run(ctx, t); err != nil {
		return Outcome{}, err
	}
	return Outcome{t.outs, t.facts, t.warns}, nil
}

// PutPlaneIn stores a plane of w by h pixels, one row-major slice a channel.
func PutPlaneIn(ctx context.Context, s Store, w, h int, pix ...[]float32) (ID, error) {
	e := newExecutor(1, 1)
	t := &Task{store: s, outs: map[string]ID{}, each: e.each}
	err := t.PutPlane(ctx, "plane", w, h, pix...)
	return t.outs["plane"], err
}

// ReadPlaneFrom reads a whole plane of a store.
func ReadPlaneFrom(s Store, id ID) (w, h int, pix [][]float32, err error) {
	return Source{id: id, store: s}.Pixels()
}

// ReadBytesFrom reads what PutBytes stored.
func ReadBytesFrom(s Store, id ID) ([]byte, error) { return readStream(s, id) }
