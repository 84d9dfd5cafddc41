package pipeline

import (
	"path/filepath"
	"strconv"
	"strings"
)

// Manifest is a decoded, checked recipe.
type Manifest struct {
	File     string // as given
	Dir      string // the absolute folder that relative file patterns start from
	Source   []byte
	Night    Night
	Settings map[string]any // float64, string, bool or []any, after overrides
	Blocks   []*Block       // in source order

	// Programs runs what reads clips that no step reads; nil: nothing is run.
	Programs Programs

	looked int // at files and folders, for its patterns
}

// Block is one block of a manifest that steps serve.
type Block struct {
	Kind, Name string
	Steps      []BoundStep // in order of registration
	Refs       []Ref       // all that the block names, each once, in source order
	Paths      []string    // of its files: absolute, sorted; set by ResolveFiles
	Sequences  []Sequence  // of its sequences, by their paths; set by ResolveFiles
	Range      Range       // kind and label

	fields    map[string]Range // of each setting given, by its path: "band.fine.boost"
	patterns  []filePattern
	mentioned []clipMention
	hasFiles  bool
	partly    bool    // a fault hides some of what it is made from: its files, or the blocks before it
	choice    *choice // of the files of a manifest that came in a pack, else nil
}

// BoundStep is a step with the settings that a block gives it.
type BoundStep struct {
	Step     Step
	Settings any // the pointer from Step.New, decoded
}

// Override replaces one entry of the manifest's settings block.
type Override struct{ Key, Value string }

type filePattern struct {
	text     string
	except   bool
	sequence bool
	at       Range
}

// LoadManifest decodes and checks a manifest. It reads no file: path only names
// the source. It finds all faults in one pass; with errors among them the
// manifest is as complete as could be made, for messages, and must not be run.
func LoadManifest(path string, src []byte, steps []Step, overrides []Override) (*Manifest, Diagnostics) {
	m := &Manifest{File: path, Source: src}
	var d Diagnostics
	if abs, err := filepath.Abs(filepath.Dir(path)); err == nil {
		m.Dir = abs
	} else {
		m.Dir = filepath.Dir(path)
	}
	kinds := newKinds(steps)
	src = withoutMark(src)
	d.addSource(path, src)
	body, whole := parseManifest(path, src, &d)
	if body != nil {
		l := &loader{d: &d, kinds: kinds, m: m, file: path, eval: &evaluator{d: &d}}
		for _, k := range kinds {
			l.eval.kinds = append(l.eval.kinds, k.kind)
		}
		if whole {
			l.load(body, overrides)
		}
	}
	d.sort()
	return m, d
}

// Block returns the block that r names, or nil.
func (m *Manifest) Block(r Ref) *Block {
	for _, b := range m.Blocks {
		if b.Kind == r.Kind && b.Name == r.Name {
			return b
		}
	}
	return nil
}

// Patterns returns the block's file patterns, without those that exclude.
func (b *Block) Patterns() []string { return b.patternsOf(false) }

// SequencePatterns returns the patterns of the block's sequences.
func (b *Block) SequencePatterns() []string { return b.patternsOf(true) }

func (b *Block) patternsOf(sequence bool) []string {
	var out []string
	for _, p := range b.patterns {
		if !p.except && p.sequence == sequence {
			out = append(out, p.text)
		}
	}
	return out
}

// Diagnose turns a step's problems into diagnostics at the settings they name.
func (m *Manifest) Diagnose(b *Block, problems []Problem) Diagnostics {
	var d Diagnostics
	d.addSource(m.File, withoutMark(m.Source))
	m.place(&d, b, problems)
	d.sort()
	return d
}

// place puts each problem at the setting it names, or at the nearest around it.
func (m *Manifest) place(d *Diagnostics, b *Block, problems []Problem) {
	for _, p := range problems {
		at := b.Range
		for path := p.Path; path != ""; path = path[:max(strings.LastIndex(path, "."), 0)] {
			if r, ok := b.fields[path]; ok {
				at = r
				break
			}
		}
		if p.Warning {
			d.warn(at, p.Text, p.Hint)
		} else {
			d.fault(at, p.Text, p.Hint)
		}
	}
}

// mentions tells whether some setting is this text.
func (m *Manifest) mentions(text string) bool {
	for _, b := range m.Blocks {
		for _, s := range b.Steps {
			if lines, err := canonicalSettings(s.Settings); err == nil {
				for _, l := range lines {
					if strings.HasSuffix(l, " "+strconv.Quote(text)) {
						return true
					}
				}
			}
		}
	}
	return false
}
