package cache

import (
	"bytes"
	"errors"
	"os"
	"testing"
)

// A chunk like one that was proven before is given out as it is, as the reader's own; one whose stored bytes changed is not
// taken for it.
func TestProvenChunks(t *testing.T) {
	c, _ := open(t, t.TempDir())
	defer closed(t, c)
	flat := make([]byte, 1<<16)
	id := putBlob(t, c, "flat", true, flat, flat)
	r, err := c.OpenBlob(id)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for i := range 2 {
		b, err := r.Chunk(i)
		if err != nil || !bytes.Equal(b, flat) {
			t.Fatalf("chunk %d: %v", i, err)
		}
		b[0] = 1 // the caller's own
	}
	if c.proven.find(stored(t, r, 1), r.dir.chunks[1].sum, true) == nil {
		t.Error("a short chunk was proven and is not remembered")
	}

	k := r.dir.chunks[1]
	f, err := os.OpenFile(c.blobPath(id), os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteAt([]byte{0x55}, k.offset+int64(k.stored)-1); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := r.Chunk(1); !errors.Is(err, ErrDamaged) {
		t.Errorf("a changed chunk gives %v, want ErrDamaged", err)
	}
}

func stored(t *testing.T, r *Reader, i int) []byte {
	t.Helper()
	p := make([]byte, r.dir.chunks[i].stored)
	if _, err := r.f.ReadAt(p, r.dir.chunks[i].offset); err != nil {
		t.Fatal(err)
	}
	return p
}
