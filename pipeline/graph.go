package pipeline

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"plenilune/cache"
)

// ErrPending is returned by an Expansion while it is not known, without running
// a part, how a block will be cut.
var ErrPending = errors.New("depends on a part that has not run")

// errUpstream marks a part that could not run because an earlier one failed.
var errUpstream = errors.New("an earlier step failed")

// State tells how a part ended.
type State string

// The states of a part, as --json prints them.
const (
	Ran     State = "ran"
	Cached  State = "cached"
	Failed  State = "failed"
	Skipped State = "skipped"
)

// Node is a part in the graph of one run.
type Node struct{ n *node }

// Out returns the value on an output port; it panics on a port the part has not.
func (n *Node) Out(port string) Value {
	if !slices.Contains(n.n.part.Out, port) {
		panic(fmt.Sprintf("pipeline: part %s has no output %q", n.n.part.Name, port))
	}
	return Value{node: n.n, port: port}
}

type node struct {
	step  string
	block Ref
	part  Part

	start sync.Once
	asked atomic.Bool
	done  chan struct{}

	// set before done is closed
	err     error
	state   State
	key     ID
	text    []byte
	outs    map[string]ID
	notes   notes
	seconds float64
	busy    float64 // seconds that workers gave, together
	bytes   int64   // kept in the cache

	mu       sync.Mutex
	began    time.Time
	progress float64
}

// notes is what a part stated on the way, kept with its outputs.
type notes struct {
	Facts    []Fact    `json:"facts,omitempty"`
	Warnings []Warning `json:"warnings,omitempty"`
}

// blockRun is one manifest block being expanded.
type blockRun struct {
	block    *Block
	expanded chan struct{}
	items    []Item
	err      error
}

// graph is the state of one run, or of one look ahead by Why.
type graph struct {
	man    *Manifest
	cache  *cache.Cache
	dry    bool
	wanted func(block Ref, file string) bool // nil: everything
	obs    func(Event)
	exec   *executor // nil in a dry graph
	files  *fileSet

	sizes    map[ID]Size // of the clips, once they are known
	foreseen *forecast   // nil in a dry graph, and where nothing was foretold

	mu         sync.Mutex
	blocks     map[Ref]*blockRun
	nodes      []*node
	deliveries []*delivery
	warned     map[Warning]bool
	instead    map[Ref]string   // see Expansion.InsteadOfSite
	warnedOf   map[Warning]bool // the same, with clips by their content
	unread     map[Ref]int      // files of a block that could not be read
	working    sync.WaitGroup
	inflight   map[ID]chan struct{}
}

type delivery struct {
	Delivery
	block Ref
}

func newGraph(m *Manifest, c *cache.Cache) *graph {
	g := &graph{man: m, cache: c, blocks: map[Ref]*blockRun{}, warned: map[Warning]bool{}, warnedOf: map[Warning]bool{},
		unread: map[Ref]int{}, instead: map[Ref]string{},
		inflight: map[ID]chan struct{}{}, obs: func(Event) {}}
	for _, b := range m.Blocks {
		g.blocks[Ref{b.Kind, b.Name}] = &blockRun{block: b, expanded: make(chan struct{})}
	}
	return g
}

// expandAll expands every wanted block, each waiting for those it names.
func (g *graph) expandAll(ctx context.Context) {
	for _, b := range g.man.Blocks {
		br := g.blocks[Ref{b.Kind, b.Name}]
		g.working.Go(func() {
			defer close(br.expanded)
			br.items, br.err = g.expandBlock(ctx, br.block)
		})
	}
}

func (g *graph) expandBlock(ctx context.Context, b *Block) ([]Item, error) {
	ref := Ref{b.Kind, b.Name}
	if g.wanted != nil && !g.wanted(ref, "") {
		return nil, ErrPending
	}
	items, unread, err := g.files.items(ctx, b)
	if err != nil {
		return nil, err
	}
	if len(unread) > 0 {
		g.mu.Lock()
		g.unread[ref] = len(unread)
		g.mu.Unlock()
	}
	for _, err := range unread {
		g.obs(Event{Step: &StepEvent{Step: ref.String() + "/read", State: Failed, Err: err}})
	}
	g.warnOfMissing(b, items)
	for _, s := range b.Steps {
		x := &Expansion{run: &expandRun{ctx: ctx, g: g, block: b, step: s, items: items}}
		if err := s.Step.Expand(x); err != nil {
			return nil, fmt.Errorf("%s: %w", ref, err)
		}
		if x.run.emitted {
			items = x.run.out
		}
	}
	return items, nil
}

// add queues a part; it runs when something demands it.
func (g *graph) add(step string, block Ref, p Part) *node {
	n := &node{step: step, block: block, part: p, done: make(chan struct{})}
	g.mu.Lock()
	g.nodes = append(g.nodes, n)
	g.mu.Unlock()
	return n
}

// demand sees to it that the part is settled, once.
func (g *graph) demand(ctx context.Context, n *node) {
	n.start.Do(func() {
		n.asked.Store(true)
		g.working.Go(func() {
			defer close(n.done)
			g.settle(ctx, n)
		})
	})
}

// await demands what a value comes from and waits for it.
func (g *graph) await(ctx context.Context, v Value) (ID, error) {
	if v.file != nil {
		return v.file.id, nil
	}
	if v.node == nil {
		return ID{}, errors.New("an absent value was awaited")
	}
	g.demand(ctx, v.node)
	select {
	case <-v.node.done:
	case <-ctx.Done():
		return ID{}, ctx.Err()
	}
	if v.node.err != nil {
		return ID{}, v.node.err
	}
	return v.node.outs[v.port], nil
}

// settle brings a part to its end: found in the cache, run, failed or skipped.
func (g *graph) settle(ctx context.Context, n *node) {
	ins, err := g.bind(ctx, n.part.In)
	if err != nil {
		n.err, n.state = err, Skipped
		if !errors.Is(err, ErrPending) && !errors.Is(err, context.Canceled) {
			if !errors.Is(err, errUpstream) {
				n.err = fmt.Errorf("%w: %w", errUpstream, err)
			}
			g.report(n)
		}
		return
	}
	if n.text, err = actionText(n.step, n.part, ins); err != nil {
		n.err, n.state = err, Failed
		g.report(n)
		return
	}
	n.key = cache.Sum(n.text)
	unlock, err := g.lockKey(ctx, n.key)
	if err != nil {
		n.err, n.state = err, Skipped
		return
	}
	defer unlock()
	if g.recall(n) {
		g.standIn(n)
		g.report(n)
		return
	}
	if g.dry && !g.quick(n) {
		n.err = ErrPending
		return
	}
	n.err = g.exec.run(ctx, g, n, ins)
	if errors.Is(n.err, ErrPending) {
		return
	}
	if n.err != nil {
		n.state, n.err = Failed, namedError{n.err, g.files.named(n.err.Error())}
		if ctx.Err() != nil {
			n.state = Skipped
			return
		}
	}
	if n.err == nil {
		g.standIn(n)
	}
	if g.dry && n.err == nil {
		g.exec.early.Store(n.key, n)
	}
	g.report(n)
}

// standIn lets what a part made in a clip's stead go by the clip's name.
func (g *graph) standIn(n *node) {
	if n.part.StandIn != "" {
		g.files.alias(n.outs[n.part.StandIn], n.part.Item.ID)
	}
}

// quick tells a part that is worth running to foretell the others: one made of
// files alone only looks at them, and later blocks are cut by what it finds.
func (g *graph) quick(n *node) bool {
	return g.exec != nil && n.part.StandIn == "" && len(n.part.In) > 0 && !slices.ContainsFunc(n.part.In, func(i Input) bool { return i.Value.file == nil })
}

// bind waits for the inputs and gives them to the part. Every input is demanded
// before the first is waited for, so that they are worked on side by side.
func (g *graph) bind(ctx context.Context, in []Input) ([]boundInput, error) {
	for _, i := range in {
		if i.Value.node != nil {
			g.demand(ctx, i.Value.node)
		}
	}
	out := make([]boundInput, len(in))
	var pending error
	for k, i := range in {
		id, err := g.await(ctx, i.Value)
		if errors.Is(err, ErrPending) {
			pending = err
			continue
		}
		if err != nil {
			return nil, err
		}
		out[k] = boundInput{i.Port, sourceOf(id, cacheStore{g.cache}, i.Value.file)}
	}
	return out, pending
}

// lockKey lets one part at a time work on a key: two blocks may ask for the same.
func (g *graph) lockKey(ctx context.Context, key ID) (unlock func(), err error) {
	for {
		g.mu.Lock()
		busy, ok := g.inflight[key]
		if !ok {
			mine := make(chan struct{})
			g.inflight[key] = mine
			g.mu.Unlock()
			return func() {
				g.mu.Lock()
				delete(g.inflight, key)
				g.mu.Unlock()
				close(mine)
			}, nil
		}
		g.mu.Unlock()
		select {
		case <-busy:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}
