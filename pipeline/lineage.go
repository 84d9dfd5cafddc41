package pipeline

import (
	"fmt"

	"plenilune/cache"
)

// lineageOf gathers what captures tell of themselves, each part and capture once, in the order in which they are met.
type lineageOf struct {
	lineage RecordLineage
	seen    map[ID]bool // parts by key, captures by content
	err     error
}

// node takes in the record that a part found in the file it reads.
func (l *lineageOf) node(c *cache.Cache, n *node) {
	if n.part.Lineage == "" || l.err != nil {
		return
	}
	b, err := readStream(cacheStore{c}, n.outs[n.part.Lineage])
	if err != nil {
		l.err = fmt.Errorf("read the record that a capture holds: %w", err)
		return
	}
	r, err := ParseRecord(b)
	if err != nil {
		l.err = fmt.Errorf("a capture's own record: %w", err)
		return
	}
	for _, in := range n.part.In {
		if f := in.Value.file; f != nil {
			l.lineage.Made = append(l.lineage.Made, LineageOf{f.id, r.Output})
		}
	}
	if r.Lineage != nil {
		l.lineage.Made = append(l.lineage.Made, r.Lineage.Made...)
		l.add(r.Lineage.Parts, r.Lineage.Captures)
	}
	l.add(r.Parts, r.Captures)
}

func (l *lineageOf) add(parts []RecordPart, captures []RecordCapture) {
	if l.seen == nil {
		l.seen = map[ID]bool{}
	}
	for _, p := range parts {
		if !l.seen[p.Key] {
			l.seen[p.Key] = true
			l.lineage.Parts = append(l.lineage.Parts, p)
		}
	}
	for _, c := range captures {
		if !l.seen[c.ID] {
			l.seen[c.ID] = true
			l.lineage.Captures = append(l.lineage.Captures, c)
		}
	}
}

// all is what was gathered, nil if nothing was.
func (l *lineageOf) all() *RecordLineage {
	if len(l.lineage.Made) == 0 {
		return nil
	}
	return &l.lineage
}
