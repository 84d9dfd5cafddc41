package pipeline

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"plenilune/cache"
)

// lastRun is what is kept of a finished run, to say later what changed.
type lastRun struct {
	Parts []lastPart `json:"parts"`
}

type lastPart struct {
	Block string `json:"block"`
	Item  ID     `json:"item"`
	Name  string `json:"name"`
	Step  string `json:"step"` // as it was displayed
	Text  string `json:"text"`
}

func (p lastPart) slot() [3]string { return [3]string{p.Block, p.Item.String(), p.Name} }

func runName(m *Manifest, outDir string) string {
	abs, err := filepath.Abs(outDir)
	if err != nil {
		abs = outDir
	}
	return "run:" + cache.Sum([]byte(filepath.Join(m.Dir, filepath.Base(m.File))+"\x00"+abs)).String()
}

// saveRun keeps this run's parts under its manifest and output folder.
func (g *graph) saveRun(outDir string) error {
	var l lastRun
	for _, n := range g.nodes {
		if n.text != nil {
			l.Parts = append(l.Parts, lastPart{n.block.String(), n.part.Item.ID, n.part.called(), g.display(n), string(n.text)})
		}
	}
	b, err := json.Marshal(l)
	if err != nil {
		return fmt.Errorf("encode the run: %w", err)
	}
	id, err := g.cache.Put(b)
	if err != nil {
		return fmt.Errorf("keep the run: %w", err)
	}
	if err := g.cache.SetNote(runName(g.man, outDir), []byte(id.String())); err != nil {
		return fmt.Errorf("keep the run: %w", err)
	}
	return nil
}

func loadRun(c *cache.Cache, m *Manifest, outDir string) (lastRun, bool) {
	var l lastRun
	b, ok := c.Note(runName(m, outDir))
	if !ok {
		return l, false
	}
	id, err := cache.ParseID(string(b))
	if err != nil {
		return l, false
	}
	if b, err = c.Get(id); err != nil || json.Unmarshal(b, &l) != nil {
		return l, false
	}
	return l, true
}

// Verdict says what the next run will do with one part.
type Verdict struct {
	Step    string
	State   VerdictState
	Changes []Change
}

// VerdictState is one of the words below.
type VerdictState string

// What the next run will do with a part.
const (
	Same    VerdictState = "same"     // as in the last finished run, and in the cache
	Known   VerdictState = "known"    // other than in the last run, and in the cache already
	WillRun VerdictState = "will run" // must be computed
	MayRun  VerdictState = "may run"  // depends on a result that is not there yet
	Gone    VerdictState = "gone"     // was in the last run and is no longer asked for
)

// Change is one difference between a part and what it was in the last run.
type Change struct {
	What     string // "setting keep", "input panel", "version"
	Old, New string // empty where there was, or is, none
}

// Why looks ahead: what the next run would do and because of what. It runs no
// part; a capture is read only if its content is not remembered. The bool tells
// whether there is a finished run to compare with.
func Why(ctx context.Context, m *Manifest, c *cache.Cache, outDir string) ([]Verdict, bool, error) {
	g := newGraph(m, c)
	g.dry, g.files = true, newFileSet(m, c, false)
	var failed []error
	g.obs = func(e Event) {
		if e.Step != nil && e.Step.State == Failed {
			failed = append(failed, e.Step.Err)
		}
	}
	g.expandAll(ctx)
	g.working.Wait()
	if err := errors.Join(failed...); err != nil || ctx.Err() != nil {
		return nil, false, errors.Join(err, ctx.Err())
	}
	last, had := loadRun(c, m, outDir)
	old := map[[3]string]lastPart{}
	for _, p := range last.Parts {
		old[p.slot()] = p
	}
	var out []Verdict
	for _, b := range m.Blocks {
		out = append(out, g.verdicts(Ref{b.Kind, b.Name}, old)...)
	}
	return append(out, gone(last, old)...), had, nil
}

// verdicts judges one block's parts and takes them out of old.
func (g *graph) verdicts(ref Ref, old map[[3]string]lastPart) []Verdict {
	var out []Verdict
	for _, n := range g.nodes {
		if n.block != ref {
			continue
		}
		was, ok := old[lastPart{Block: ref.String(), Item: n.part.Item.ID, Name: n.part.called()}.slot()]
		delete(old, was.slot())
		v := Verdict{Step: g.display(n)}
		switch {
		case n.text == nil:
			v.State = MayRun
		case n.err == nil && ok && was.Text == string(n.text):
			v.State = Same
		case n.err == nil:
			v.State = Known
		default:
			v.State = WillRun
		}
		if ok && n.text != nil {
			v.Changes = g.changes(was.Text, string(n.text))
		}
		out = append(out, v)
	}
	slices.SortStableFunc(out, func(a, b Verdict) int { return strings.Compare(a.Step, b.Step) })
	// A block that could not be cut yet: what it was cut into last time may run.
	if errors.Is(g.blocks[ref].err, ErrPending) {
		out = append(out, leftover(ref, old)...)
	}
	return out
}

func leftover(ref Ref, old map[[3]string]lastPart) []Verdict {
	var out []Verdict
	for slot, p := range old {
		if p.Block == ref.String() {
			out = append(out, Verdict{Step: p.Step, State: MayRun})
			delete(old, slot)
		}
	}
	if len(out) == 0 {
		out = append(out, Verdict{Step: ref.String(), State: MayRun})
	}
	slices.SortFunc(out, func(a, b Verdict) int { return strings.Compare(a.Step, b.Step) })
	return out
}

func gone(last lastRun, old map[[3]string]lastPart) []Verdict {
	var out []Verdict
	for _, p := range last.Parts {
		if _, ok := old[p.slot()]; ok {
			out = append(out, Verdict{Step: p.Step, State: Gone})
		}
	}
	return out
}

// changes compares two action texts.
func (g *graph) changes(was, is string) []Change {
	a, err1 := parseAction([]byte(was))
	b, err2 := parseAction([]byte(is))
	if err1 != nil || err2 != nil || was == is {
		return nil
	}
	var out []Change
	if a.version != b.version {
		out = append(out, Change{"version of the computation", a.version, b.version})
	}
	oldSet, newSet := map[string]string{}, map[string]string{}
	for _, s := range a.set {
		oldSet[s.name] = s.value
	}
	for _, s := range b.set {
		newSet[s.name] = s.value
		if oldSet[s.name] != s.value {
			out = append(out, Change{"setting " + s.name, oldSet[s.name], s.value})
		}
	}
	for _, s := range a.set {
		if _, ok := newSet[s.name]; !ok {
			out = append(out, Change{"setting " + s.name, s.value, ""})
		}
	}
	return append(out, g.inputChanges(a.in, b.in)...)
}

// inputChanges pairs what went with what came, port by port.
func (g *graph) inputChanges(was, is []pair) []Change {
	var out []Change
	left := slices.Clone(was)
	var came []pair
	for _, p := range is {
		if k := slices.Index(left, p); k >= 0 {
			left = slices.Delete(left, k, k+1)
		} else {
			came = append(came, p)
		}
	}
	show := func(hex string) string {
		id, err := cache.ParseID(hex)
		if err != nil {
			return hex
		}
		return g.files.label(id)
	}
	for _, p := range came {
		c := Change{What: "input " + p.name, New: show(p.value)}
		if k := slices.IndexFunc(left, func(q pair) bool { return q.name == p.name }); k >= 0 {
			c.Old = show(left[k].value)
			left = slices.Delete(left, k, k+1)
		}
		out = append(out, c)
	}
	for _, p := range left {
		out = append(out, Change{What: "input " + p.name, Old: show(p.value)})
	}
	return out
}
