package pipeline

// Event is something that happens in a run. Exactly one of the fields is set.
type Event struct {
	Step      *StepEvent
	Progress  *ProgressEvent
	Delivered *DeliveredEvent
	Warning   *Warning
}

// StepEvent tells that a part came to its end.
type StepEvent struct {
	Step    string // "stack.panels:x1/align"
	Block   Ref    // what of that stands before the colon
	Item    ID     // the clip that it is about, by content; zero for the whole block
	Clip    string // that clip's short name
	Part    string // what stands behind the slash, without a label
	State   State
	Seconds float64
	Key     ID
	Facts   []Fact
	Err     error
}

// ProgressEvent tells how far the run is.
type ProgressEvent struct {
	Done        float64 // share of the work known so far, 0…1
	SecondsLeft float64 // negative while there is nothing to judge by
	Working     []string
	Parts       int   // settled
	Known       int   // settled, waiting, and expected of blocks that are not cut yet
	Read        int64 // bytes of clips that were read, before anything runs, to know their content
	ToRead      int64 // bytes of clips to be read so; 0 when that is over
}

// DeliveredEvent tells that a file stands in the output folder.
type DeliveredEvent struct {
	Path    string
	ID      ID
	Changed bool // it was written, rather than found as it should be
}

// display is the name of a part as people read it.
func (g *graph) display(n *node) string {
	s := n.block.String()
	if name := g.clipName(n); name != "" {
		s += ":" + name
	}
	return s + "/" + n.part.called()
}

// clipName is what the clip that a part is about is called; empty for a whole block.
func (g *graph) clipName(n *node) string {
	if n.part.Item.ID.IsZero() {
		return ""
	}
	return g.files.label(n.part.Item.ID)
}

// report passes on a settled part and what it stated.
func (g *graph) report(n *node) {
	g.obs(Event{Step: &StepEvent{Step: g.display(n), Block: n.block, Item: n.part.Item.ID, Clip: g.clipName(n), Part: n.part.Name, State: n.state, Seconds: n.seconds, Key: n.key,
		Facts: n.notes.Facts, Err: n.err}})
	for _, w := range n.notes.Warnings {
		g.warn(w)
	}
}

// warn passes a warning on, once.
func (g *graph) warn(w Warning) {
	plain := w
	w.Text = g.files.named(w.Text)
	g.mu.Lock()
	g.warnedOf[plain] = true
	seen := g.warned[w]
	g.warned[w] = true
	g.mu.Unlock()
	if !seen {
		g.obs(Event{Warning: &w})
	}
}
