package pipeline

import (
	"fmt"
	"slices"
	"strings"

	"github.com/hashicorp/hcl/v2/hclwrite"
)

// place is where a setting stands inside its block.
type place struct {
	blocks  []nested
	setting string
}

// nested names one block inside another, by its kind and, if it has one, its name.
type nested struct{ kind, name string }

func (p nested) is(b *hclwrite.Block) bool {
	return b.Type() == p.kind && (p.name == "" && len(b.Labels()) == 0 || len(b.Labels()) == 1 && b.Labels()[0] == p.name)
}

// locate finds the setting that a change names. A block inside is named by its
// name alone, by its kind where it has none, or by both.
func (v *varier) locate(c Tweak) (Ref, place, error) {
	words := strings.Split(c.Path, ".")
	if len(words) < 3 {
		return Ref{}, place{}, &RequestError{fmt.Sprintf("%s names no setting of a block: write KIND.NAME.SETTING, as in detail.crisp.fine.boost or stack.panels.keep; %s", c.Path, v.listBlocks())}
	}
	r := Ref{words[0], words[1]}
	blk := v.m.Block(r)
	if blk == nil {
		return r, place{}, &RequestError{fmt.Sprintf("%s: the manifest has no block %s; %s", c.Path, r, meant(r.String(), v.blockNames(), v.listBlocks()))}
	}
	f, err := v.parse(v.src)
	if err != nil {
		return r, place{}, err
	}
	s := &search{tweak: c, block: r}
	for _, k := range newKinds(v.steps) {
		if k.kind == r.Kind {
			s.schemas = k.schemas
		}
	}
	err = s.walk(f.Body().FirstMatchingBlock(r.Kind, []string{r.Name}).Body(), words[2:])
	return r, s.found, err
}

// blockNames lists the blocks whose settings can be changed: those with a picture
// after them.
func (v *varier) blockNames() []string {
	var out []string
	for _, b := range v.m.Blocks {
		out = append(out, Ref{b.Kind, b.Name}.String())
	}
	return out
}

func (v *varier) listBlocks() string { return "its blocks are " + listing(v.blockNames(), "and") }

// search walks down from a block to a setting.
type search struct {
	tweak   Tweak
	block   Ref
	schemas []*schema
	found   place
}

func (s *search) walk(body *hclwrite.Body, words []string) error {
	attrs, blocks := (&bodyTarget{targets: s.targets()}).names()
	if len(words) == 1 {
		if slices.Contains(attrs, words[0]) {
			s.found.setting = words[0]
			return nil
		}
		return s.lost(body, words[0], attrs)
	}
	for _, b := range body.Blocks() {
		if !slices.Contains(blocks, b.Type()) {
			continue
		}
		name := ""
		if len(b.Labels()) == 1 {
			name = b.Labels()[0]
		}
		rest := words
		switch {
		case name != "" && words[0] == name, name == "" && words[0] == b.Type():
			rest = words[1:]
		case words[0] == b.Type() && words[1] == name && len(words) > 2:
			rest = words[2:]
		default:
			continue
		}
		s.found.blocks = append(s.found.blocks, nested{b.Type(), name})
		s.schemas = s.inner(b.Type())
		return s.walk(b.Body(), rest)
	}
	if slices.Contains(blocks, words[0]) {
		return &RequestError{fmt.Sprintf("%s: the manifest's %s has no %s block; write it there first", s.tweak.Path, s.block, words[0])}
	}
	return s.lost(body, words[0], attrs)
}

func (s *search) targets() (out []target) {
	for _, sch := range s.schemas {
		out = append(out, target{sch: sch})
	}
	return out
}

// inner are the schemas of a block inside.
func (s *search) inner(kind string) (out []*schema) {
	for _, sch := range s.schemas {
		if f := sch.field(kind); f != nil && f.sub != nil {
			out = append(out, f.sub)
		}
	}
	return out
}

// lost says what there is where a word names nothing.
func (s *search) lost(body *hclwrite.Body, word string, attrs []string) error {
	known := slices.Clone(attrs)
	for _, b := range body.Blocks() {
		for _, sch := range s.inner(b.Type()) {
			in, _ := (&bodyTarget{targets: []target{{sch: sch}}}).names()
			for _, a := range in {
				name := b.Type()
				if len(b.Labels()) == 1 {
					name = b.Labels()[0]
				}
				if full := name + "." + a; !slices.Contains(known, full) {
					known = append(known, full)
				}
			}
		}
	}
	where := s.block.String()
	for _, n := range s.found.blocks {
		where += "." + n.kind
		if n.name != "" {
			where += "." + n.name
		}
	}
	return &RequestError{fmt.Sprintf("%s: %s has no setting %s; %s", s.tweak.Path, where, word, meant(word, known, "it has "+listing(known, "and")))}
}
