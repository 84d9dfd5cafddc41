package pipeline

import (
	"fmt"
	"path"
	"strings"
)

// claim is an output with the block that names it.
type claim struct {
	Output
	by Ref
}

func (b *Block) claims() []claim {
	var out []claim
	for _, s := range b.Steps {
		if s.Step.Outputs == nil {
			continue
		}
		for _, o := range s.Step.Outputs(s.Settings) {
			if o.File != "" {
				out = append(out, claim{o, Ref{b.Kind, b.Name}})
			}
		}
	}
	return out
}

// meets tells whether both cannot stand in one folder: they are one file where names
// do not differ by case, or one is a folder and holds the other.
func (o Output) meets(p Output) bool {
	a, b := strings.ToLower(path.Clean(o.File)), strings.ToLower(path.Clean(p.File))
	return a == b || o.Folder && strings.HasPrefix(b, a+"/") || p.Folder && strings.HasPrefix(a, b+"/")
}

// OutputOf returns the first block that delivers what cannot stand beside a file of
// this name, and how that block calls it.
func (m *Manifest) OutputOf(file string) (by Ref, name string, ok bool) {
	for _, b := range m.Blocks {
		for _, c := range b.claims() {
			if c.meets(Output{File: file}) {
				return c.by, c.File, true
			}
		}
	}
	return Ref{}, "", false
}

// judgeOutputs finds blocks that would overwrite each other's files. What stands twice
// in one block is for its step to find.
func (m *Manifest) judgeOutputs(d *Diagnostics) {
	var taken []claim
	for _, b := range m.Blocks {
		own := b.claims()
		for _, c := range own {
			for _, t := range taken {
				if !c.meets(t.Output) {
					continue
				}
				text := fmt.Sprintf("%s delivers %q too", t.by, c.File)
				if t.File != c.File {
					text = fmt.Sprintf("%q and %q of %s are in each other's place in the output folder", c.File, t.File, t.by)
				}
				m.place(d, b, []Problem{{Path: c.Path, Text: text, Hint: "give one of them another name"}})
				break
			}
		}
		taken = append(taken, own...)
	}
}
