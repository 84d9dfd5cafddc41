package pipeline

import (
	"fmt"
	"reflect"
	"regexp"
	"slices"

	"github.com/hashicorp/hcl/v2/hclsyntax"
)

// goodLabel is what a block may be called: it becomes part of names and paths, and
// must be a word that can stand after a dot.
var goodLabel = regexp.MustCompile(`^[A-Za-z_][A-Za-z0-9_-]*$`)

// loader is one pass over a manifest.
type loader struct {
	eval  *evaluator
	d     *Diagnostics
	kinds []*kindSchema
	m     *Manifest
	file  string

	all      map[Ref]Range // every block with a good name, wherever it stands
	order    []Ref
	misnamed map[string]bool // names of blocks whose kind is misspelt
	nameless map[string]bool // kinds of blocks whose name is missing or bad
	current  Ref
	used     map[Ref]bool
}

// load decodes the body into the manifest.
func (l *loader) load(body *hclsyntax.Body, overrides []Override) {
	for _, a := range sortedAttributes(body) {
		l.d.fault(rangeOf(a.NameRange), a.Name+" stands outside any block", "put it into the block it belongs to, or into settings { }")
	}
	l.loadSettings(body, overrides)
	l.declare(body)
	l.loadNight(body)
	for _, b := range body.Blocks {
		if k := l.kind(b.Type); k != nil {
			l.loadBlock(k, b)
		}
	}
	l.judgeUse()
	l.m.judgeOutputs(l.d)
}

func sortedAttributes(b *hclsyntax.Body) []*hclsyntax.Attribute {
	var out []*hclsyntax.Attribute
	for _, a := range b.Attributes {
		out = append(out, a)
	}
	slices.SortFunc(out, func(a, b *hclsyntax.Attribute) int { return a.NameRange.Start.Byte - b.NameRange.Start.Byte })
	return out
}

func (l *loader) kind(name string) *kindSchema {
	i := slices.IndexFunc(l.kinds, func(k *kindSchema) bool { return k.kind == name })
	if i < 0 {
		return nil
	}
	return l.kinds[i]
}

// declare notes every block's name, so that references can be told apart from
// mistakes wherever they stand.
func (l *loader) declare(body *hclsyntax.Body) {
	l.all, l.used = map[Ref]Range{}, map[Ref]bool{}
	l.misnamed, l.nameless = map[string]bool{}, map[string]bool{}
	names := []string{"night", "settings"}
	for _, k := range l.kinds {
		names = append(names, k.kind)
	}
	for _, b := range body.Blocks {
		at := rangeOf(b.TypeRange)
		if b.Type == "night" || b.Type == "settings" {
			if len(b.Labels) > 0 {
				l.d.fault(rangeOf(b.LabelRanges[0]), b.Type+" has no name", "write "+b.Type+" { … }")
			}
			continue
		}
		if l.kind(b.Type) == nil {
			l.d.fault(at, "there is no kind of block called "+b.Type, meant(b.Type, names, "the kinds are "+listing(names, "and")))
			for _, name := range b.Labels {
				l.misnamed[name] = true
			}
			continue
		}
		name, ok := l.label(b)
		if !ok {
			l.nameless[b.Type] = true
			continue
		}
		r := Ref{b.Type, name}
		if first, dup := l.all[r]; dup {
			l.d.fault(rangeOf(b.LabelRanges[0]), fmt.Sprintf("there are two blocks %s %q", b.Type, name),
				fmt.Sprintf("the first stands on line %d; give one of them another name", first.Line))
			continue
		}
		l.all[r] = rangeOf(b.DefRange())
		l.order = append(l.order, r)
	}
}

func (l *loader) label(b *hclsyntax.Block) (string, bool) {
	switch {
	case len(b.Labels) == 0:
		l.d.fault(rangeOf(b.TypeRange), "this "+b.Type+" block has no name", fmt.Sprintf("write %s \"NAME\" { … }", b.Type))
		return "", false
	case len(b.Labels) > 1:
		l.d.fault(rangeOf(b.LabelRanges[1]), "a block has one name", fmt.Sprintf("write %s %q { … }", b.Type, b.Labels[0]))
		return "", false
	case !goodLabel.MatchString(b.Labels[0]):
		l.d.fault(rangeOf(b.LabelRanges[0]), fmt.Sprintf("%q cannot be a block's name", b.Labels[0]), "use letters a to z, digits, - and _, and begin with a letter")
		return "", false
	}
	return b.Labels[0], true
}

func (l *loader) loadNight(body *hclsyntax.Body) {
	sch := newSchema(reflect.TypeFor[Night]())
	seen := false
	for _, b := range body.Blocks {
		if b.Type != "night" {
			continue
		}
		if seen {
			l.d.fault(rangeOf(b.DefRange()), "there are two night blocks", "put everything into one")
			continue
		}
		seen = true
		whole := &Block{Kind: "night", Range: rangeOf(b.DefRange()), fields: map[string]Range{}}
		l.decodeBody(b.Body, "night", &bodyTarget{targets: []target{{sch, reflect.ValueOf(&l.m.Night).Elem()}}, block: whole})
		l.m.place(l.d, whole, l.m.Night.check())
	}
}

// loadBlock decodes one block for each of the steps that serve its kind.
func (l *loader) loadBlock(k *kindSchema, b *hclsyntax.Block) {
	if len(b.Labels) != 1 || !goodLabel.MatchString(b.Labels[0]) {
		return
	}
	l.current = Ref{k.kind, b.Labels[0]}
	if l.all[l.current] != rangeOf(b.DefRange()) {
		if first := l.m.Block(l.current); first != nil {
			first.partly = true
		}
		return // the second of two of one name
	}
	blk := &Block{Kind: k.kind, Name: b.Labels[0], Range: rangeOf(b.DefRange()), fields: map[string]Range{}}
	bt := &bodyTarget{block: blk}
	for i, s := range k.steps {
		v := s.New()
		blk.Steps = append(blk.Steps, BoundStep{s, v})
		bt.targets = append(bt.targets, target{k.schemas[i], reflect.ValueOf(v).Elem()})
		for _, f := range k.schemas[i].fields {
			blk.hasFiles = blk.hasFiles || f.typ == typeFiles && f.name != "except"
		}
	}
	before := l.d.errors()
	l.decodeBody(b.Body, k.kind+" block", bt)
	l.m.Blocks = append(l.m.Blocks, blk)
	if l.d.errors() > before {
		return // a step's own checks would only repeat what is told
	}
	for _, s := range blk.Steps {
		if s.Step.Check != nil {
			l.m.place(l.d, blk, s.Step.Check(s.Settings, l.m.Night))
		}
	}
}

// target is a settings struct to be filled, with its schema.
type target struct {
	sch *schema
	val reflect.Value
}

// bodyTarget is where a body's settings go: several structs of one block, or one
// nested struct.
type bodyTarget struct {
	targets []target
	block   *Block
	path    string // "" or "band.fine."
}

func (t *bodyTarget) names() (attrs, blocks []string) {
	for _, g := range t.targets {
		for _, f := range g.sch.fields {
			switch {
			case f.role == roleValue && !slices.Contains(attrs, f.name):
				attrs = append(attrs, f.name)
			case f.role == roleBlock && !slices.Contains(blocks, f.name):
				blocks = append(blocks, f.name)
			}
		}
	}
	return attrs, blocks
}

// elsewhere is the hint for a setting that a body has not: the block inside it
// that has, or all that it has.
func (t *bodyTarget) elsewhere(name string, known []string) string {
	for _, g := range t.targets {
		for _, f := range g.sch.fields {
			if f.sub != nil && f.sub.field(name) != nil {
				return fmt.Sprintf("%s stands in a %s block inside it", name, f.name)
			}
		}
	}
	return "it has " + listing(known, "and")
}

func (l *loader) decodeBody(body *hclsyntax.Body, what string, t *bodyTarget) {
	attrs, blocks := t.names()
	known := slices.Concat(attrs, blocks)
	for _, a := range sortedAttributes(body) {
		switch {
		case slices.Contains(blocks, a.Name):
			l.d.fault(rangeOf(a.NameRange), a.Name+" is a block, not a value", "write "+a.Name+" { … } without =")
		case !slices.Contains(attrs, a.Name):
			l.d.fault(rangeOf(a.NameRange), fmt.Sprintf("a %s has no setting %s", what, a.Name), meant(a.Name, known, t.elsewhere(a.Name, known)))
			t.hides(a.Name)
			l.eval.use(a.Expr)
		default:
			l.decodeAttribute(a, t)
		}
	}
	for _, b := range body.Blocks {
		switch {
		case slices.Contains(attrs, b.Type):
			l.d.fault(rangeOf(b.TypeRange), b.Type+" is a value, not a block", "write "+b.Type+" = …")
			t.hides(b.Type)
		case !slices.Contains(blocks, b.Type):
			l.d.fault(rangeOf(b.TypeRange), fmt.Sprintf("a %s has no block %s", what, b.Type), meant(b.Type, known, "it has "+listing(known, "and")))
		}
	}
	for _, name := range blocks {
		l.decodeNested(body, name, t)
	}
	l.missing(body, what, t)
}

func (l *loader) decodeAttribute(a *hclsyntax.Attribute, t *bodyTarget) {
	t.block.fields[t.path+a.Name] = rangeOf(a.Expr.Range())
	for i, g := range t.targets {
		f := g.sch.field(a.Name)
		if f == nil {
			continue
		}
		if i > 0 && slices.ContainsFunc(t.targets[:i], func(o target) bool { return o.sch.field(a.Name) != nil }) {
			// Told already for the step before; decode again in silence.
			quiet := &Diagnostics{}
			d := l.d
			l.d, l.eval.d = quiet, quiet
			l.decodeValue(a.Expr, f, g.val.Field(f.index), t, true)
			l.d, l.eval.d = d, d
			continue
		}
		l.decodeValue(a.Expr, f, g.val.Field(f.index), t, false)
	}
}

// decodeNested decodes every block called name inside a body.
func (l *loader) decodeNested(body *hclsyntax.Body, name string, t *bodyTarget) {
	for _, g := range t.targets {
		f := g.sch.field(name)
		if f == nil {
			continue
		}
		dst := g.val.Field(f.index)
		many := f.typ.Kind() == reflect.Slice
		seen := map[string]Range{}
		n := 0
		for _, b := range body.Blocks {
			if b.Type != name {
				continue
			}
			if n++; !many && n > 1 {
				l.d.fault(rangeOf(b.DefRange()), "there are two blocks "+name, "put everything into one")
				continue
			}
			if many && n == 1 {
				dst.Set(reflect.Zero(f.typ))
			}
			l.decodeOne(b, f, dst, t, seen, n)
		}
	}
}

func (l *loader) decodeOne(b *hclsyntax.Block, f *field, dst reflect.Value, t *bodyTarget, seen map[string]Range, n int) {
	st := blockType(f.typ)
	v := reflect.New(st)
	if f.typ.Kind() != reflect.Slice && dst.Kind() == reflect.Pointer && !dst.IsNil() {
		v = dst
	} else if dst.Kind() == reflect.Struct {
		v = dst.Addr()
	} else if def, ok := v.Interface().(defaulter); ok {
		def.SetDefaults()
	}
	path := t.path + f.name
	if lf := f.sub.label(); lf != nil {
		name, ok := l.nestedLabel(b, lf, t, f.name)
		if !ok {
			return
		}
		if first, dup := seen[name]; dup {
			l.d.fault(rangeOf(b.LabelRanges[0]), fmt.Sprintf("there are two blocks %s %q", f.name, name), fmt.Sprintf("the first stands on line %d", first.Line))
			return
		}
		seen[name] = rangeOf(b.DefRange())
		v.Elem().Field(lf.index).SetString(name)
		path += "." + name
	} else {
		if len(b.Labels) > 0 {
			l.d.fault(rangeOf(b.LabelRanges[0]), "a "+f.name+" block has no name", "write "+f.name+" { … }")
		}
		if f.typ.Kind() == reflect.Slice {
			path += fmt.Sprintf(".%d", n-1)
		}
	}
	t.block.fields[path] = rangeOf(b.DefRange())
	l.decodeBody(b.Body, f.name+" block", &bodyTarget{[]target{{f.sub, v.Elem()}}, t.block, path + "."})
	switch {
	case f.typ.Kind() == reflect.Slice && f.typ.Elem().Kind() == reflect.Pointer:
		dst.Set(reflect.Append(dst, v))
	case f.typ.Kind() == reflect.Slice:
		dst.Set(reflect.Append(dst, v.Elem()))
	case dst.Kind() == reflect.Pointer:
		dst.Set(v)
	}
}

// nestedLabel is the name of a nested block: a word, or a clip's.
func (l *loader) nestedLabel(b *hclsyntax.Block, lf *field, t *bodyTarget, setting string) (string, bool) {
	if lf.typ != typeClip {
		return l.label(b)
	}
	name, ok := l.clipLabel(b)
	if ok {
		t.mentionClip(name, setting, rangeOf(b.LabelRanges[0]))
	}
	return name, ok
}
