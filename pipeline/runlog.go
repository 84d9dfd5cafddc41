package pipeline

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"time"
)

// RunLog is what one run did. It differs from run to run, and so is no part of any content: it stands beside.
type RunLog struct {
	Ended time.Time
	Kinds []RunLogKind // in the order of the work
}

// RunLogKind is what one run did of the parts of one kind of a block.
type RunLogKind struct {
	Part                         string // block and part, as "stack.panels/mean"
	Ran, Cached, Failed, Skipped int
	Seconds                      float64 // that they ran, together
}

// Ran is how many parts were computed.
func (l RunLog) Ran() (n int) {
	for _, k := range l.Kinds {
		n += k.Ran
	}
	return n
}

// FolderLog is two files of a folder: what the last run that computed something did, and what the last run of all warned of. A record holds
// the warnings of the parts behind a value; a run knows of more: of blocks that were cut into parts, of clips that fell out.
type FolderLog struct {
	File  string
	Write func(RunLog) []byte

	WarningsFile  string
	WriteWarnings func([]Warning) []byte // nothing in it may tell when or where
}

// told are all warnings of the run so far and what failed in it, without names and paths of files, in an order of their own.
func (g *graph) told() []Warning {
	g.mu.Lock()
	out, nodes, unread := slices.Collect(maps.Keys(g.warnedOf)), slices.Clone(g.nodes), maps.Clone(g.unread)
	g.mu.Unlock()
	for _, n := range nodes {
		select {
		case <-n.done:
		default:
			continue
		}
		if n.state != Failed {
			continue
		}
		what := fmt.Sprintf("%s/%s failed, and what needs it is left out: the run said why", n.block, n.part.Name)
		if !n.part.Item.ID.IsZero() {
			what = ClipName(n.part.Item.ID) + ": " + what
		}
		out = append(out, Warning{"part-failed", what})
	}
	for ref, n := range unread {
		out = append(out, Warning{"file-unread", fmt.Sprintf("%d of the files of %s could not be read and are left out: the run said why", n, ref)})
	}
	slices.SortFunc(out, func(a, b Warning) int { return cmp.Or(cmp.Compare(a.Text, b.Text), cmp.Compare(a.Code, b.Code)) })
	return slices.Compact(out)
}

// log tells what was done of the parts that have settled.
func (g *graph) log(ended time.Time) RunLog {
	l := RunLog{Ended: ended}
	at := map[string]int{}
	g.mu.Lock()
	nodes := slices.Clone(g.nodes)
	g.mu.Unlock()
	blocks := map[Ref]int{}
	for i, b := range g.man.Blocks {
		blocks[Ref{b.Kind, b.Name}] = i
	}
	slices.SortStableFunc(nodes, func(a, b *node) int { return cmp.Compare(blocks[a.block], blocks[b.block]) })
	for _, n := range nodes {
		select {
		case <-n.done:
		default:
			continue
		}
		name := n.block.String() + "/" + n.part.Name
		i, ok := at[name]
		if !ok {
			i = len(l.Kinds)
			at[name] = i
			l.Kinds = append(l.Kinds, RunLogKind{Part: name})
		}
		k := &l.Kinds[i]
		switch n.state {
		case Ran:
			k.Ran++
			k.Seconds += n.seconds
		case Cached:
			k.Cached++
		case Failed:
			k.Failed++
		case Skipped:
			k.Skipped++
		}
	}
	return l
}
