package ser

import (
	"bytes"
	"math/rand/v2"
	"testing"
	"time"

	"plenilune/steps/format/raw"
)

// buffer is a file in memory that a Writer can go back in.
type buffer struct {
	b  []byte
	at int
}

func (m *buffer) Write(p []byte) (int, error) {
	if need := m.at + len(p); need > len(m.b) {
		m.b = append(m.b, make([]byte, need-len(m.b))...)
	}
	copy(m.b[m.at:], p)
	m.at += len(p)
	return len(p), nil
}

func (m *buffer) Seek(off int64, whence int) (int64, error) {
	m.at = int(off)
	if whence == 2 {
		m.at += len(m.b)
	}
	return int64(m.at), nil
}

// file writes frames to memory, and times if there are any.
func file(t testing.TB, h Header, frames [][]uint16, times []time.Time) []byte {
	t.Helper()
	var m buffer
	w, err := NewWriter(&m, h)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range frames {
		if err := w.AddFrame(f); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(times); err != nil {
		t.Fatal(err)
	}
	return m.b
}

// scene makes frames of a smooth ramp with a bright spot and noise: values of 0
// to top, noise of ±noise.
func scene(w, h, n, planes, top, noise int, seed uint64) [][]uint16 {
	r := rand.New(rand.NewPCG(seed, 1))
	frames := make([][]uint16, n)
	for k := range frames {
		f := make([]uint16, w*h*planes)
		for y := range h {
			for x := range w * planes {
				v := top * (x/planes + y + k) / (w + h + n)
				v += r.IntN(2*noise+1) - noise
				f[y*w*planes+x] = uint16(max(0, min(v, top)))
			}
		}
		frames[k] = f
	}
	return frames
}

// shifted returns frames with every sample multiplied by 2^bits.
func shifted(frames [][]uint16, bits int) [][]uint16 {
	out := make([][]uint16, len(frames))
	for i, f := range frames {
		out[i] = make([]uint16, len(f))
		for j, v := range f {
			out[i][j] = v << bits
		}
	}
	return out
}

// measure opens a file and samples it.
func measure(t testing.TB, b []byte) (*File, *raw.Evidence) {
	t.Helper()
	f, err := Open(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	e, err := raw.Sample(bytes.NewReader(b), f.Layout, f.Frames)
	if err != nil {
		t.Fatal(err)
	}
	return f, e
}

// readBack decodes frame i as whole samples in file order of planes.
func readBack(t testing.TB, b []byte, l raw.Layout, i int) []uint16 {
	t.Helper()
	r, err := raw.NewReader(bytes.NewReader(b), int64(len(b)), l)
	if err != nil {
		t.Fatal(err)
	}
	dst := make([][]float32, l.Planes)
	for c := range dst {
		dst[c] = make([]float32, l.Width*l.Height)
	}
	if err := r.Frame(i, 1, dst); err != nil {
		t.Fatal(err)
	}
	out := make([]uint16, 0, l.Width*l.Height*l.Planes)
	for p := range dst[0] {
		for c := range dst {
			if l.Pattern == raw.BGR {
				c = 2 - c
			}
			out = append(out, uint16(dst[c][p]))
		}
	}
	return out
}
