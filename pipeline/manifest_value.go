package pipeline

import (
	"cmp"
	"fmt"
	"math"
	"path"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"github.com/hashicorp/hcl/v2/hclsyntax"
	"github.com/zclconf/go-cty/cty"
	"github.com/zclconf/go-cty/cty/gocty"
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
	if l.decodeScalar(x, f, dst) && f.typ == typeClip && !again {
		t.mentionClip(dst.String(), f.name, rangeOf(x.Range()))
	}
}

// items are the elements of a list, or the one value that stands for a list of one.
func items(x hclsyntax.Expression) []hclsyntax.Expression {
	if list, ok := x.(*hclsyntax.TupleConsExpr); ok {
		return list.Exprs
	}
	return []hclsyntax.Expression{x}
}

// decodeList decodes a list written out, one value for a list of one, or an entry
// of settings that is a list.
func (l *loader) decodeList(x hclsyntax.Expression, f *field, dst reflect.Value, t *bodyTarget, again bool) {
	out := reflect.MakeSlice(f.typ, 0, 4)
	good := true
	add := func(e hclsyntax.Expression, v cty.Value) {
		elem := reflect.New(f.typ.Elem()).Elem()
		ok := l.setScalar(e, v, f, elem)
		if ok && f.ofFiles() && !again {
			if ok = l.goodPattern(elem.String(), rangeOf(e.Range())); ok {
				t.block.patterns = append(t.block.patterns, filePattern{elem.String(), f.name == "except", f.typ == typeSeqs, rangeOf(e.Range())})
			}
		}
		if ok && elem.Type() == typeClip && !again {
			t.mentionClip(elem.String(), f.name, rangeOf(e.Range()))
		}
		if good = good && ok; ok {
			out = reflect.Append(out, elem)
		}
	}
	for i, e := range items(x) {
		t.block.fields[fmt.Sprintf("%s%s.%d", t.path, f.name, i)] = rangeOf(e.Range())
		v, ok := l.eval.value(e, false)
		switch {
		case !ok:
			good = false
		case e == x && isList(v):
			for _, v := range v.AsValueSlice() {
				add(e, v)
			}
		default:
			add(e, v)
		}
	}
	if f.typ == typeFiles && f.required && good && out.Len() == 0 && !again {
		l.d.fault(rangeOf(x.Range()), f.name+" names no file", l.example(f))
		good = false
	}
	if !good {
		t.hides(f.name)
	}
	dst.Set(out)
}

// goodPattern checks the form of a file pattern.
func (l *loader) goodPattern(text string, at Range) bool {
	no := func(what, hint string) bool { l.d.fault(at, what, hint); return false }
	if strings.TrimSpace(text) == "" {
		return no("this file pattern is empty", "write one such as \"clips/*.ser\"")
	}
	for _, e := range strings.Split(text, "/") {
		if _, err := path.Match(e, ""); err != nil {
			return no(fmt.Sprintf("%q is no file pattern: a [ is not closed, or a \\ ends it", text), "write [abc] for one of these letters, [[] for a bracket in a name")
		}
		if e != "**" && strings.Contains(e, "**") {
			return no("** stands for whole folders, not for part of a name", "write **/"+strings.ReplaceAll(e, "**", "*"))
		}
	}
	return true
}

// decodeScalar decodes one string, bool or number and holds it to its bounds.
func (l *loader) decodeScalar(x hclsyntax.Expression, f *field, dst reflect.Value) bool {
	v, ok := l.eval.value(x, false)
	return ok && l.setScalar(x, v, f, dst)
}

// setScalar sets dst to the value v of x.
func (l *loader) setScalar(x hclsyntax.Expression, v cty.Value, f *field, dst reflect.Value) bool {
	at := rangeOf(x.Range())
	text := dst.Kind() == reflect.String
	numberText := text && (f.min != nil || f.max != nil) // one of its words, or a number
	if numberText {
		if n, ok := numberIn(v); ok {
			if !l.inBounds(n, f, at, x) {
				return false
			}
			dst.SetString(strconv.FormatFloat(n, 'g', -1, 64))
			return true
		}
	}
	if want := typeOf(dst); v.Type() != want {
		l.d.fault(at, fmt.Sprintf("%s is %s; this is %s", f.name, typeWord(want), typeWord(v.Type())), l.typeHint(f, want, x))
		return false
	}
	if isNumber(dst.Type()) && dst.Kind() != reflect.Float64 && dst.Kind() != reflect.Float32 && !v.AsBigFloat().IsInt() {
		l.d.fault(at, f.name+" is a whole number", l.eval.origin(x))
		return false
	}
	if err := gocty.FromCtyValue(v, dst.Addr().Interface()); err != nil {
		l.d.fault(at, f.name+" cannot hold this", plainText(err.Error()))
		return false
	}
	if dst.CanFloat() && dst.Float() == 0 {
		dst.SetFloat(0) // −0 is the same to whoever wrote it, and has no place in a key
	}
	if text {
		return l.inWords(dst.String(), f, at, x)
	}
	if isNumber(dst.Type()) {
		return l.inBounds(floatOf(v), f, at, x)
	}
	return true
}

// numberIn returns the number that a value is, or whose text it is.
func numberIn(v cty.Value) (float64, bool) {
	switch v.Type() {
	case cty.Number:
		return floatOf(v), true
	case cty.String:
		if n, err := cty.ParseNumberVal(v.AsString()); err == nil {
			return floatOf(n), true
		}
	}
	return 0, false
}

// floatOf is the nearest float64, without −0.
func floatOf(v cty.Value) float64 {
	n, _ := v.AsBigFloat().Float64()
	return n + 0
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
	l.d.fault(at, fmt.Sprintf("%s is %s: it must be %s", f.name, withUnit(n, unit), span), cmp.Or(l.eval.origin(x), fractionHint(n, hi, unit)))
	return false
}

// fractionHint is for who writes a share in percent.
func fractionHint(n, hi float64, unit string) string {
	if hi != 1 || unit != "" || n <= 1 || n > 100 {
		return ""
	}
	return fmt.Sprintf("it is a fraction: %s %% is %s", number(n), number(n/100))
}

// decodeRefs decodes the names of other blocks.
func (l *loader) decodeRefs(x hclsyntax.Expression, f *field, dst reflect.Value, t *bodyTarget) {
	list := f.typ.Kind() == reflect.Slice
	exprs := []hclsyntax.Expression{x}
	if list {
		exprs = items(x)
	} else if _, ok := x.(*hclsyntax.TupleConsExpr); ok {
		l.d.fault(rangeOf(x.Range()), f.name+" names one block", "write it without [ ]")
		t.hides(f.name)
		return
	}
	var refs []Ref
	for _, e := range exprs {
		r, ok := l.ref(e, f)
		if !ok {
			t.hides(f.name)
			continue
		}
		if slices.Contains(refs, r) {
			l.d.fault(rangeOf(e.Range()), fmt.Sprintf("%s names %s twice", f.name, r), "name each block once")
			continue
		}
		refs = append(refs, r)
		l.used[r] = true
		if !slices.Contains(t.block.Refs, r) {
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
	if text, ok := refInQuotes(x); ok {
		return no(f.name+" names a block; this is a text", "write "+text+" without quotes")
	}
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
	case !declared && (l.misnamed[r.Name] || l.nameless[r.Kind]):
		return Ref{}, false // its block is there, and its fault is told
	case !declared:
		return no("there is no block "+r.String(), l.unknownRef(r))
	case slices.Index(l.order, r) > slices.Index(l.order, l.current):
		return no(r.String()+" stands further down", "a later block names an earlier one: move "+r.String()+" up")
	}
	return r, true
}

// refInQuotes finds a reference that was written as a text.
func refInQuotes(x hclsyntax.Expression) (string, bool) {
	t, ok := x.(*hclsyntax.TemplateExpr)
	if !ok || !t.IsStringLiteral() {
		return "", false
	}
	v, _ := t.Value(nil)
	kind, name, dot := strings.Cut(v.AsString(), ".")
	return v.AsString(), dot && hclsyntax.ValidIdentifier(kind) && hclsyntax.ValidIdentifier(name)
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
