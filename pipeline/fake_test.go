package pipeline

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"plenilune/cache"
)

// The fake night: "clips" reads the first letter of each file, "sum" joins the
// letters of all, "shout" makes them large, "file" delivers.

type fakeClips struct {
	Files  Files `hcl:"files"`
	Except Files `hcl:"except,optional"`
}
type fakeSum struct {
	Clips Ref     `hcl:"clips" refs:"clips"`
	Glue  string  `hcl:"glue,optional"`
	Keep  float64 `hcl:"keep,optional" min:"0" max:"1"`
}
type fakeFile struct {
	Of   Ref    `hcl:"of" refs:"sum"`
	File string `hcl:"file"`
}
type word struct {
	Text string `json:"text"`
}
type glueSettings struct{ Glue string }

// watch counts what runs at once.
type watch struct {
	mu            sync.Mutex
	now, most     int
	bytes, filled int64
	runs          atomic.Int64
	during        func() // while a part has a file open; may be nil
}

func (w *watch) enter(n int64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.now++
	w.bytes += n
	w.most, w.filled = max(w.most, w.now), max(w.filled, w.bytes)
}

func (w *watch) leave(n int64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.now--
	w.bytes -= n
}

const fakeMemory = 100

func fakeSteps(w *watch) []Step {
	first := func(ctx context.Context, t *Task) error {
		w.runs.Add(1)
		w.enter(fakeMemory)
		defer w.leave(fakeMemory)
		f, c, err := t.One("file").File()
		if err != nil {
			return err
		}
		defer c.Close()
		var b [1]byte
		if _, err := f.ReadAt(b[:], 0); err != nil {
			return err
		}
		if w.during != nil {
			w.during()
		}
		time.Sleep(5 * time.Millisecond)
		switch b[0] {
		case '!':
			return errors.New("it begins with a bang")
		case '#':
			panic("a hash")
		case '?':
			t.Warn("odd", "%s asks", ClipName(t.One("file").ID()))
		case '@':
			<-ctx.Done()
			return ctx.Err()
		}
		t.Fact("letter", float64(b[0]), "")
		return t.PutTable("word", word{string(b[0])})
	}
	join := func(_ context.Context, s glueSettings, t *Task) error {
		w.runs.Add(1)
		var all []string
		for _, in := range t.In("word") {
			var x word
			if err := in.Table(&x); err != nil {
				return err
			}
			all = append(all, x.Text)
		}
		if err := t.PutTable("sum", word{strings.Join(all, s.Glue)}); err != nil {
			return err
		}
		return t.PutBytes("big", func(w io.Writer) error {
			_, err := w.Write([]byte(strings.Repeat(strings.Join(all, s.Glue)+"\n", 1<<18)))
			return err
		})
	}
	encode := func(_ context.Context, t *Task) error {
		w.runs.Add(1)
		b, err := t.One("big").Bytes()
		if err != nil {
			return err
		}
		return t.PutBytes("file", func(w io.Writer) error { _, err := w.Write(b[:20]); return err })
	}
	return []Step{
		{Name: "letters", Block: "clips", New: func() any { return &fakeClips{} }, Expand: func(x *Expansion) error {
			x.Emit()
			for _, it := range x.Items() {
				n := x.Add(Part{Name: "first", Item: it, Version: 1, In: []Input{{"file", it.Values["file"]}}, Out: []string{"word"}, Memory: fakeMemory, Run: first})
				x.Emit(it.With("word", n.Out("word")))
			}
			return nil
		}},
		{Name: "sums", Block: "sum", New: func() any { return &fakeSum{Glue: "-"} }, Expand: func(x *Expansion) error {
			s := x.Settings().(*fakeSum)
			items, err := x.Upstream(s.Clips)
			if err != nil {
				return err
			}
			if items, err = x.Alive(items); err != nil {
				return err
			}
			p := Part{Name: "join", Version: 1, Settings: glueSettings{s.Glue}, Out: []string{"sum", "big"}, Run: Bind(join)}
			for _, it := range items {
				p.In = append(p.In, Input{"word", it.Values["word"]})
			}
			n := x.Add(p)
			x.Emit(Item{Values: map[string]Value{"sum": n.Out("sum"), "big": n.Out("big")}})
			return nil
		}},
		{Name: "files", Block: "file", New: func() any { return &fakeFile{} }, Expand: func(x *Expansion) error {
			s := x.Settings().(*fakeFile)
			items, err := x.Upstream(s.Of)
			if err != nil {
				return err
			}
			n := x.Add(Part{Name: "encode", Version: 1, In: []Input{{"big", items[0].Values["big"]}}, Out: []string{"file"}, Run: encode})
			x.Deliver(Delivery{File: s.File, Encoded: n.Out("file"), Version: 1,
				Splice: func(e, r []byte) ([]byte, error) { return append(append(e, '\n'), r...), nil }})
			return nil
		}},
	}
}

const fakeManifest = `
clips "all" {
  files = ["clips/*"]
}
sum "s" {
  clips = clips.all
}
file "f" {
  of   = sum.s
  file = "sum.txt"
}
`

// bench is a folder with a fake night and a cache.
type bench struct {
	t     *testing.T
	dir   string
	steps []Step
	w     *watch
	c     *cache.Cache
	seen  []Event
}

func newBench(t *testing.T, clips map[string]string) *bench {
	t.Helper()
	b := &bench{t: t, dir: t.TempDir(), w: &watch{}}
	b.steps = fakeSteps(b.w)
	for name, text := range clips {
		b.clip(name, text)
	}
	b.open()
	t.Cleanup(func() { b.c.Close() })
	return b
}

func (b *bench) open() {
	b.t.Helper()
	c, err := cache.Open(b.t.Context(), filepath.Join(b.dir, "cache"), cache.Options{})
	if err != nil {
		b.t.Fatal(err)
	}
	b.c = c
}

func (b *bench) clip(name, text string) {
	b.t.Helper()
	path := filepath.Join(b.dir, "clips", name)
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		b.t.Fatal(err)
	}
}

func (b *bench) load(text string) *Manifest {
	b.t.Helper()
	m, d := LoadManifest(filepath.Join(b.dir, "night.hcl"), []byte(text), b.steps, nil)
	d.Append(m.ResolveFiles(""))
	if d.HasErrors() {
		b.t.Fatal(d)
	}
	return m
}

func (b *bench) run(text string, o Options) (Summary, error) {
	b.t.Helper()
	b.seen = nil
	o.OutDir = filepath.Join(b.dir, "out")
	o.Jobs = max(o.Jobs, 2)
	if o.Memory == 0 {
		o.Memory = 1 << 20
	}
	o.Observer = func(e Event) { b.seen = append(b.seen, e) }
	return Run(b.t.Context(), b.load(text), b.c, o)
}

func (b *bench) must(text string, o Options) Summary {
	b.t.Helper()
	s, err := b.run(text, o)
	if err != nil {
		b.t.Fatal(err)
	}
	return s
}

func (b *bench) output() string {
	b.t.Helper()
	got, err := os.ReadFile(filepath.Join(b.dir, "out", "sum.txt"))
	if err != nil {
		b.t.Fatal(err)
	}
	first, _, _ := strings.Cut(string(got), "\n")
	return first
}

func (b *bench) state(step string) State {
	for _, e := range b.seen {
		if e.Step != nil && e.Step.Step == step {
			return e.Step.State
		}
	}
	return ""
}
