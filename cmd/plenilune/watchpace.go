package main

import (
	"io"
	"runtime"
	"sync"
	"sync/atomic"
	"time"
)

// pace holds the work back while a clip is being recorded: one processor, and a disk that is idle half of the time. All of
// the program runs at low priority the whole night, since a system lets nobody raise it again.
type pace struct {
	recording atomic.Bool
	most      int // processors, when nothing is recorded
	mu        sync.Mutex
}

// hold says whether something is being recorded.
func (p *pace) hold(recording bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.recording.Swap(recording) == recording {
		return
	}
	runtime.GOMAXPROCS(p.processors())
}

func (p *pace) processors() int {
	if p.recording.Load() {
		return 1
	}
	return p.most
}

// through is what captures are read through.
func (p *pace) through(r io.ReaderAt) io.ReaderAt { return pacedReader{r, p} }

type pacedReader struct {
	r io.ReaderAt
	p *pace
}

// pacedPiece is how much is read at once while something is being recorded, and pacedRest the longest pause: a disk that
// takes longer over a piece than this is not helped by waiting more.
const (
	pacedPiece = 1 << 20
	pacedRest  = 100 * time.Millisecond
)

// ReadAt reads piece by piece and rests after each for as long as that took.
func (r pacedReader) ReadAt(b []byte, off int64) (n int, err error) {
	for n < len(b) {
		if !r.p.recording.Load() {
			m, err := r.r.ReadAt(b[n:], off+int64(n))
			return n + m, err
		}
		began := time.Now()
		m, err := r.r.ReadAt(b[n:min(len(b), n+pacedPiece)], off+int64(n))
		n += m
		if err != nil {
			return n, err
		}
		time.Sleep(min(time.Since(began), pacedRest))
	}
	return n, nil
}
