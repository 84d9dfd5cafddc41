package pipeline

import (
	"cmp"
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

// FolderLog is a file of a folder in which the last run that computed something is told.
type FolderLog struct {
	File  string
	Write func(RunLog) []byte
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
