package pipeline

import (
	"context"
	"fmt"
)

// Part is one unit of work: the smallest thing that is cached and rerun. Its
// key is made from Step, Name, Version, Settings and the content of In; whatever
// else varied the result would be a defect.
type Part struct {
	Name     string  // "grade", "mean"; unique within block and item, together with Label
	Label    string  // tells like parts apart for people, "disk.png"; never in the key
	Item     Item    // the clip or panel that it is about; zero for the whole block
	Version  int     // raised whenever equal settings and inputs give other bytes
	Settings any     // a struct of every setting that varies the result, or nil
	In       []Input // in port order
	Out      []string
	// StandIn, if not empty, names an output that later parts read instead of the item's clip, and that goes by its name.
	StandIn string
	Memory  int64 // bytes that Run needs at the most, for the budget
	Run     func(context.Context, *Task) error
	Lineage string // the output that holds, as bytes, the record found in the file that the part reads; "": none
}

// called is the part's name with its label.
func (p Part) called() string {
	if p.Label == "" {
		return p.Name
	}
	return p.Name + " " + p.Label
}

// Input joins a value to a port. A port may stand several times, in order.
type Input struct {
	Port  string
	Value Value
}

// Item is one thing a block produces: a clip's tables, a panel, a disk. ID is
// the content id of the capture it stems from, or zero for a whole block.
type Item struct {
	ID     ID
	Values map[string]Value
}

// With returns a copy of the item that also has the value v.
func (it Item) With(port string, v Value) Item {
	m := make(map[string]Value, len(it.Values)+1)
	for k, w := range it.Values {
		m[k] = w
	}
	m[port] = v
	return Item{ID: it.ID, Values: m}
}

// Value is something that is, or will be, in the cache: a part's output port, or
// a file of the user's. The zero Value is absent.
type Value struct {
	node *node
	port string
	file *inputFile
}

// IsZero tells whether the value is absent.
func (v Value) IsZero() bool { return v.node == nil && v.file == nil }

// Fact is one thing that a part measured on the way, for people and records.
type Fact struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`           // "px", "arcsec", "fraction", "frames", "" for a bare count
	Text  string  `json:"text,omitempty"` // where a word says it better than a number
}

// Warning is something that the user should know though the work went on. Text
// may hold {clip:ID}, which is shown as the clip's name.
type Warning struct {
	Code string `json:"code"` // kebab-case, stable: "clip-cut-short", "panel-not-placed"
	Text string `json:"text"`
}

// ClipName is how a warning's text speaks of a clip whose name a part never sees.
func ClipName(id ID) string { return "{clip:" + id.String() + "}" }

// PictureName is how a warning's text speaks of picture i, counted from 0, of a clip that is a sequence.
func PictureName(clip ID, i int) string { return fmt.Sprintf("{picture:%s:%d}", clip, i) }
