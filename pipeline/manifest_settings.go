package pipeline

import (
	"fmt"
	"slices"
	"strings"

	"github.com/hashicorp/hcl/v2"
	"github.com/hashicorp/hcl/v2/hclsyntax"
	"github.com/zclconf/go-cty/cty"
)

// loadSettings reads the settings block, puts the overrides in, and binds the
// result for every expression after it.
func (l *loader) loadSettings(body *hclsyntax.Body, overrides []Override) {
	e := l.eval
	e.settings = map[string]*setting{}
	seen := false
	for _, b := range body.Blocks {
		if b.Type != "settings" {
			continue
		}
		if seen {
			l.d.fault(rangeOf(b.DefRange()), "there are two settings blocks", "put everything into one")
			continue
		}
		seen = true
		for _, in := range b.Body.Blocks {
			l.d.fault(rangeOf(in.DefRange()), "settings holds values, no blocks", "write NAME = VALUE")
		}
		for _, a := range sortedAttributes(b.Body) {
			v, ok := e.value(a.Expr, true)
			e.settings[a.Name] = &setting{name: a.Name, value: v, bad: !ok, at: rangeOf(a.NameRange)}
			e.names = append(e.names, a.Name)
		}
	}
	for _, o := range overrides {
		l.override(o)
	}
	e.bind()
	l.m.Settings = map[string]any{}
	for _, n := range e.names {
		if s := e.settings[n]; !s.bad {
			l.m.Settings[n] = plainValue(s.value)
		}
	}
}

// override replaces an entry by what --set gave: a literal, or a bare word for a text.
func (l *loader) override(o Override) {
	s := l.eval.settings[o.Key]
	at := Range{File: "--set " + o.Key + "=" + o.Value}
	if s == nil {
		hint := "settings has " + listing(l.eval.names, "and")
		if len(l.eval.names) == 0 {
			hint = "the manifest has no settings block"
		}
		l.d.fault(at, "settings has no entry "+o.Key, meant(o.Key, l.eval.names, hint))
		return
	}
	v := cty.StringVal(o.Value)
	if s.bad || s.value.Type() != cty.String || strings.HasPrefix(o.Value, `"`) { // a text needs no quotes, even if it looks like a number
		if x, diags := hclsyntax.ParseExpression([]byte(o.Value), "--set", hcl.InitialPos); !diags.HasErrors() {
			quiet := &evaluator{d: &Diagnostics{}}
			if lit, ok := quiet.value(x, true); ok {
				v = lit
			}
		}
	}
	if !s.bad && v.Type() != s.value.Type() && !(isWord(v) && isWord(s.value)) && !(isList(v) && isList(s.value)) {
		l.d.fault(at, fmt.Sprintf("%s is %s in the manifest; this is %s", o.Key, typeWord(s.value.Type()), typeWord(v.Type())), "")
		return
	}
	s.value, s.bad, s.set = v, false, true
}

// isWord tells whether a value is a text or a number: some settings take either, and where one takes one of them only,
// its use says so.
func isWord(v cty.Value) bool { return v.Type() == cty.String || v.Type() == cty.Number }

func isList(v cty.Value) bool { return v.Type().IsTupleType() && v.IsKnown() && !v.IsNull() }

func plainValue(v cty.Value) any {
	switch {
	case v.Type() == cty.String:
		return v.AsString()
	case v.Type() == cty.Bool:
		return v.True()
	case v.Type() == cty.Number:
		return floatOf(v)
	}
	var out []any
	for it := v.ElementIterator(); it.Next(); {
		_, x := it.Element()
		out = append(out, plainValue(x))
	}
	return out
}

// judgeUse warns of what stands in the manifest and changes nothing.
func (l *loader) judgeUse() {
	for _, n := range l.eval.names {
		if s := l.eval.settings[n]; !s.used && !s.bad {
			l.d.warn(s.at, "settings."+n+" is used nowhere", "use it as settings."+n+", or drop the line")
		}
	}
	if l.d.errors() > 0 {
		return // a name that was mistyped is told; that its block is then unused is no news
	}
	for _, b := range l.m.Blocks {
		r := Ref{b.Kind, b.Name}
		ends := !slices.ContainsFunc(l.kinds, func(k *kindSchema) bool {
			return slices.ContainsFunc(k.schemas, func(s *schema) bool { return s.takesRefsTo(b.Kind) })
		})
		if !l.used[r] && !ends {
			l.d.warn(b.Range, r.String()+" is used nowhere", "no later block names it; it is computed for nothing")
		}
	}
}
