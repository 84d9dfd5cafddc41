package pipeline

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/hashicorp/hcl/v2"
	"github.com/hashicorp/hcl/v2/hclsyntax"
	"github.com/zclconf/go-cty/cty"
)

// maxOperations bounds the arithmetic of one expression, and with it the length
// of the numbers that it can make.
const maxOperations = 100

// maxTexts bounds what the values of all expressions hold, in bytes: a text that is named again and again counts each time.
const maxTexts = 8 << 20

// setting is one entry of the settings block.
type setting struct {
	name  string
	value cty.Value
	bad   bool // a fault was told; what uses it stays silent
	set   bool // by an override
	used  bool
	at    Range // of the name
}

// evaluator knows which expressions a manifest may hold and computes them.
type evaluator struct {
	d        *Diagnostics
	settings map[string]*setting
	names    []string // of settings, in source order
	kinds    []string // of blocks
	context  *hcl.EvalContext
	held     int // bytes that the values so far hold
}

func (e *evaluator) bind() {
	vals := map[string]cty.Value{}
	for _, s := range e.settings {
		if !s.bad {
			vals[s.name] = s.value
		}
	}
	e.context = &hcl.EvalContext{Variables: map[string]cty.Value{"settings": cty.ObjectVal(vals)}}
}

// value computes an expression. When ok is false a fault was told.
func (e *evaluator) value(x hclsyntax.Expression, literal bool) (v cty.Value, ok bool) {
	ops := 0
	if !e.allowed(x, literal, &ops) {
		return cty.NilVal, false
	}
	at := rangeOf(x.Range())
	if e.held > maxTexts {
		return cty.NilVal, false // told before
	}
	if e.held += e.holds(x); e.held > maxTexts {
		e.d.fault(at, fmt.Sprintf("the texts and lists up to this one hold more than %d bytes", maxTexts), "name long texts of settings less often")
		return cty.NilVal, false
	}
	defer func() {
		if p := recover(); p != nil { // an infinity less an infinity, from the number library
			e.d.fault(at, "this has no finite value", "look for a division by zero, or a number beyond 1.8e308")
			v, ok = cty.NilVal, false
		}
	}()
	v, diags := x.Value(e.context)
	if diags.HasErrors() {
		for _, g := range diags {
			e.d.list = append(e.d.list, uncomputed(g, at))
		}
		return cty.NilVal, false
	}
	if v.IsNull() || !v.IsWhollyKnown() {
		e.d.fault(at, "this has no value", "")
		return cty.NilVal, false
	}
	if !allFinite(v) {
		e.d.fault(at, "this has no finite value", "look for a division by zero, or a number beyond 1.8e308")
		return cty.NilVal, false
	}
	return v, true
}

// holds is about how many bytes the value of an expression takes beyond its own text, for what it names of settings.
func (e *evaluator) holds(x hclsyntax.Expression) (n int) {
	for _, t := range x.Variables() {
		if w := dotted(t); len(w) == 2 && e.settings[w[1]] != nil {
			n += bytesOf(e.settings[w[1]].value)
		}
	}
	return n
}

// bytesOf is about how many bytes a value takes.
func bytesOf(v cty.Value) int {
	switch {
	case v == cty.NilVal:
		return 0
	case isList(v):
		n := 0
		for _, e := range v.AsValueSlice() {
			n += 16 + bytesOf(e)
		}
		return n
	case v.Type() == cty.String:
		return len(v.AsString())
	}
	return 8
}

func uncomputed(g *hcl.Diagnostic, at Range) Diagnostic {
	if g.Subject != nil {
		at = rangeOf(*g.Subject)
	}
	switch g.Summary {
	case "Division by zero":
		return Diagnostic{Range: at, Text: "this divides by zero"}
	case "Invalid operand":
		return Diagnostic{Range: at, Text: "arithmetic needs numbers", Hint: "this is something else: see what it stands for"}
	case "Invalid template interpolation value":
		return Diagnostic{Range: at, Text: "only a number or a text can stand inside a text", Hint: "a list cannot"}
	}
	if strings.Contains(g.Detail, "infinity") {
		return Diagnostic{Range: at, Text: "this has no finite value", Hint: "look for a division by zero, or a number beyond 1.8e308"}
	}
	return Diagnostic{Range: at, Text: "this cannot be computed: " + plainText(g.Detail)}
}

func allFinite(v cty.Value) bool {
	if isList(v) {
		return !slices.ContainsFunc(v.AsValueSlice(), func(v cty.Value) bool { return !allFinite(v) })
	}
	return v.Type() != cty.Number || isFinite(v)
}

func isFinite(v cty.Value) bool {
	f, _ := v.AsBigFloat().Float64()
	return !math.IsInf(f, 0) && !math.IsNaN(f)
}

// allowed tells whether an expression holds only what a manifest may hold:
// literals, lists, arithmetic, settings.NAME and texts with those inside; only
// literals where literal is set. It tells each fault.
func (e *evaluator) allowed(x hclsyntax.Expression, literal bool, ops *int) bool {
	at := rangeOf(x.Range())
	no := func(text, hint string) bool { e.d.fault(at, text, hint); return false }
	switch x := x.(type) {
	case *hclsyntax.LiteralValueExpr:
		switch {
		case x.Val.IsNull():
			return no("null is no value here", "leave the line out to have the default")
		case x.Val.Type() == cty.Number && !isFinite(x.Val):
			return no("this number is too large", "the largest is about 1.8e308")
		}
		return true
	case *hclsyntax.ParenthesesExpr:
		return e.allowed(x.Expression, literal, ops)
	case *hclsyntax.TemplateWrapExpr:
		return e.allowed(x.Wrapped, literal, ops)
	case *hclsyntax.TemplateExpr:
		return e.allAllowed(x.Parts, literal, ops)
	case *hclsyntax.TupleConsExpr:
		return e.allAllowed(x.Exprs, literal, ops)
	case *hclsyntax.ScopeTraversalExpr:
		if literal {
			return no("an entry of settings is a plain value", "write a number, true or false, a text in quotes, or a list of these")
		}
		return e.traversal(x)
	case *hclsyntax.UnaryOpExpr:
		if x.Op == hclsyntax.OpNegate {
			return e.allowed(x.Val, literal, ops)
		}
	case *hclsyntax.BinaryOpExpr:
		if *ops++; *ops > maxOperations {
			return no(fmt.Sprintf("this expression has more than %d operations", maxOperations), "write the value itself")
		}
		switch x.Op {
		case hclsyntax.OpAdd, hclsyntax.OpSubtract, hclsyntax.OpMultiply, hclsyntax.OpDivide:
			return e.allAllowed([]hclsyntax.Expression{x.LHS, x.RHS}, literal, ops)
		}
		return no("a manifest makes no decisions", "numbers take + - * / and parentheses; write other values out")
	case *hclsyntax.FunctionCallExpr:
		at = rangeOf(x.NameRange)
		return no("a manifest calls no functions: "+x.Name, "write the value itself, or settings.NAME for one that stands in settings")
	case *hclsyntax.ConditionalExpr:
		return no("a manifest makes no decisions", "write the value itself, and change it with --set where it stands in settings")
	case *hclsyntax.ForExpr, *hclsyntax.SplatExpr, *hclsyntax.TemplateJoinExpr:
		return no("a manifest has no loops", "write the list out; files take patterns such as \"clips/*.ser\"")
	case *hclsyntax.ObjectConsExpr:
		return no("{ } with = before it is no value here", "write a block without =, or a list in [ ]")
	case *hclsyntax.ExprSyntaxError:
		return false // told by the parser
	}
	return no("this is no value that a manifest can hold", "write a number, true or false, a text in quotes, a list of these, or settings.NAME")
}

func (e *evaluator) allAllowed(xs []hclsyntax.Expression, literal bool, ops *int) bool {
	ok := true
	for _, x := range xs {
		ok = e.allowed(x, literal, ops) && ok
	}
	return ok
}

// traversal checks a name in a place where a value is wanted.
func (e *evaluator) traversal(x *hclsyntax.ScopeTraversalExpr) bool {
	at, words := rangeOf(x.Range()), dotted(x.Traversal)
	no := func(text, hint string) bool { e.d.fault(at, text, hint); return false }
	root := x.Traversal.RootName()
	switch {
	case root == "settings" && len(words) != 2:
		return no("an entry of settings is named by two words", "write settings.NAME")
	case root == "settings":
		s := e.settings[words[1]]
		if s == nil {
			hint := "settings has " + listing(e.names, "and")
			if len(e.names) == 0 {
				hint = "add it: settings { " + words[1] + " = … }"
			}
			return no("settings has no entry "+words[1], meant(words[1], e.names, hint))
		}
		s.used = true
		return !s.bad
	case slices.Contains(e.kinds, root):
		return no("this names a block; here a value should stand", "write a number, true or false, a text in quotes, or settings.NAME")
	case len(x.Traversal) == 1 && e.settings[root] != nil:
		return no(root+" alone is no value", "write settings."+root+" for the entry of settings, or \""+root+"\" for the word")
	case len(x.Traversal) == 1:
		return no(root+" is no value", "a word stands in quotes: \""+root+"\"")
	case near(root, []string{"settings"}) != "":
		return no("nothing is called "+root, "did you mean settings?")
	}
	return no("nothing is called "+root, "a manifest sees only itself: write a value, or settings.NAME")
}

// dotted returns the words of a.b.c; an index that is no word gives nil.
func dotted(t hcl.Traversal) []string {
	var out []string
	for _, step := range t {
		switch s := step.(type) {
		case hcl.TraverseRoot:
			out = append(out, s.Name)
		case hcl.TraverseAttr:
			out = append(out, s.Name)
		default:
			return nil
		}
	}
	return out
}

// use counts the entries of settings that an expression names as used, though the
// expression itself leads nowhere.
func (e *evaluator) use(x hclsyntax.Expression) {
	for _, t := range x.Variables() {
		if w := dotted(t); len(w) == 2 && w[0] == "settings" && e.settings[w[1]] != nil {
			e.settings[w[1]].used = true
		}
	}
}

// origin says where a value comes from when it does not stand where it is used.
func (e *evaluator) origin(x hclsyntax.Expression) string {
	for _, t := range x.Variables() {
		w := dotted(t)
		if len(w) != 2 || e.settings[w[1]] == nil {
			continue
		}
		s := e.settings[w[1]]
		if s.set {
			return fmt.Sprintf("settings.%s was set by --set", s.name)
		}
		return fmt.Sprintf("settings.%s stands on line %d", s.name, s.at.Line)
	}
	return ""
}
