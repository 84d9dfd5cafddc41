package pipeline

import (
	"bytes"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"

	"github.com/hashicorp/hcl/v2"
	"github.com/hashicorp/hcl/v2/hclsyntax"
	"github.com/hashicorp/hcl/v2/hclwrite"
	"github.com/zclconf/go-cty/cty"
)

// rewriting is how a manifest is put to travel.
type rewriting struct {
	site      bool // the site stays, and the time zone and skyline with it
	comments  bool
	files     map[Ref][]string // what each block with files reads instead
	sequences map[Ref][]string
	clips     map[Ref]map[string]string // what each block calls clips instead; a clip that is not among them is named no more
	instead   map[Ref]string            // blocks that stand for the site, see Expansion.InsteadOfSite
	set       map[string]any            // entries of settings
}

// homely are the parts of the night block that tell where someone was.
var homely = []string{"site", "time_zone", "skyline"}

// rewrite gives the text of the manifest as it travels: without comments, site and file names unless they are wanted.
func (m *Manifest) rewrite(r rewriting, kinds []*kindSchema) ([]byte, error) {
	src := withoutMark(m.Source)
	if !r.comments {
		src = withoutComments(src)
	}
	f, diags := hclwrite.ParseConfig(src, m.File, hcl.InitialPos)
	if diags.HasErrors() {
		return nil, fmt.Errorf("read the manifest again: %w", diags)
	}
	ofSite := map[string]bool{}
	if !r.site {
		ofSite = settingsOfSite(src, m.File)
	}
	for _, b := range f.Body().Blocks() {
		switch {
		case b.Type() == "night" && !r.site:
			withoutHome(b.Body())
		case b.Type() == "settings":
			r.override(b.Body())
		case len(b.Labels()) == 1:
			ref := Ref{b.Type(), b.Labels()[0]}
			blk := m.Block(ref)
			i := slices.IndexFunc(kinds, func(k *kindSchema) bool { return k.kind == ref.Kind })
			if blk == nil || i < 0 {
				continue
			}
			for k, s := range blk.Steps {
				r.names(b.Body(), kinds[i].schemas[k], reflect.ValueOf(s.Settings).Elem(), ref)
			}
			if text := r.instead[ref]; text != "" && !r.site {
				if err := replaceBlocks(b.Body(), text); err != nil {
					return nil, err
				}
			}
		}
	}
	return tidy(f, m.File, ofSite)
}

// withoutComments drops every comment; the ends of lines stay.
func withoutComments(src []byte) []byte {
	tokens, _ := hclsyntax.LexConfig(src, "", hcl.InitialPos)
	var out bytes.Buffer
	at := 0
	for _, t := range tokens {
		if t.Type != hclsyntax.TokenComment {
			continue
		}
		out.Write(src[at:t.Range.Start.Byte])
		if bytes.HasSuffix(t.Bytes, []byte("\n")) {
			out.WriteByte('\n')
		}
		at = t.Range.End.Byte
	}
	out.Write(src[at:])
	return out.Bytes()
}

// settingsOfSite names the entries of settings that tell where someone was.
func settingsOfSite(src []byte, file string) map[string]bool {
	out := map[string]bool{}
	f, diags := hclsyntax.ParseConfig(src, file, hcl.InitialPos)
	if diags.HasErrors() {
		return out
	}
	for _, b := range f.Body.(*hclsyntax.Body).Blocks {
		if b.Type != "night" {
			continue
		}
		for name, a := range b.Body.Attributes {
			if slices.Contains(homely, name) {
				settingsIn(a.Expr, out)
			}
		}
		for _, in := range b.Body.Blocks {
			if slices.Contains(homely, in.Type) {
				settingsUnder(in.Body, out)
			}
		}
	}
	return out
}

// settingsUnder adds the entries of settings that a body uses.
func settingsUnder(body *hclsyntax.Body, used map[string]bool) {
	for _, a := range body.Attributes {
		settingsIn(a.Expr, used)
	}
	for _, b := range body.Blocks {
		settingsUnder(b.Body, used)
	}
}

func settingsIn(x hclsyntax.Expression, used map[string]bool) {
	for _, t := range x.Variables() {
		if words := dotted(t); len(words) > 1 && words[0] == "settings" {
			used[words[1]] = true
		}
	}
}

func withoutHome(night *hclwrite.Body) {
	for _, name := range homely {
		night.RemoveAttribute(name)
		for _, b := range night.Blocks() {
			if b.Type() == name {
				night.RemoveBlock(b)
			}
		}
	}
}

// override writes entries of settings as they were for this run.
func (r rewriting) override(settings *hclwrite.Body) {
	for _, name := range slices.Sorted(maps.Keys(r.set)) {
		if settings.GetAttribute(name) != nil {
			settings.SetAttributeValue(name, ctyOf(r.set[name]))
		}
	}
}

// ctyOf is a value of Manifest.Settings as the manifest's language has it.
func ctyOf(v any) cty.Value {
	switch v := v.(type) {
	case string:
		return cty.StringVal(v)
	case bool:
		return cty.BoolVal(v)
	case float64:
		return cty.NumberFloatVal(v)
	case []any:
		var out []cty.Value
		for _, e := range v {
			out = append(out, ctyOf(e))
		}
		return cty.TupleVal(out)
	}
	return cty.NullVal(cty.DynamicPseudoType)
}

func textsOf(list []string) cty.Value {
	var out []cty.Value
	for _, s := range list {
		out = append(out, cty.StringVal(s))
	}
	return cty.TupleVal(out)
}

// names replaces what tells how files are called.
func (r rewriting) names(body *hclwrite.Body, sch *schema, val reflect.Value, ref Ref) {
	for _, f := range sch.fields {
		switch {
		case f.typ == typeFiles && f.name == "except":
			body.RemoveAttribute(f.name) // what is left is what is named
		case f.typ == typeFiles:
			replaceTexts(body, f.name, r.files[ref])
		case f.typ == typeSeqs:
			replaceTexts(body, f.name, r.sequences[ref])
		case f.role == roleValue && valueType(f.typ) == typeClip && f.typ.Kind() == reflect.Slice:
			var kept []string
			for i := range val.Field(f.index).Len() {
				if name, ok := r.clips[ref][val.Field(f.index).Index(i).String()]; ok {
					kept = append(kept, name)
				}
			}
			slices.Sort(kept)
			replaceTexts(body, f.name, kept)
		case f.role == roleBlock && f.sub.label() != nil && f.sub.label().typ == typeClip:
			for _, b := range body.Blocks() {
				if b.Type() != f.name || len(b.Labels()) != 1 {
					continue
				}
				if name, ok := r.clips[ref][b.Labels()[0]]; ok {
					b.SetLabels([]string{name})
				} else {
					body.RemoveBlock(b)
				}
			}
		}
	}
}

// replaceTexts gives a setting a list of texts, or takes it off where there are none.
func replaceTexts(body *hclwrite.Body, name string, texts []string) {
	if len(texts) == 0 {
		body.RemoveAttribute(name)
		return
	}
	body.SetAttributeValue(name, textsOf(texts))
}

// replaceBlocks puts the blocks of a text into a body, in the place of those of their kinds.
func replaceBlocks(body *hclwrite.Body, text string) error {
	f, diags := hclwrite.ParseConfig([]byte(text), "", hcl.InitialPos)
	if diags.HasErrors() {
		return fmt.Errorf("read what stands for the site: %w", diags)
	}
	for _, b := range f.Body().Blocks() {
		for _, old := range body.Blocks() {
			if old.Type() == b.Type() {
				body.RemoveBlock(old)
			}
		}
		f.Body().RemoveBlock(b)
		body.AppendBlock(b)
	}
	return nil
}

// tidy writes the text, without entries of settings that nothing uses.
func tidy(f *hclwrite.File, file string, ofSite map[string]bool) ([]byte, error) {
	parsed, diags := hclsyntax.ParseConfig(f.Bytes(), file, hcl.InitialPos)
	if diags.HasErrors() {
		return nil, fmt.Errorf("read the manifest as it travels: %w", diags)
	}
	used := map[string]bool{}
	for _, b := range parsed.Body.(*hclsyntax.Body).Blocks {
		if b.Type != "settings" {
			settingsUnder(b.Body, used)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(ofSite)) {
		if used[name] {
			return nil, &RequestError{fmt.Sprintf("settings.%s tells where you were, and is used elsewhere too: write its value in one of the places, or pack --with-site", name)}
		}
	}
	for _, b := range f.Body().Blocks() {
		if b.Type() != "settings" {
			continue
		}
		for name := range b.Body().Attributes() {
			if !used[name] {
				b.Body().RemoveAttribute(name)
			}
		}
		if len(b.Body().Attributes()) == 0 {
			f.Body().RemoveBlock(b)
		}
	}
	return spaced(hclwrite.Format(f.Bytes())), nil
}

// spaced leaves at most one empty line between others, and none where a block begins or ends.
func spaced(src []byte) []byte {
	lines := strings.Split(strings.TrimSpace(string(src)), "\n")
	var out []string
	for i, l := range lines {
		bare := strings.TrimSpace(l) == ""
		if bare && len(out) > 0 {
			last := strings.TrimSpace(out[len(out)-1])
			next := ""
			for _, n := range lines[i:] {
				if next = strings.TrimSpace(n); next != "" {
					break
				}
			}
			if last == "" || strings.HasSuffix(last, "{") || next == "}" {
				continue
			}
		}
		if bare {
			l = ""
		}
		out = append(out, l)
	}
	return []byte(strings.Join(out, "\n") + "\n")
}
