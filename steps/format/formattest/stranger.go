package formattest

import (
	"bytes"
	"io"
	"runtime"
	"strings"
	"testing"

	"plenilune/steps/format/raw"
)

// Stranger holds what opens a clip to its bounds on a file of which nothing is known: no panic; what is found lies in the file; memory
// keeps to 64 MiB and four times the file, and what is read to a multiple of it.
func Stranger(t testing.TB, b []byte, open func(r io.ReaderAt, size int64) (*raw.Clip, error)) {
	t.Helper()
	size := int64(len(b))
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	r := &counting{b: b}
	c, err := open(r, size)
	runtime.ReadMemStats(&after)
	if took := after.TotalAlloc - before.TotalAlloc; took > 64<<20+4*uint64(size) {
		t.Fatalf("%d bytes of memory for a file of %d", took, size)
	}
	if r.bytes > 1<<16+16*size || r.calls > 1<<10+4*size {
		t.Fatalf("%d bytes in %d pieces are read of a file of %d", r.bytes, r.calls, size)
	}
	if err != nil {
		if strings.ContainsAny(err.Error(), "\n\x1b") {
			t.Fatalf("error %q", err)
		}
		return
	}
	if err := c.Layout.Check(); err != nil {
		t.Fatalf("a file that is accepted gives a layout that is not: %v", err)
	}
	if int64(c.Frames) > c.Layout.Frames(size) || int64(c.Frames)*c.Layout.Span() > size || len(c.Times) > c.Frames {
		t.Fatalf("%d frames of %d bytes and %d times in %d bytes", c.Frames, c.Layout.Span(), len(c.Times), size)
	}
	e, err := raw.Sample(bytes.NewReader(b), c.Layout, c.Frames)
	if err != nil {
		t.Fatal(err)
	}
	if lv := e.Level(c.Depth, c.Layout.BigEndian && c.Layout.Words()); !(lv.White >= 1) || lv.White > 65535 || lv.Bits < 1 {
		t.Fatalf("level %+v", lv)
	}
	if c.Frames == 0 {
		return
	}
	read, err := raw.NewReader(bytes.NewReader(b), size, e.Spread(c.Layout))
	if err != nil {
		t.Fatal(err)
	}
	dst := make([][]float32, c.Layout.Planes)
	for p := range dst {
		dst[p] = make([]float32, c.Layout.Width*c.Layout.Height)
	}
	for _, i := range []int{0, c.Frames / 2, c.Frames - 1} {
		if err := read.Frame(i, 65535, dst); err != nil {
			t.Fatal(err)
		}
	}
}

// counting is a file in memory that counts how it is read.
type counting struct {
	b            []byte
	bytes, calls int64
}

func (c *counting) ReadAt(p []byte, at int64) (int, error) {
	n, err := bytes.NewReader(c.b).ReadAt(p, at)
	c.bytes, c.calls = c.bytes+int64(n), c.calls+1
	return n, err
}
