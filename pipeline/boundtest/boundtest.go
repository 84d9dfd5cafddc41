// Package boundtest holds what reads strangers' files to its bounds: memory, bytes read, an end.
package boundtest

import (
	"bytes"
	"fmt"
	"io"
	"runtime/metrics"
	"sync/atomic"
	"testing"
	"time"
)

// What a reader of a file may take, whatever stands in it.
const (
	MemoryBase = 64 << 20 // bytes
	MemoryEach = 4        // bytes a byte of the file
	readBase   = 1 << 20
	readEach   = 8
	hangs      = time.Minute // an input of at most some MB takes milliseconds
)

// Reading fails the test if fn, which reads the file b, allocates more than 64 MiB and four times the file all in all (so that
// it cannot have held more at any moment), or reads more than a few times the file: time beyond linear would need one or
// the other. If it does not end at all the process panics with every stack, as the fuzzer wants it.
func Reading(t testing.TB, b []byte, fn func(r io.ReaderAt, size int64)) {
	t.Helper()
	r := &counting{r: bytes.NewReader(b)}
	Memory(t, len(b), MemoryEach, func() { fn(r, int64(len(b))) })
	if n := r.n.Load(); n > readBase+readEach*int64(len(b)) {
		t.Errorf("%d bytes were read of a file of %d", n, len(b))
	}
}

// Memory fails the test if fn, given size bytes, allocates more than 64 MiB and each times as much, or does not end.
func Memory(t testing.TB, size, each int, fn func()) {
	t.Helper()
	alarm := time.AfterFunc(hangs, func() { panic(fmt.Sprintf("it hangs at an input of %d bytes", size)) })
	defer alarm.Stop()
	before := allocated()
	fn()
	if n := allocated() - before; n > uint64(MemoryBase+each*size) {
		t.Errorf("%d bytes were allocated for an input of %d", n, size)
	}
}

// allocated is how many bytes the process has allocated since it began.
func allocated() uint64 {
	s := []metrics.Sample{{Name: "/gc/heap/allocs:bytes"}}
	metrics.Read(s)
	return s[0].Value.Uint64()
}

type counting struct {
	r io.ReaderAt
	n atomic.Int64
}

func (c *counting) ReadAt(b []byte, at int64) (int, error) {
	n, err := c.r.ReadAt(b, at)
	c.n.Add(int64(n))
	return n, err
}
