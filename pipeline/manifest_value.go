package pipeline

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"

	"github.com/hashicorp/hcl/v2/gohcl"
	"github.com/hashicorp/hcl/v2/hclsyntax"
	"github.com/zclconf/go-cty/cty"
)

// decodeValue puts an attribute's value into a settings field.
func (l *loader) decodeValue(x hclsyntax.Expression, f *field, dst reflect.Value, t *bodyTarget, again bool) {
	if valueType(f.typ) == typeRef {
		l.decodeRefs(x, f, dst, t)
		return
	}
	if f.typ.Kind() == reflect.Slice {
		l.decodeList(x, f, dst, t, again)
		return
	}
	if f.typ.Kind() == reflect.Pointer {
		p := reflect.New(f.typ.Elem())
		if l.decodeScalar(x, f, p.Elem()) {
			dst.Set(p)
		}
		return
	}
	l.decodeScalar(x, f, dst)
}

// items are the elements of a list, or the one value that stands for a list of one.
func items(x hclsyntax.Expression) []hclsyntax.Expression {
	if list, ok := x.(*hclsyntax.TupleConsExpr); ok {
		return list.Exprs
	}
	return []hclsyntax.Expression{x}
}

func (l *loader) decodeList(x hclsyntax.Expression, f *field, dst reflect.Value, t *bodyTarget, again bool) {
	out := reflect.MakeSlice(f.typ, 0, 4)
	for _, e := range items(x) {
		v := reflect.New(f.typ.Elem()).Elem()
		if !l.decodeScalar(e, f, v) {
			continue
		}
		out = reflect.Append(out, v)
		if f.typ == typeFiles && t.block != nil && !again {
			t.block.patterns = append(t.block.patterns, filePattern{v.String(), f.name == "except", rangeOf(e.Range())})
		}
	}
	if f.typ == typeFiles && f.required && out.Len() == 0 && !again {
		l.d.fault(rangeOf(x.Range()), f.name+" names no file", l.example(f))
	}
	dst.Set(out)
}

// decodeScalar decodes one string, bool or number and holds it to its bounds.
func (l *loader) decodeScalar(x hclsyntax.Expression, f *field, dst reflect.Value) bool {
	v, ok := l.eval.value(x, false)
	if !ok {
		return false
	}
	at := rangeOf(x.Range())
	text := dst.Kind() == reflect.String
	numberText := text && (f.min != nil || f.max != nil) // one of its words, or a number
	if numberText && v.Type() == cty.Number {
		n, _ := v.AsBigFloat().Float64()
		if !l.inBounds(n, f, at, x) {
			return false
		}
		dst.SetString(strconv.FormatFloat(n, 'g', -1, 64))
		return true
	}
	if want := typeOf(dst); v.Type() != want {
		l.d.fault(at, fmt.Sprintf("%s is %s; this is %s", f.name, typeWord(want), typeWord(v.Type())), l.typeHint(f, want, x))
		return false
	}
	if isNumber(dst.Type()) && dst.Kind() != reflect.Float64 && dst.Kind() != reflect.Float32 && !v.AsBigFloat().IsInt() {
		l.d.fault(at, f.name+" is a whole number", l.eval.origin(x))
		return false
	}
	if diags := gohcl.DecodeExpression(x, l.eval.context, dst.Addr().Interface()); diags.HasErrors() {
		l.d.fault(at, fmt.Sprintf("%s cannot hold this", f.name), plainText(diags[0].Detail))
		return false
	}
	if text {
		return l.inWords(dst.String(), f, at, x)
	}
	if isNumber(dst.Type()) {
		n, _ := v.AsBigFloat().Float64()
		return l.inBounds(n, f, at, x)
	}
	return true
}

func typeOf(v reflect.Value) cty.Type {
	switch {
	case v.Kind() == reflect.String:
		return cty.String
	case v.Kind() == reflect.Bool:
		return cty.Bool
	}
	return cty.Number
}

func typeWord(t cty.Type) string {
	switch {
	case t == cty.String:
		return "a text in quotes"
	case t == cty.Bool:
		return "true or false"
	case t == cty.Number:
		return "a number"
	}
	return "a list"
}

func (l *loader) typeHint(f *field, want cty.Type, x hclsyntax.Expression) string {
	if from := l.eval.origin(x); from != "" {
		return from
	}
	if len(f.oneof) > 0 {
		return "write " + listing(quoted(f.oneof), "or")
	}
	if want == cty.Number {
		return "write a plain number without quotes" + inUnit(f.name)
	}
	return ""
}

func inUnit(name string) string {
	if u := unitOf(name); u != "" {
		return ", in " + u
	}
	return ""
}

func (l *loader) inWords(s string, f *field, at Range, x hclsyntax.Expression) bool {
	if len(f.oneof) == 0 || slices.Contains(f.oneof, s) {
		return true
	}
	hint := meant(s, f.oneof, "")
	if from := l.eval.origin(x); hint == "" {
		hint = from
	}
	words := listing(quoted(f.oneof), "or")
	if f.min != nil || f.max != nil {
		words += " or a number"
	}
	l.d.fault(at, fmt.Sprintf("%s is %s, not %q", f.name, words, s), hint)
	return false
}

func (l *loader) inBounds(n float64, f *field, at Range, x hclsyntax.Expression) bool {
	lo, hi := math.Inf(-1), math.Inf(1)
	if f.min != nil {
		lo = *f.min
	}
	if f.max != nil {
		hi = *f.max
	}
	if n >= lo && n <= hi {
		return true
	}
	unit := unitOf(f.name)
	var span string
	switch {
	case f.min != nil && f.max != nil:
		span = fmt.Sprintf("from %s to %s", number(lo), withUnit(hi, unit))
	case f.min != nil:
		span = "at least " + withUnit(lo, unit)
	default:
		span = "at most " + withUnit(hi, unit)
	}
	l.d.fault(at, fmt.Sprintf("%s is %s: it must be %s", f.name, withUnit(n, unit), span), l.eval.origin(x))
	return false
}

// decodeRefs decodes the names of other blocks.
func (l *loader) decodeRefs(x hclsyntax.Expression, f *field, dst reflect.Value, t *bodyTarget) {
	list := f.typ.Kind() == reflect.Slice
	exprs := []hclsyntax.Expression{x}
	if list {
		exprs = items(x)
	} else if _, ok := x.(*hclsyntax.TupleConsExpr); ok {
		l.d.fault(rangeOf(x.Range()), f.name+" names one block", "write it without [ ]")
		return
	}
	var refs []Ref
	for _, e := range exprs {
		r, ok := l.ref(e, f)
		if !ok {
			continue
		}
		refs = append(refs, r)
		l.used[r] = true
		if t.block != nil && !slices.Contains(t.block.Refs, r) {
			t.block.Refs = append(t.block.Refs, r)
		}
	}
	switch {
	case list:
		dst.Set(reflect.ValueOf(refs))
	case len(refs) == 1 && f.typ.Kind() == reflect.Pointer:
		dst.Set(reflect.ValueOf(&refs[0]))
	case len(refs) == 1:
		dst.Set(reflect.ValueOf(refs[0]))
	}
}

func (l *loader) ref(x hclsyntax.Expression, f *field) (Ref, bool) {
	at := rangeOf(x.Range())
	no := func(text, hint string) (Ref, bool) { l.d.fault(at, text, hint); return Ref{}, false }
	tr, ok := x.(*hclsyntax.ScopeTraversalExpr)
	if !ok {
		return no(f.name+" names a block", l.example(f))
	}
	words := dotted(tr.Traversal)
	if len(words) != 2 {
		return no("a block is named by two words, its kind and its name", l.example(f))
	}
	r := Ref{words[0], words[1]}
	_, declared := l.all[r]
	switch {
	case l.kind(r.Kind) == nil:
		return no("there is no kind of block called "+r.Kind, meant(r.Kind, f.refs, l.example(f)))
	case len(f.refs) > 0 && !slices.Contains(f.refs, r.Kind):
		return no(fmt.Sprintf("%s names a block of the kind %s, not %s", f.name, listing(f.refs, "or"), r.Kind), l.example(f))
	case r == l.current:
		return no("this block names itself", l.example(f))
	case !declared:
		return no("there is no block "+r.String(), l.unknownRef(r))
	case slices.Index(l.order, r) > slices.Index(l.order, l.current):
		return no(r.String()+" stands further down", "a later block names an earlier one: move "+r.String()+" up")
	}
	return r, true
}

func (l *loader) unknownRef(r Ref) string {
	var same, other []string
	for _, o := range l.order {
		if o.Kind == r.Kind {
			same = append(same, o.Name)
		} else if o.Name == r.Name {
			other = append(other, o.String())
		}
	}
	if w := near(r.Name, same); w != "" {
		return fmt.Sprintf("did you mean %s.%s?", r.Kind, w)
	}
	if len(other) > 0 {
		return "there is " + listing(other, "and")
	}
	if len(same) > 0 {
		for i := range same {
			same[i] = r.Kind + "." + same[i]
		}
		return "there is " + listing(same, "and")
	}
	return fmt.Sprintf("there is no %s block at all", r.Kind)
}
