package pipeline

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"github.com/hashicorp/hcl/v2"
	"github.com/hashicorp/hcl/v2/hclsyntax"
	"github.com/hashicorp/hcl/v2/hclwrite"
)

// Tweak gives one setting of a manifest another value.
type Tweak struct {
	Path  string // block, blocks inside it and setting: "detail.crisp.fine.boost"
	Value string // as it stands in a manifest; a bare word needs no quotes
}

// Variants is a manifest in which blocks stand several times over.
type Variants struct {
	Source []byte
	// Of says, for each variant, what its copies of blocks are called. Blocks that a
	// variant shares with the manifest are not in it.
	Of []map[Ref]Ref
}

// Vary writes every variant of a manifest's chain of blocks into one manifest: all
// that changes touch on the way to the block named last is there once a variant,
// all else once. So a run of it computes what differs, and no more. The manifest
// must be without faults. Errors are RequestErrors that say what there is.
func Vary(m *Manifest, steps []Step, overrides []Override, variants [][]Tweak, last Ref) (*Variants, error) {
	v := &varier{m: m, steps: steps, overrides: overrides, src: withoutMark(m.Source)}
	out := &Variants{}
	f, err := v.parse(v.src)
	if err != nil {
		return nil, err
	}
	var more strings.Builder
	for n, changes := range variants {
		copies, err := v.copies(changes, last, n)
		if err != nil {
			return nil, err
		}
		text, err := v.variant(f, changes, copies)
		if err != nil {
			return nil, err
		}
		more.WriteString(text)
		out.Of = append(out.Of, copies)
	}
	out.Source = append(append(slices.Clone(v.src), '\n'), more.String()...)
	return out, nil
}

type varier struct {
	m         *Manifest
	steps     []Step
	overrides []Override
	src       []byte
	proved    map[Tweak]bool
}

func (v *varier) parse(src []byte) (*hclwrite.File, error) {
	f, diags := hclwrite.ParseConfig(src, v.m.File, hcl.InitialPos)
	if diags.HasErrors() {
		return nil, fmt.Errorf("read the manifest: %w", diags)
	}
	return f, nil
}

// copies names the blocks that a variant needs of its own: those that are changed,
// and those between them and the last.
func (v *varier) copies(changes []Tweak, last Ref, n int) (map[Ref]Ref, error) {
	changed := map[Ref]bool{}
	for _, c := range changes {
		r, err := v.prove(c)
		if err != nil {
			return nil, err
		}
		changed[r] = true
	}
	out := map[Ref]Ref{}
	for _, b := range v.m.Blocks {
		r := Ref{b.Kind, b.Name}
		if changed[r] && !v.m.Needs(last, r) {
			return nil, &RequestError{fmt.Sprintf("%s has no part in %s", r, last)}
		}
		touched := changed[r] || slices.ContainsFunc(v.m.Blocks, func(o *Block) bool {
			return changed[Ref{o.Kind, o.Name}] && v.m.Needs(r, Ref{o.Kind, o.Name})
		})
		if touched && v.m.Needs(last, r) {
			out[r] = Ref{r.Kind, v.free(r, n)}
		}
	}
	return out, nil
}

// Needs tells whether block a is made from block b, or is it.
func (m *Manifest) Needs(a, b Ref) bool {
	if a == b {
		return true
	}
	blk := m.Block(a)
	return blk != nil && slices.ContainsFunc(blk.Refs, func(r Ref) bool { return m.Needs(r, b) })
}

// free is a name for the n-th copy that no block has.
func (v *varier) free(r Ref, n int) string {
	name := fmt.Sprintf("%s-%d", r.Name, n+1)
	for v.m.Block(Ref{r.Kind, name}) != nil {
		name += "x"
	}
	return name
}

// prove sees to it that a change can be made, by reading the manifest with it.
func (v *varier) prove(c Tweak) (Ref, error) {
	r, _, err := v.locate(c)
	if err != nil || v.proved[c] {
		return r, err
	}
	f, err := v.parse(v.src)
	if err != nil {
		return r, err
	}
	if err := v.set(f.Body(), c); err != nil {
		return r, err
	}
	_, d := LoadManifest(v.m.File, f.Bytes(), v.steps, v.overrides)
	for _, x := range d.All() {
		if x.Warning {
			continue
		}
		text := fmt.Sprintf("%s=%s: %s", c.Path, c.Value, x.Text)
		if x.Hint != "" {
			text += "; " + x.Hint
		}
		return r, &RequestError{text}
	}
	if v.proved == nil {
		v.proved = map[Tweak]bool{}
	}
	v.proved[c] = true
	return r, nil
}

// variant writes the copies of one variant.
func (v *varier) variant(f *hclwrite.File, changes []Tweak, copies map[Ref]Ref) (string, error) {
	var b strings.Builder
	for _, blk := range f.Body().Blocks() {
		if len(blk.Labels()) != 1 {
			continue
		}
		own := Ref{blk.Type(), blk.Labels()[0]}
		if _, ok := copies[own]; !ok {
			continue
		}
		alone, err := v.parse(blk.BuildTokens(nil).Bytes())
		if err != nil {
			return "", err
		}
		for _, c := range changes {
			if r, _, err := v.locate(c); err == nil && r == own {
				if err := v.set(alone.Body(), c); err != nil {
					return "", err
				}
			}
		}
		inner := alone.Body().Blocks()[0]
		inner.SetLabels([]string{copies[own].Name})
		for from, to := range copies {
			rename(inner.Body(), from, to)
		}
		b.Write(alone.Bytes())
		b.WriteString("\n")
	}
	return b.String(), nil
}

// rename lets all that names one block name another.
func rename(b *hclwrite.Body, from, to Ref) {
	for _, a := range b.Attributes() {
		a.Expr().RenameVariablePrefix([]string{from.Kind, from.Name}, []string{to.Kind, to.Name})
	}
	for _, in := range b.Blocks() {
		rename(in.Body(), from, to)
	}
}

// number is how a manifest writes one.
var numberText = regexp.MustCompile(`^-?[0-9]+(\.[0-9]+)?([eE][-+]?[0-9]+)?$`)

// set changes a setting in a body that holds its block.
func (v *varier) set(body *hclwrite.Body, c Tweak) error {
	r, inside, err := v.locate(c)
	if err != nil {
		return err
	}
	b := body.FirstMatchingBlock(r.Kind, []string{r.Name}).Body()
	for _, p := range inside.blocks {
		at := slices.IndexFunc(b.Blocks(), p.is)
		if at < 0 {
			return &RequestError{fmt.Sprintf("%s=%s: %s has no such block", c.Path, c.Value, r)}
		}
		b = b.Blocks()[at].Body()
	}
	text := c.Value
	if !numberText.MatchString(text) && text != "true" && text != "false" {
		text = quotedValue(text)
	}
	tokens, diags := hclsyntax.LexExpression([]byte(text), v.m.File, hcl.InitialPos)
	if diags.HasErrors() {
		return &RequestError{fmt.Sprintf("%s=%s: this is no value", c.Path, c.Value)}
	}
	var out hclwrite.Tokens
	for _, t := range tokens {
		if t.Type != hclsyntax.TokenEOF {
			out = append(out, &hclwrite.Token{Type: t.Type, Bytes: t.Bytes})
		}
	}
	b.SetAttributeRaw(inside.setting, out)
	return nil
}

// quotedValue is a bare word as a text of a manifest.
func quotedValue(s string) string {
	s = strings.Trim(s, `"`)
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`, "${", "$${", "%{", "%%{", "\n", `\n`).Replace(s) + `"`
}
