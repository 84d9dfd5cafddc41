package pipeline

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"io"
	"math"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"

	"plenilune/cache"
)

func planeStore(t *testing.T) Store {
	t.Helper()
	c, err := cache.Open(t.Context(), filepath.Join(t.TempDir(), "cache"), cache.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return cacheStore{c}
}

func TestPlanesSurvive(t *testing.T) {
	s := planeStore(t)
	for _, size := range [][3]int{{1, 1, 1}, {256, 256, 1}, {257, 255, 3}, {700, 3, 1}, {5, 600, 2}} {
		w, h, c := size[0], size[1], size[2]
		pix := make([][]float32, c)
		for k := range pix {
			pix[k] = make([]float32, w*h)
			for i := range pix[k] {
				pix[k][i] = float32(i)*0.25 - float32(k)
			}
			pix[k][w*h/2] = float32(math.NaN())
		}
		id, err := PutPlaneIn(t.Context(), s, w, h, pix...)
		if err != nil {
			t.Fatal(err)
		}
		gw, gh, got, err := ReadPlaneFrom(s, id)
		if err != nil || gw != w || gh != h || len(got) != c {
			t.Fatalf("%v came back as %d×%d×%d: %v", size, gw, gh, len(got), err)
		}
		for k := range pix {
			for i, v := range pix[k] {
				if got[k][i] != v && (v == v || got[k][i] == got[k][i]) {
					t.Fatalf("%v: channel %d pixel %d is %v, was %v", size, k, i, got[k][i], v)
				}
			}
		}
	}
}

func TestReadRect(t *testing.T) {
	s := planeStore(t)
	const w, h = 600, 530
	pix := make([]float32, w*h)
	for i := range pix {
		pix[i] = float32(i)
	}
	id, err := PutPlaneIn(t.Context(), s, w, h, pix)
	if err != nil {
		t.Fatal(err)
	}
	p, err := openPlane(s, id)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	for _, r := range []image.Rectangle{image.Rect(0, 0, w, h), image.Rect(250, 250, 260, 520), image.Rect(599, 529, 600, 530), image.Rect(10, 10, 10, 10)} {
		dst := make([]float32, r.Dx()*r.Dy())
		if err := p.ReadRect(0, r, dst); err != nil {
			t.Fatal(err)
		}
		for i, v := range dst {
			if want := float32((r.Min.Y+i/r.Dx())*w + r.Min.X + i%r.Dx()); v != want {
				t.Fatalf("%v: value %d is %v, want %v", r, i, v, want)
			}
		}
	}
	for _, r := range []image.Rectangle{image.Rect(-1, 0, 5, 5), image.Rect(0, 0, w+1, 1)} {
		if err := p.ReadRect(0, r, make([]float32, w*h)); err == nil {
			t.Errorf("%v was read", r)
		}
	}
	if err := p.ReadRect(1, image.Rect(0, 0, 1, 1), make([]float32, 1)); err == nil {
		t.Error("a channel that is not there was read")
	}
}

// A NaN has many bit patterns; a plane's id must not depend on which.
func TestNaNsAreOne(t *testing.T) {
	s := planeStore(t)
	a, err1 := PutPlaneIn(t.Context(), s, 1, 1, []float32{math.Float32frombits(0x7fc00001)})
	b, err2 := PutPlaneIn(t.Context(), s, 1, 1, []float32{math.Float32frombits(0xffc12345)})
	if err1 != nil || err2 != nil || a != b {
		t.Errorf("%s and %s (%v, %v)", a, b, err1, err2)
	}
}

func TestPlaneIDDoesNotDependOnWorkers(t *testing.T) {
	part := Part{Name: "p", Out: []string{"x"}, Run: func(ctx context.Context, t *Task) error {
		return t.WritePlane(ctx, "x", 1500, 900, 2, func(r image.Rectangle, dst [][]float32) error {
			for c, d := range dst {
				for i := range d {
					d[i] = float32(c*1000000 + (r.Min.Y+i/r.Dx())*1500 + r.Min.X + i%r.Dx())
				}
			}
			return nil
		})
	}}
	var want ID
	for _, workers := range []int{1, 2, 7} {
		o, err := RunAlone(t.Context(), part, nil, planeStore(t), workers)
		if err != nil {
			t.Fatal(err)
		}
		if workers == 1 {
			want = o.Outputs["x"]
		}
		if o.Outputs["x"] != want {
			t.Errorf("%d workers: id %s, with one %s", workers, o.Outputs["x"], want)
		}
	}
}

func TestTableRefusesNaN(t *testing.T) {
	part := Part{Name: "p", Out: []string{"x"}, Run: func(_ context.Context, t *Task) error {
		return t.PutTable("x", map[string]float64{"v": math.NaN()})
	}}
	if _, err := RunAlone(t.Context(), part, nil, planeStore(t), 1); err == nil {
		t.Error("a table with a NaN was stored")
	}
}

func TestShortNames(t *testing.T) {
	j := func(p ...string) string { return filepath.Join(p...) }
	got := shortNames([]string{j("n", "a.ser"), j("n", "b.ser"), j("m", "b.ser"), j("m", "a.avi"), j("n", "c.ser"), j("n", "c.ser")})
	for path, want := range map[string]string{
		j("n", "a.ser"): "a.ser", j("m", "a.avi"): "a.avi", j("n", "b.ser"): "n/b.ser", j("m", "b.ser"): "m/b.ser", j("n", "c.ser"): "c",
	} {
		if got[path] != want {
			t.Errorf("%s is called %q, want %q", path, got[path], want)
		}
	}
	if len(got) != 5 {
		t.Errorf("%d names: %v", len(got), fmt.Sprint(got))
	}
}

// A reader that keeps tiles gives what one gives that keeps none, whatever is read
// again, by several at once, and reads no tile twice.
func TestKeptTilesAreTheSame(t *testing.T) {
	const w, h = 5*tileSide + 7, 4*tileSide + 3
	a, b := []float32{}, []float32{}
	for i := range w * h {
		a, b = append(a, float32(i)), append(b, float32(-i))
	}
	store := planeStore(t)
	id, err := PutPlaneIn(t.Context(), store, w, h, a, b)
	if err != nil {
		t.Fatal(err)
	}
	p, err := openPlane(store, id)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	counted := &countedBlob{BlobReader: p.blob}
	p.blob = counted
	p.Keep(3)
	var wg sync.WaitGroup
	for y := 0; y+tileSide <= h; y += tileSide {
		for x := 0; x+tileSide <= w; x += tileSide {
			wg.Go(func() {
				r := image.Rect(x-9, y-9, x+tileSide+9, y+tileSide+9).Intersect(image.Rect(0, 0, w, h))
				got := make([]float32, r.Dx()*r.Dy())
				for c, want := range [][]float32{a, b} {
					if err := p.ReadRect(c, r, got); err != nil {
						t.Error(err)
					}
					for i, v := range got {
						if at := (r.Min.Y+i/r.Dx())*w + r.Min.X + i%r.Dx(); v != want[at] {
							t.Errorf("channel %d at %d: %v, want %v", c, at, v, want[at])
							return
						}
					}
				}
			})
		}
		wg.Wait()
	}
	if n := counted.n.Load(); n > int64(p.tiles()) {
		t.Errorf("%d tiles were read, there are %d", n, p.tiles())
	}
}

type countedBlob struct {
	BlobReader
	n atomic.Int64
}

func (c *countedBlob) Chunk(i int) ([]byte, error) {
	c.n.Add(1)
	return c.BlobReader.Chunk(i)
}

// A large value is read into memory once, with room for a record behind it, whatever its length.
func TestStreamIsHeldOnce(t *testing.T) {
	b := newBench(t, nil)
	store := cacheStore{b.c}
	for _, n := range []int{9, 14*streamChunk + 77, 23 * streamChunk} {
		want := bytes.Repeat([]byte{byte(n), 1, 0}, n/3+1)[:n]
		id, err := writeStream(store, func(w io.Writer) error { _, err := w.Write(want); return err })
		if err != nil {
			t.Fatal(err)
		}
		got, err := readStream(store, id)
		if err != nil || !bytes.Equal(got, want) {
			t.Fatalf("%d bytes of %d, %v", len(got), len(want), err)
		}
		if room := cap(got) - len(got); n > streamChunk && room < 256<<10 || room > 2*streamChunk {
			t.Errorf("there is room for %d bytes behind %d", room, len(got))
		}
	}
}
