package pipeline

import (
	"context"
	"errors"
	"os"
	"path/filepath"

	"plenilune/cache"
)

// forecast is a Forecast with what it takes to tell the time left.
type forecast struct {
	Forecast
	sizes  map[ID]Size
	blocks map[Ref]guessed
}

// guessed is what all parts of a block are expected to take.
type guessed struct {
	parts         int
	shared, alone float64 // seconds of workers, of parts that run side by side and of those that do not
}

// foresee expands the manifest as far as the cache and the indices of the clips
// allow, and adds up what is left to do. Of a block that cannot be cut yet, the
// steps' guess stands.
func foresee(ctx context.Context, g *graph, o Options) (*forecast, error) {
	g.dry = true
	g.expandAll(ctx)
	g.working.Wait()
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	g.sizes = g.readSizes()
	f := &forecast{sizes: g.sizes, blocks: map[Ref]guessed{}}
	f.Exact = true
	if g.hasWork() {
		g.exec.machine = slowness(g.exec.jobs)
	}
	t := tally{f: f, g: g, outDir: o.OutDir}
	for _, b := range g.man.Blocks {
		t.block(b)
	}
	for _, d := range g.deliveries {
		t.delivery(d)
	}
	f.Seconds = t.shared/float64(g.exec.jobs) + t.alone
	f.OutGrowth += t.largest // a file is written beside the one that it replaces
	f.Learned = g.exec.rates.All.Runs > 0
	return f, nil
}

// readSizes collects the sizes of the clips that are indexed.
func (g *graph) readSizes() map[ID]Size {
	out := map[ID]Size{}
	for _, n := range g.nodes {
		if n.err != nil || n.part.Item.ID.IsZero() {
			continue
		}
		if s, ok := g.exec.costs.Size(n.notes.Facts); ok {
			s.ID = g.files.stem(n.part.Item.ID)
			out[s.ID] = s
		}
	}
	return out
}

// hasWork tells whether anything is left to compute.
func (g *graph) hasWork() bool {
	for _, n := range g.nodes {
		if g.counts(n) && errors.Is(n.err, ErrPending) {
			return true
		}
	}
	for ref, b := range g.blocks {
		if errors.Is(b.err, ErrPending) && (g.wanted == nil || g.wanted(ref, "")) {
			return true
		}
	}
	return false
}

// counts tells whether anything asks for a part.
func (g *graph) counts(n *node) bool { return n.asked.Load() }

// of returns the clips that a part is about, as far as they are known and count.
func (g *graph) of(n *node) []Size {
	if g.exec.costs == nil {
		return nil
	}
	b := g.man.Block(n.block)
	if s, ok := g.sizes[n.part.Item.ID]; ok {
		s.Fine = g.exec.costs.Fine(g.man, b)
		return []Size{s}
	}
	return g.clipSizes(b)
}

// clipSizes returns the clips that a block is made of, each content once.
func (g *graph) clipSizes(b *Block) []Size {
	paths := g.man.clipsOf(b, nil)
	var out []Size
	fine := g.exec.costs.Fine(g.man, b)
	seen := map[ID]bool{}
	for _, p := range paths {
		id, ok := g.files.known(p)
		if s, sized := g.sizes[id]; ok && sized && !seen[id] {
			seen[id], s.Fine = true, fine
			out = append(out, s)
		}
	}
	return out
}

// tally adds up a forecast.
type tally struct {
	f             *forecast
	g             *graph
	outDir        string
	shared, alone float64
	largest       int64 // of the files to be written
}

// seconds are of workers: parts about one clip share the workers, others have
// them to themselves.
func (t *tally) seconds(c Cost, one bool) (shared, alone float64) {
	if one {
		return c.Seconds, 0
	}
	return 0, c.Seconds * (1 - c.Parallel + c.Parallel/float64(t.g.exec.jobs))
}

// slot is where a guess and a part meet.
type slot struct {
	kind string
	clip ID
}

func (t *tally) block(b *Block) {
	ref := Ref{b.Kind, b.Name}
	if t.g.wanted != nil && !t.g.wanted(ref, "") {
		return
	}
	have := map[slot]int{}
	for _, n := range t.g.nodes {
		if n.block == ref && t.g.counts(n) {
			have[slot{kindOf(n), n.part.Item.ID}]++
			t.node(n)
		}
	}
	if !errors.Is(t.g.blocks[ref].err, ErrPending) {
		return
	}
	t.f.Exact = false
	for _, q := range t.g.exec.costs.Guess(t.g.man, b, t.g.clipSizes(b)) {
		s := slot{kind: q.Kind}
		if len(q.Of) == 1 {
			s.clip = q.Of[0].ID
		}
		if have[s] > 0 {
			have[s]--
			continue
		}
		c := t.g.exec.expected(q.Kind, q.Of)
		t.add(ref, c, len(q.Of) == 1, true)
		t.file(q.File, c)
	}
}

func (t *tally) node(n *node) {
	c := t.g.exec.expected(kindOf(n), t.g.of(n))
	pending := errors.Is(n.err, ErrPending)
	switch {
	case n.err != nil && !pending:
		return // told when the run comes to it
	case n.state == Cached:
		t.f.Cached++
	case n.state == Ran:
		t.f.Run++
	}
	t.add(Ref{n.block.Kind, n.block.Name}, c, !n.part.Item.ID.IsZero(), pending)
}

func (t *tally) add(ref Ref, c Cost, one, pending bool) {
	shared, alone := t.seconds(c, one)
	q := t.f.blocks[ref]
	t.f.blocks[ref] = guessed{q.parts + 1, q.shared + shared, q.alone + alone}
	if pending {
		t.f.Run++
		t.shared, t.alone = t.shared+shared, t.alone+alone
		t.f.CacheBytes += int64(c.Cache)
	}
}

// delivery counts a file that is missing, or whose picture will change.
func (t *tally) delivery(d *delivery) {
	_, err := os.Stat(filepath.Join(t.outDir, filepath.FromSlash(d.File)))
	wanted, sum := err != nil, Cost{}
	for _, v := range d.streams() {
		n := v.node
		if n == nil || n.err != nil && !errors.Is(n.err, ErrPending) {
			return
		}
		wanted = wanted || n.err != nil
		sum.File += t.g.exec.expected(kindOf(n), t.g.of(n)).File
	}
	if wanted {
		t.file(d.File, sum)
	}
}

func (t *tally) file(name string, c Cost) {
	if name == "" {
		return
	}
	size, grows := int64(c.File), int64(c.File)
	if had, err := sizeAt(filepath.Join(t.outDir, filepath.FromSlash(name))); err == nil {
		size, grows = max(size, had), max(size-had, 0)
	}
	t.f.OutBytes += size
	t.f.OutGrowth += grows
	t.largest = max(t.largest, size)
}

// known returns the content id of what a file stands for, if it was identified.
func (s *fileSet) known(path string) (ID, bool) {
	s.mu.Lock()
	slot := s.byPath[path]
	s.mu.Unlock()
	if slot == nil || slot.file == nil {
		return ID{}, false
	}
	return s.stem(slot.file.id), true
}

// toRead is how many bytes of clips have to be read before they are known.
func (s *fileSet) toRead(m *Manifest) int64 {
	var sum int64
	for _, b := range m.Blocks {
		for _, p := range b.files() {
			stamp, err := cache.StampOf(p)
			if err != nil {
				continue
			}
			if _, ok := s.cache.Recall(stamp); !ok || s.rehash {
				sum += stamp.Size
			}
		}
	}
	return sum
}
