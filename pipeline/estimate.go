package pipeline

import (
	"path"
	"regexp"
)

// Size is what is known of a clip before it is worked on.
type Size struct {
	ID       ID
	Frames   float64
	Pixels   float64 // of a frame
	Channels float64 // of the panel that it becomes: 1 or 3
	Laid     float64 // bytes of a frame that is laid out in the cache; 0: none is
	Fine     float64 // pixels of the pictures made of it to one of a frame, along a side
}

// Cost is what a part is expected to take, on the machine and with the clips that
// the figures were measured with. It is scaled by what earlier runs took here.
type Cost struct {
	Seconds  float64 // of one worker
	Parallel float64 // share of them that idle workers may take over, 0…1
	Cache    float64 // bytes that it keeps in the cache
	File     float64 // bytes of the file that is delivered of it
}

// Guess is a part that a block will probably be cut into.
type Guess struct {
	Kind string
	File string // what is delivered of it, relative to the output folder; "" for nothing
	Of   []Size // the clips that it is about: one, or all
}

// Costs is what the steps know of their parts in advance. The kind of a part is
// its step and name, as in stacks/mean, without a number at the name's end, and
// of a file with its ending.
type Costs interface {
	// Size reads a clip's size off the facts of the part that indexes it.
	Size(facts []Fact) (Size, bool)
	// Fine tells how many pixels a block's pictures have, along a side, to one of a frame.
	Fine(m *Manifest, b *Block) float64
	// Cost returns what a part made of these clips is expected to take.
	Cost(kind string, of []Size) Cost
	// Guess lists what a block will be cut into, made of these clips.
	Guess(m *Manifest, b *Block, clips []Size) []Guess
}

// Forecast is what a run is expected to do.
type Forecast struct {
	Run, Cached int     // parts
	Seconds     float64 // until it is done
	CacheBytes  int64   // that it writes into the cache
	OutBytes    int64   // that it writes into the output folder
	OutGrowth   int64   // that the output folder needs on top of what it holds, at the most
	Learned     bool    // from earlier runs with this cache; else from figures that came with the program
	Exact       bool    // no part depends on a result that is not there yet: Run and Cached are no guess
}

var numberAtEnd = regexp.MustCompile(`-\d+$`)

// kindOf is what parts of like cost have in common.
func kindOf(n *node) string {
	return n.step + "/" + numberAtEnd.ReplaceAllString(n.part.Name, "") + path.Ext(n.part.Label)
}

// perPart is what a part's action text, facts and index entries take in the
// cache, in bytes, beside its outputs: about, as measured on small nights.
const perPart = 20e3

// expected is a cost scaled to this machine.
func (e *executor) expected(kind string, of []Size) Cost {
	if e.costs == nil {
		return Cost{Seconds: 1}
	}
	c, r := e.costs.Cost(kind, of), e.rates.of(kind)
	c.Seconds *= r.Time * e.machine
	c.Cache = float64(c.Cache*r.Cache) + perPart
	c.File *= r.File
	return c
}
