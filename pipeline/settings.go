package pipeline

// # Settings structs
//
// Step.New returns a pointer to a struct whose exported fields carry an hcl tag:
//
//	Keep   float64   `hcl:"keep,optional" min:"0.01" max:"1"`
//	Clips  Ref       `hcl:"clips" refs:"clips"`          // required
//	Files  Files     `hcl:"files"`                       // patterns that select
//	Except Files     `hcl:"except,optional"`             // patterns that leave out
//	Runs   Sequences `hcl:"sequences,optional"`          // patterns of pictures that together are clips
//	Fit    *Fit      `hcl:"deconvolve,block"`            // at most one
//	Bands  []Band    `hcl:"band,block"`                  // any number
//	Name   string    `hcl:"name,label"`                  // of a nested block
//	Skip   []Clip    `hcl:"skip,optional"`               // clips by name; a label may be a Clip too
//
// A setting is a string, bool, number, a slice of those, or a pointer to one
// (nil: not given); a Ref, *Ref or []Ref; Files or Sequences, of which the latter may stand in
// for required Files. Where a list is wanted, one
// value may stand for a list of one. A block field is a struct (exactly one), a
// pointer to one (at most one), or a slice of either (any number, told apart by
// label if the struct has a label field). A field without an hcl tag is no setting.
//
// More tags: min and max bound numbers, inclusive, shown with the unit that the
// name ends in; oneof lists the words allowed; refs lists the kinds of block that
// may be named. A string with min or max takes one of its words or a number in
// the range, as text ("auto" or 0.3). Bounds hold for what a manifest gives, not
// for defaults, so that a default may be a zero that stands for unknown.
//
// Defaults are what Step.New sets. A nested struct is decoded into what New put
// there; one that New did not make starts from zero, or from SetDefaults if its
// pointer has that method. Blocks in a manifest replace a slice that New filled.
//
// Several steps may serve one kind of block; it then has the settings of all. The
// same name twice must have the same type and tags: both steps get the value.

import (
	"fmt"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// defaulter is a nested settings struct that is not zero by default.
type defaulter interface{ SetDefaults() }

type fieldRole int

const (
	roleValue fieldRole = iota
	roleBlock
	roleLabel
)

// field is one tagged field of a settings struct.
type field struct {
	name     string
	role     fieldRole
	required bool
	index    int
	typ      reflect.Type
	tag      reflect.StructTag

	min, max *float64
	oneof    []string
	refs     []string
	sub      *schema // of a block
}

// ofFiles tells whether it selects files, or leaves some out.
func (f field) ofFiles() bool { return f.typ == typeFiles || f.typ == typeSeqs }

// schema is a settings struct as the manifest sees it.
type schema struct {
	typ    reflect.Type
	fields []field
}

func (s *schema) field(name string) *field {
	for i := range s.fields {
		if s.fields[i].name == name && s.fields[i].role != roleLabel {
			return &s.fields[i]
		}
	}
	return nil
}

func (s *schema) label() *field {
	for i := range s.fields {
		if s.fields[i].role == roleLabel {
			return &s.fields[i]
		}
	}
	return nil
}

var (
	typeRef   = reflect.TypeFor[Ref]()
	typeFiles = reflect.TypeFor[Files]()
	typeSeqs  = reflect.TypeFor[Sequences]()
	typeClip  = reflect.TypeFor[Clip]()
	goodName  = regexp.MustCompile(`^[a-z][a-z0-9_]*$`)
)

// newSchema reads a struct's tags. Mistakes in them are a programmer's: it panics.
func newSchema(t reflect.Type, outer ...reflect.Type) *schema {
	if t.Kind() != reflect.Struct {
		panic(fmt.Sprintf("pipeline: settings must be a struct, not %s", t))
	}
	if slices.Contains(outer, t) {
		panic(fmt.Sprintf("pipeline: settings struct %s holds itself", t))
	}
	s := &schema{typ: t}
	for i := range t.NumField() {
		sf := t.Field(i)
		tag, ok := sf.Tag.Lookup("hcl")
		if !ok {
			continue
		}
		f := field{index: i, typ: sf.Type, tag: sf.Tag}
		where := fmt.Sprintf("pipeline: settings field %s.%s", t, sf.Name)
		if !sf.IsExported() {
			panic(where + " is tagged but not exported")
		}
		f.parse(tag, where, append(outer, t))
		if s.field(f.name) != nil || f.role == roleLabel && s.label() != nil {
			panic(where + ": two fields of this name")
		}
		s.fields = append(s.fields, f)
	}
	return s
}

func (f *field) parse(tag, where string, outer []reflect.Type) {
	name, kind, _ := strings.Cut(tag, ",")
	if f.name = name; !goodName.MatchString(name) {
		panic(fmt.Sprintf("%s: %q is no name for a setting", where, name))
	}
	switch kind {
	case "":
		f.required = true
	case "optional":
	case "label":
		f.role = roleLabel
		if f.typ.Kind() != reflect.String {
			panic(where + ": a label must be a string")
		}
	case "block":
		f.role = roleBlock
		f.required = f.typ.Kind() == reflect.Struct
		f.sub = newSchema(blockType(f.typ), outer...)
	default:
		panic(fmt.Sprintf("%s: tag %q: want optional, block or label", where, kind))
	}
	f.min, f.max = bound(f.tag, "min", where), bound(f.tag, "max", where)
	f.oneof = strings.Fields(f.tag.Get("oneof"))
	f.refs = strings.Fields(f.tag.Get("refs"))
	base := valueType(f.typ)
	switch {
	case f.role == roleBlock:
	case base == typeRef, base.Kind() == reflect.String, base.Kind() == reflect.Bool, isNumber(base):
	default:
		panic(fmt.Sprintf("%s: no manifest value fits the type %s", where, f.typ))
	}
	if len(f.refs) > 0 && base != typeRef {
		panic(where + ": refs on something that is no Ref")
	}
	if (f.min != nil || f.max != nil) && !isNumber(base) && base.Kind() != reflect.String {
		panic(where + ": min or max on something that is no number")
	}
}

// blockType is the struct behind T, *T, []T and []*T.
func blockType(t reflect.Type) reflect.Type {
	if t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	return t
}

// valueType is the plain type behind T, *T and []T.
func valueType(t reflect.Type) reflect.Type {
	if k := t.Kind(); k == reflect.Slice || k == reflect.Pointer {
		return t.Elem()
	}
	return t
}

func isNumber(t reflect.Type) bool {
	return t.Kind() >= reflect.Int && t.Kind() <= reflect.Float64 && t.Kind() != reflect.Uintptr
}

func bound(tag reflect.StructTag, key, where string) *float64 {
	s, ok := tag.Lookup(key)
	if !ok {
		return nil
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		panic(fmt.Sprintf("%s: %s: %v", where, key, err))
	}
	return &v
}

// kindSchema is one kind of block: the steps that serve it, in order.
type kindSchema struct {
	kind    string
	steps   []Step
	schemas []*schema
}

// newKinds reads the settings of all steps; it panics where two clash.
func newKinds(steps []Step) []*kindSchema {
	var kinds []*kindSchema
	for _, s := range steps {
		if !goodName.MatchString(s.Block) || s.Block == "night" || s.Block == "settings" {
			panic(fmt.Sprintf("pipeline: step %s: %q is no kind of block", s.Name, s.Block))
		}
		i := slices.IndexFunc(kinds, func(k *kindSchema) bool { return k.kind == s.Block })
		if i < 0 {
			i, kinds = len(kinds), append(kinds, &kindSchema{kind: s.Block})
		}
		t := reflect.TypeOf(s.New())
		if t.Kind() != reflect.Pointer {
			panic(fmt.Sprintf("pipeline: step %s: New must return a pointer to a struct, not %s", s.Name, t))
		}
		kinds[i].add(s, newSchema(t.Elem()))
	}
	return kinds
}

func (k *kindSchema) add(s Step, sch *schema) {
	for _, other := range k.schemas {
		for _, f := range sch.fields {
			g := other.field(f.name)
			if g != nil && (g.typ != f.typ || g.tag != f.tag) {
				panic(fmt.Sprintf("pipeline: step %s: the setting %q of a %s block is another step's with another type or tags", s.Name, f.name, k.kind))
			}
		}
	}
	k.steps = append(k.steps, s)
	k.schemas = append(k.schemas, sch)
}

// takesRefsTo tells whether a field of s, at any depth, may name that kind.
func (s *schema) takesRefsTo(kind string) bool {
	return slices.ContainsFunc(s.fields, func(f field) bool {
		return slices.Contains(f.refs, kind) || f.sub != nil && f.sub.takesRefsTo(kind)
	})
}
