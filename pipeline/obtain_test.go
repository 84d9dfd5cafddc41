package pipeline

import (
	"errors"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
)

// counted counts the readings that go through it.
type counted struct {
	io.ReaderAt
	n *atomic.Int64
}

func (c counted) ReadAt(b []byte, off int64) (int, error) {
	c.n.Add(1)
	return c.ReaderAt.ReadAt(b, off)
}

func (b *bench) obtain(w Wish) (words []string, sum Summary, err error) {
	b.t.Helper()
	b.seen = nil
	o := Options{Jobs: 2, Memory: 1 << 20, Observer: func(e Event) { b.seen = append(b.seen, e) }}
	sum, err = Obtain(b.t.Context(), b.load(fakeManifest), b.c, o, w, func(p Product) {
		var x word
		if err := p.Source(w.Ports[0]).Table(&x); err != nil {
			b.t.Error(err)
		}
		words = append(words, p.Name+"="+x.Text)
	})
	slices.Sort(words)
	return words, sum, err
}

// What is obtained is what a run would make, no more of it runs, and the run finds it in the cache.
func TestObtainRunsWhatItTakes(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha", "b": "beta", "bad": "!"})
	var reads atomic.Int64
	words, sum, err := b.obtain(Wish{Block: Ref{"clips", "all"}, Ports: []string{"word"},
		Through: func(r io.ReaderAt) io.ReaderAt { return counted{r, &reads} }})
	if !errors.Is(err, ErrIncomplete) || sum.Ran != 2 || sum.Failed != 1 || !slices.Equal(words, []string{"a=a", "b=b"}) {
		t.Errorf("%v, %+v, %v; want the letters of two clips and one failure", words, sum, err)
	}
	if n := reads.Load(); n < 6 { // each file to know its content, and by its part
		t.Errorf("%d readings went through", n)
	}
	for _, e := range b.seen {
		if s := e.Step; s != nil && (s.Block != Ref{"clips", "all"} || s.Part != "first" || s.Item.IsZero()) {
			t.Errorf("event %+v does not say what it is about", s)
		}
	}
	words, sum, err = b.obtain(Wish{Block: Ref{"sum", "s"}, Ports: []string{"sum"}})
	if !errors.Is(err, ErrIncomplete) || sum.Ran != 1 || sum.Cached != 2 || len(words) != 1 || !strings.Contains(words[0], "-") {
		t.Errorf("%v, %+v, %v; want the sum alone to run", words, sum, err)
	}
	if s, _ := b.run(fakeManifest, Options{}); s.Ran != 1 || b.state("file.f/encode") != Ran {
		t.Errorf("the run after: %+v, want the file's part alone to run", s)
	}
	if found, err := filepath.Glob(filepath.Join(b.dir, "out", "*")); err != nil || len(found) != 1 {
		t.Errorf("delivered %v, %v; want the run's file", found, err)
	}
}

func TestObtainOfNoBlock(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha"})
	_, _, err := b.obtain(Wish{Block: Ref{"sum", "none"}, Ports: []string{"sum"}})
	var request *RequestError
	if !errors.As(err, &request) {
		t.Errorf("error %v, want a wrong request", err)
	}
}

// Where no more may begin, what is known is found, what was begun is ended, and the rest is left out without a word.
func TestObtainBeginsNoMoreThanItMay(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha", "b": "beta", "c": "gamma"})
	letters := Wish{Block: Ref{"clips", "all"}, Ports: []string{"word"}}
	for _, c := range []struct {
		may, ran, cached int
	}{{0, 0, 0}, {1, 1, 0}, {0, 0, 1}, {9, 2, 1}, {0, 0, 3}} {
		var begun atomic.Int64
		letters.Begin = func(string) bool { return begun.Add(1) <= int64(c.may) }
		words, sum, err := b.obtain(letters)
		if err != nil || sum.Ran != c.ran || sum.Cached != c.cached || sum.Failed+sum.Skipped > 0 || len(words) != c.ran+c.cached {
			t.Errorf("%d may begin: %v, %+v, %v; want %d run and %d found", c.may, words, sum, err, c.ran, c.cached)
		}
		for _, e := range b.seen {
			if e.Step != nil && e.Step.State != Ran && e.Step.State != Cached {
				t.Errorf("%d may begin: told of %+v", c.may, e.Step)
			}
		}
	}
	words, sum, err := b.obtain(Wish{Block: Ref{"sum", "s"}, Ports: []string{"sum"}, Begin: func(string) bool { return false }})
	if err != nil || len(words) > 0 || sum.Ran > 0 || sum.Cached != 3 {
		t.Errorf("a sum that may not begin: %v, %+v, %v", words, sum, err)
	}
}

// What is known is found beside a clip that fails each time: it is asked for again, and what is made of the others is not.
func TestObtainWhatIsKnownBesideAFailure(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha", "b": "beta", "bad": "!"})
	sums := Wish{Block: Ref{"sum", "s"}, Ports: []string{"sum"}}
	known := sums
	known.Begin = func(step string) bool { return step != "sums" }
	words, sum, err := b.obtain(known)
	if !errors.Is(err, ErrIncomplete) || len(words) > 0 || sum.Ran != 2 || sum.Failed != 1 {
		t.Errorf("%v, %+v, %v; want two letters, a failure and no sum", words, sum, err)
	}
	if words, _, _ := b.obtain(sums); len(words) != 1 {
		t.Fatalf("sums %v", words)
	}
	words, sum, err = b.obtain(known)
	if !errors.Is(err, ErrIncomplete) || len(words) != 1 || sum.Ran != 0 || sum.Cached != 3 || sum.Failed != 1 {
		t.Errorf("%v, %+v, %v; want the sum that is known", words, sum, err)
	}
}
