package pipeline

import (
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"
)

// fakeCosts foretells the fake night: a sum costs a second a clip.
type fakeCosts struct{}

func (fakeCosts) Size(facts []Fact) (Size, bool) {
	for _, f := range facts {
		if f.Name == "letter" {
			return Size{Frames: 1, Pixels: 1, Channels: 1}, true
		}
	}
	return Size{}, false
}

func (fakeCosts) Cost(kind string, of []Size) Cost {
	n := float64(len(of))
	switch kind {
	case "letters/first":
		return Cost{Seconds: n / 100, Cache: 20}
	case "sums/join":
		return Cost{Seconds: n, Parallel: 0.5, Cache: 1000 * n}
	case "files/encode":
		return Cost{Seconds: n / 10, Cache: 100, File: 1e6}
	}
	return Cost{Seconds: math.NaN()}
}

func (fakeCosts) Fine(*Manifest, *Block) float64 { return 1 }

func (fakeCosts) Guess(_ *Manifest, b *Block, clips []Size) []Guess {
	switch b.Kind {
	case "sum":
		return []Guess{{Kind: "sums/join", Of: clips}}
	case "file":
		return []Guess{{Kind: "files/encode", File: "sum.txt", Of: clips}}
	}
	return nil
}

func (b *bench) foretold(text string, o Options) (Forecast, Summary, error) {
	b.t.Helper()
	var f Forecast
	calls := 0
	o.Costs = fakeCosts{}
	then := o.Expect
	o.Expect = func(x Forecast) error {
		f = x
		if calls++; calls > 1 || len(b.steps) > 0 && b.state("sum.s/join") != "" {
			b.t.Error("the forecast comes more than once, or late")
		}
		if then != nil {
			return then(x)
		}
		return nil
	}
	s, err := b.run(text, o)
	return f, s, err
}

func TestForecast(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha", "b": "beta", "c": "gamma"})
	f, s, err := b.foretold(fakeManifest, Options{})
	if err != nil || s.Ran != 5 || s.Cached != 0 {
		t.Fatalf("%+v, %v: looking ahead changes what is reported", s, err)
	}
	if n := b.w.runs.Load(); n != 5 {
		t.Errorf("parts ran %d times, want 5: what ran to look ahead is not run again", n)
	}
	if f.Run != 5 || f.Cached != 0 || f.Exact == false || f.Learned {
		t.Errorf("%+v: want 5 to run", f)
	}
	// Three letters ran already; what is left takes its time, whatever the machine.
	if !(f.Seconds > 0) {
		t.Errorf("%g s expected", f.Seconds)
	}
	if f.OutBytes != 1e6 || f.OutGrowth != 2e6 || f.CacheBytes != 3100+2*perPart {
		t.Errorf("%+v: want 1 MB of output and 43.1 kB of cache", f)
	}

	f, s, err = b.foretold(fakeManifest, Options{})
	if err != nil || f.Run != 0 || f.Cached != 5 || f.Seconds != 0 || f.CacheBytes != 0 || f.OutBytes != 0 || !f.Exact || !f.Learned || s.Ran != 0 {
		t.Errorf("again: %+v, %v: want nothing to do, and something learned", f, err)
	}

	// One clip more: the sum cannot be known, the letters are.
	b.clip("d", "delta")
	if f, s, _ = b.foretold(fakeManifest, Options{}); f.Run != 3 || f.Cached != 3 || s.Ran != 3 || s.Cached != 3 {
		t.Errorf("one more: %+v, then %+v", f, s)
	}
	if f.OutBytes < 20 || f.OutGrowth < 20 {
		t.Errorf("one more: %+v: the file is written anew", f)
	}
	if err := os.Remove(filepath.Join(b.dir, "out", "sum.txt")); err != nil {
		t.Fatal(err)
	}
	if f, _, _ = b.foretold(fakeManifest, Options{}); f.Run != 0 || f.OutBytes == 0 {
		t.Errorf("a file that is gone: %+v", f)
	}
	if f, s, _ = b.foretold(fakeManifest, Options{Fresh: true}); f.Run != 6 || s.Ran != 6 {
		t.Errorf("fresh: %+v, then %+v", f, s)
	}
}

// TestForecastSeesEarlyCutOff: a clip that changed, but not in what is made of it.
func TestForecastSeesEarlyCutOff(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha"})
	b.must(fakeManifest, Options{})
	b.clip("a", "aleph")
	if f, s, _ := b.foretold(fakeManifest, Options{}); f.Run != 1 || s.Ran != 1 || f.Cached != 2 || s.Cached != 2 {
		t.Errorf("%+v, then %+v", f, s)
	}
}

// TestForecastOfBadClips: a clip that fails is told when the run comes to it, once.
func TestForecastOfBadClips(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha", "bad": "!"})
	f, s, err := b.foretold(fakeManifest, Options{})
	if !errors.Is(err, ErrIncomplete) || s.Failed != 1 || s.Ran != 3 || f.Run != 3 {
		t.Errorf("%+v, then %+v, %v", f, s, err)
	}
	failures := 0
	for _, e := range b.seen {
		if e.Step != nil && e.Step.State == Failed {
			failures++
		}
	}
	if failures != 1 {
		t.Errorf("the failure is told %d times", failures)
	}
}

// TestExpectStops: an error of Expect comes back, and nothing is computed but
// what clips there are.
func TestExpectStops(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha", "b": "beta"})
	full := errors.New("no room")
	_, s, err := b.foretold(fakeManifest, Options{Expect: func(Forecast) error { return full }})
	if !errors.Is(err, full) || s.Ran != 0 || b.w.runs.Load() != 2 {
		t.Errorf("%+v, %v after %d parts", s, err, b.w.runs.Load())
	}
	if _, err := os.Stat(filepath.Join(b.dir, "out")); err == nil {
		t.Error("the output folder was made")
	}
	for _, e := range b.seen {
		if e.Step != nil || e.Delivered != nil {
			t.Errorf("told %+v", e)
		}
	}
	if _, s, err = b.foretold(fakeManifest, Options{}); err != nil || s.Ran+s.Cached != 4 {
		t.Errorf("afterwards: %+v, %v", s, err)
	}
}

func TestForecastInterrupted(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha", "b": "@"})
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := Run(ctx, b.load(fakeManifest), b.c, Options{OutDir: filepath.Join(b.dir, "out"), Jobs: 1, Memory: 1 << 20, Costs: fakeCosts{}})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
}

// TestLearning: rates go half way, on a scale of ratios, from old to new, and one
// run without a measure leaves them.
func TestLearning(t *testing.T) {
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got/want-1) > 1e-9 {
			t.Errorf("%s is %g, want %g", what, got, want)
		}
	}
	r := rate{Time: 1, Cache: 1, File: 1}
	r = r.learn(spent{took: Cost{Seconds: 8, Cache: 3}, cost: Cost{Seconds: 2, Cache: 6}})
	near("the first time", r.Time, 4)
	near("the first cache", r.Cache, 0.5)
	near("a file that was not written", r.File, 1)
	r = r.learn(spent{took: Cost{Seconds: 2}, cost: Cost{Seconds: 2}})
	near("the second time", r.Time, 2)
	near("a cache without a measure", r.Cache, 0.5)
	r = r.learn(spent{took: Cost{Seconds: 1e30}, cost: Cost{Seconds: 1}})
	if r.Time > 100 {
		t.Errorf("one odd run makes it %g", r.Time)
	}
	all := rates{All: rate{Time: 3}, Kinds: map[string]rate{"a": {Time: 5}}}
	near("a known kind", all.of("a").Time, 5)
	near("another kind", all.of("b").Time, 3)
}

// TestTimeLeft: before anything ran it is the forecast's, then what the run took
// corrects it, and at the end it is nothing.
func TestTimeLeft(t *testing.T) {
	g := &graph{exec: newExecutor(2, 1), foreseen: &forecast{}}
	left := ahead{shared: 16, alone: 2}
	if s := g.secondsLeft(left, 0, 0, 10); s != 10 {
		t.Errorf("before anything ran: %g s, want 10", s)
	}
	if s := g.secondsLeft(left, 20, 10, 10); s < 15 || s > 20 {
		t.Errorf("all took twice as long: %g s, want nearly 20", s)
	}
	if s := g.secondsLeft(ahead{}, 20, 10, 10); s != 0 {
		t.Errorf("at the end: %g s", s)
	}
	g.foreseen = nil
	if s := g.secondsLeft(left, 0, 0, 10); s >= 0 {
		t.Errorf("with nothing to judge by: %g s", s)
	}
}

func TestSlownessIsANumber(t *testing.T) {
	if s := slowness(2); !(s > 0) || math.IsInf(s, 0) {
		t.Errorf("this machine is %g times as slow", s)
	}
}

// A run of which nothing is foretold still tells how far it is, however long it takes.
func TestProgressWithoutCosts(t *testing.T) {
	g := newGraph(&Manifest{Blocks: []*Block{{Kind: "clips", Name: "x"}}}, nil)
	g.exec = newExecutor(1, 1<<20)
	n := &node{block: Ref{"clips", "x"}, done: make(chan struct{})}
	n.asked.Store(true)
	g.nodes = []*node{n}
	if p := g.progressNow(); p.Known != 1 || p.Parts != 0 {
		t.Errorf("%d of %d parts, want none of 1", p.Parts, p.Known)
	}
}
