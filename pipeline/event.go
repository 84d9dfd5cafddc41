package pipeline

import (
	"sync"
	"time"
)

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
	Parts       int // settled
	Known       int // settled and waiting
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
	if !n.part.Item.ID.IsZero() {
		s += ":" + g.files.label(n.part.Item.ID)
	}
	return s + "/" + n.part.called()
}

// report passes on a settled part and what it stated.
func (g *graph) report(n *node) {
	if n.state == Ran {
		g.exec.pace.note(n)
	}
	g.obs(Event{Step: &StepEvent{Step: g.display(n), State: n.state, Seconds: n.seconds, Key: n.key,
		Facts: n.notes.Facts, Err: n.err}})
	for _, w := range n.notes.Warnings {
		g.warn(w)
	}
}

// warn passes a warning on, once.
func (g *graph) warn(w Warning) {
	w.Text = g.files.named(w.Text)
	g.mu.Lock()
	seen := g.warned[w]
	g.warned[w] = true
	g.mu.Unlock()
	if !seen {
		g.obs(Event{Warning: &w})
	}
}

// pace remembers how long parts of each kind take, to tell the time left.
type pace struct {
	mu      sync.Mutex
	seconds map[string]float64
	count   map[string]int
	before  map[string]float64 // from earlier runs
}

func newPace() *pace {
	return &pace{seconds: map[string]float64{}, count: map[string]int{}, before: map[string]float64{}}
}

func kindOf(n *node) string { return n.step + "/" + n.part.Name }

func (p *pace) note(n *node) {
	p.mu.Lock()
	p.seconds[kindOf(n)] += n.seconds
	p.count[kindOf(n)]++
	p.mu.Unlock()
}

// expect returns how long a part of this kind may take, in seconds.
func (p *pace) expect(kind string) float64 {
	p.mu.Lock()
	defer p.mu.Unlock()
	if c := p.count[kind]; c > 0 {
		return p.seconds[kind] / float64(c)
	}
	if s, ok := p.before[kind]; ok {
		return s
	}
	return 1
}

func (p *pace) means() map[string]float64 {
	p.mu.Lock()
	defer p.mu.Unlock()
	out := map[string]float64{}
	for k, v := range p.before {
		out[k] = v
	}
	for k, c := range p.count {
		out[k] = p.seconds[k] / float64(c)
	}
	return out
}

// progressNow sums up the graph as it stands.
func (g *graph) progressNow() ProgressEvent {
	g.mu.Lock()
	nodes := g.nodes
	g.mu.Unlock()
	var p ProgressEvent
	var did, left float64
	for _, n := range nodes {
		if !n.asked.Load() {
			continue
		}
		want := g.exec.pace.expect(kindOf(n))
		p.Known++
		select {
		case <-n.done:
			p.Parts++
			if n.state == Ran {
				did += n.seconds
			}
			continue
		default:
		}
		n.mu.Lock()
		began, share := n.began, n.progress
		n.mu.Unlock()
		if !began.IsZero() {
			p.Working = append(p.Working, g.display(n))
			if share > 0.05 {
				want = max(want, time.Since(began).Seconds()/share)
			}
			did += want * share
			left += want * (1 - share)
			continue
		}
		left += want
	}
	if did+left > 0 {
		p.Done = did / (did + left)
	}
	p.SecondsLeft = left / float64(g.exec.jobs)
	if did == 0 {
		p.SecondsLeft = -1
	}
	return p
}
