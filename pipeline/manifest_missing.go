package pipeline

import (
	"fmt"
	"reflect"
	"slices"
	"strings"

	"github.com/hashicorp/hcl/v2"
	"github.com/hashicorp/hcl/v2/hclsyntax"
)

// missing tells of settings that must be given and are not.
func (l *loader) missing(body *hclsyntax.Body, what string, t *bodyTarget) {
	var told []string
	for _, g := range t.targets {
		for _, f := range g.sch.fields {
			if !f.required || f.role == roleLabel || slices.Contains(told, f.name) {
				continue
			}
			_, given := body.Attributes[f.name]
			given = given || f.typ == typeFiles && g.sch.given(typeSeqs, body)
			given = given || slices.ContainsFunc(body.Blocks, func(b *hclsyntax.Block) bool { return b.Type == f.name })
			if !given {
				told = append(told, f.name)
				t.hides(f.name)
				l.d.fault(rangeOf(openingOf(body)), fmt.Sprintf("this %s lacks %s", what, f.name), l.example(&f))
			}
		}
	}
}

// given tells whether a body has a setting of a type.
func (s *schema) given(t reflect.Type, body *hclsyntax.Body) bool {
	return slices.ContainsFunc(s.fields, func(f field) bool { return f.typ == t && body.Attributes[f.name] != nil })
}

// openingOf is the brace that opens a body: where a missing thing is missed.
func openingOf(b *hclsyntax.Body) hcl.Range {
	r := b.SrcRange
	if r.Start.Byte < r.End.Byte {
		r.End = r.Start
		r.End.Byte++
		r.End.Column++
	}
	return r
}

// example is a hint that shows how a setting is written.
func (l *loader) example(f *field) string {
	switch {
	case f.role == roleBlock:
		return "add " + f.name + " { … }"
	case len(f.refs) > 0:
		for _, r := range l.order {
			if slices.Contains(f.refs, r.Kind) {
				return fmt.Sprintf("for instance %s = %s", f.name, r)
			}
		}
		return fmt.Sprintf("it names a block of the kind %s", listing(f.refs, "or"))
	case f.typ == typeFiles:
		return fmt.Sprintf("for instance %s = [\"clips/*.ser\"]", f.name)
	case len(f.oneof) > 0:
		return fmt.Sprintf("%s = %s", f.name, listing(quoted(f.oneof), "or"))
	case valueType(f.typ).Kind() == reflect.String:
		return fmt.Sprintf("write %s = \"…\"", f.name)
	}
	return strings.TrimSpace(fmt.Sprintf("write %s = a number %s", f.name, unitOf(f.name)))
}
