package pipeline

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
)

// Expansion is what a step sees while it cuts a block into parts. Its methods
// may wait for earlier parts; pixels are never looked at here.
type Expansion struct{ run *expandRun }

type expandRun struct {
	ctx     context.Context
	g       *graph
	block   *Block
	step    BoundStep
	items   []Item
	out     []Item
	emitted bool
}

// Delivery is a file, or a folder of files, for the user's output folder.
type Delivery struct {
	File    string // relative to the output folder, with slashes
	Encoded Value  // bytes of the file without its record
	// Splice puts a record into the encoded bytes, giving the final file. Nil delivers as is.
	Splice func(encoded, record []byte) ([]byte, error)
	// Version is raised whenever Splice gives other bytes for equal inputs.
	Version int
	// Beside asks for the record in a file of its own, for formats that hold only its id.
	Beside bool
	// Folder, if not nil, makes it a folder, in which the record stands as record.json; Splice and Beside mean nothing then.
	Folder *Folder
}

// Name returns the block's label.
func (x *Expansion) Name() string { return x.run.block.Name }

// Settings returns what Step.New returned, decoded from the block.
func (x *Expansion) Settings() any { return x.run.step.Settings }

// Night returns what the manifest says of the whole night.
func (x *Expansion) Night() Night { return x.run.g.man.Night }

// Items returns what earlier steps on this block emitted; for the first step of
// a block with files, one item per distinct content with the value "file".
func (x *Expansion) Items() []Item { return x.run.items }

// Upstream returns the products of other blocks, in the order of refs, then of
// ids. It waits for their expansion only.
func (x *Expansion) Upstream(refs ...Ref) ([]Item, error) {
	var out []Item
	for _, r := range refs {
		b, ok := x.run.g.blocks[r]
		if !ok {
			return nil, fmt.Errorf("there is no block %s", r)
		}
		select {
		case <-b.expanded:
		case <-x.run.ctx.Done():
			return nil, x.run.ctx.Err()
		}
		if errors.Is(b.err, ErrPending) {
			return nil, b.err
		}
		if b.err != nil {
			return nil, fmt.Errorf("%w: %w", errUpstream, b.err)
		}
		items := slices.Clone(b.items)
		slices.SortStableFunc(items, func(a, b Item) int { return cmp.Compare(a.ID.String(), b.ID.String()) })
		out = append(out, items...)
	}
	return out, nil
}

// Behind returns those products of blocks of some kinds whose value on a port a block's product, an item of Upstream(ref), was made
// from, however far back.
func (x *Expansion) Behind(it Item, ref Ref, port string, kinds ...string) ([]Item, error) {
	var refs []Ref
	seen := map[Ref]bool{ref: true}
	for todo := []Ref{ref}; len(todo) > 0; todo = todo[1:] {
		if slices.Contains(kinds, todo[0].Kind) {
			refs = append(refs, todo[0])
		}
		b := x.run.g.man.Block(todo[0])
		if b == nil {
			continue
		}
		for _, r := range b.Refs {
			if !seen[r] {
				seen[r] = true
				todo = append(todo, r)
			}
		}
	}
	items, err := x.Upstream(refs...)
	if err != nil {
		return nil, err
	}
	behind := lineage(it)
	return slices.DeleteFunc(items, func(other Item) bool { return !behind[other.Values[port].node] }), nil
}

// lineage is every part that an item's values are made by or from.
func lineage(it Item) map[*node]bool {
	seen := map[*node]bool{}
	var visit func(v Value)
	visit = func(v Value) {
		if v.node == nil || seen[v.node] {
			return
		}
		seen[v.node] = true
		for _, in := range v.node.part.In {
			visit(in.Value)
		}
	}
	for _, v := range it.Values {
		visit(v)
	}
	return seen
}

// Add queues a part.
func (x *Expansion) Add(p Part) *Node {
	g, ref := x.run.g, Ref{x.run.block.Kind, x.run.block.Name}
	n := g.add(x.run.step.Step.Name, ref, p)
	if g.wanted == nil || g.wanted(ref, "*") {
		g.demand(x.run.ctx, n)
	}
	return &Node{n}
}

// Table waits for a small table and decodes it. An error must be returned from
// Expand as it is, unless the table is one of many items' and the item is dropped
// and the error is not ErrPending.
func (x *Expansion) Table(v Value, dst any) error {
	id, err := x.run.g.await(x.run.ctx, v)
	if err != nil {
		return err
	}
	b, err := x.run.g.cache.Get(id)
	if err != nil {
		return fmt.Errorf("read table %s: %w", id.Short(), err)
	}
	if err := json.Unmarshal(b, dst); err != nil {
		return fmt.Errorf("decode table %s: %w", id.Short(), err)
	}
	return nil
}

// StandFor states that a file, an item of this block, holds what was made of another of content id stem, which need not
// be at hand: where a setting names the file, the product of that id is meant, and it goes by the file's name.
func (x *Expansion) StandFor(file, stem ID) { x.run.g.files.standFor(file, stem) }

// Alive waits for all values of the items and drops the items of which one
// failed, so that one bad clip never stops the night.
func (x *Expansion) Alive(items []Item) ([]Item, error) {
	for _, it := range items {
		for _, v := range it.Values {
			if v.node != nil {
				x.run.g.demand(x.run.ctx, v.node)
			}
		}
	}
	var out []Item
	var pending error
	for _, it := range items {
		ok := true
		for _, v := range it.Values {
			_, err := x.run.g.await(x.run.ctx, v)
			if errors.Is(err, ErrPending) || errors.Is(err, context.Canceled) {
				pending = err
			}
			ok = ok && err == nil
		}
		if ok {
			out = append(out, it)
		}
	}
	return out, pending
}

// Emit states the product of this step on this block.
func (x *Expansion) Emit(items ...Item) {
	x.run.out = append(x.run.out, items...)
	x.run.emitted = true
}

// Deliver asks for a file in the output folder.
func (x *Expansion) Deliver(d Delivery) {
	g, ref := x.run.g, Ref{x.run.block.Kind, x.run.block.Name}
	if g.wanted != nil && !g.wanted(ref, d.File) {
		return
	}
	g.mu.Lock()
	wanted := &delivery{d, ref}
	g.deliveries = append(g.deliveries, wanted)
	g.mu.Unlock()
	for _, v := range wanted.streams() {
		if v.node != nil {
			g.demand(x.run.ctx, v.node)
		}
	}
}

// Warn states something that the user should know, once a run.
func (x *Expansion) Warn(code, text string) {
	x.run.g.warn(Warning{code, text})
}

// InsteadOfSite states, as the text of a block, what the block being expanded would hold if the night said no site, to give the same.
// A manifest that travels without its site carries it.
func (x *Expansion) InsteadOfSite(text string) {
	g, ref := x.run.g, Ref{x.run.block.Kind, x.run.block.Name}
	g.mu.Lock()
	defer g.mu.Unlock()
	g.instead[ref] = text
}
