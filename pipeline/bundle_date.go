package pipeline

import (
	"context"
	"slices"
	"time"
)

// PackClip is a clip or a panel that something was made from, for PackOptions.Taken.
type PackClip struct {
	Block    *Block
	Path     string   // of its file; of a sequence ""
	Pictures []string // of a sequence, in order
	named    func(Clip) bool
}

// Named tells whether a name in the settings of its block means it.
func (c PackClip) Named(name Clip) bool { return c.named(name) }

// taken notes when a file that something was made from was taken.
func (p *packing) taken(ctx context.Context, b *Block, f *inputFile) {
	if p.o.Date != "" || p.o.Taken == nil {
		return
	}
	c := PackClip{Block: b, Path: f.path, named: func(name Clip) bool {
		id, ok := p.g.meant(ctx, b, name)
		return ok && id == f.id
	}}
	if f.pictures != nil {
		c.Path = ""
	}
	for _, q := range f.pictures {
		c.Pictures = append(c.Pictures, q.path)
	}
	if at := p.o.Taken(c); at > 0 {
		p.times = append(p.times, at)
	}
}

// date is the day that a pack is dated with. A crate must have a date, and that of the packing would differ from pack to pack: it is the
// one stated, or the day, in UTC, of the middle one of what it was made from that tells a time; where nobody knows, a fixed one.
func (p *packing) date() string {
	switch {
	case p.o.Date != "":
		return p.o.Date
	case len(p.times) == 0:
		return Undated
	}
	slices.Sort(p.times)
	return time.Unix(0, p.times[len(p.times)/2]).UTC().Format(time.DateOnly)
}
