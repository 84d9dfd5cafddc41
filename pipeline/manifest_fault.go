package pipeline

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/hashicorp/hcl/v2"
)

// Range is a stretch of a manifest. Lines and columns count from 1, columns in
// characters as a reader sees them. The zero Range is nowhere.
type Range struct {
	File      string
	Line      int
	Column    int
	EndLine   int
	EndColumn int

	start, end int // bytes
}

func (r Range) known() bool { return r.Line > 0 }

func rangeOf(r hcl.Range) Range {
	return Range{
		File: r.Filename, Line: r.Start.Line, Column: r.Start.Column,
		EndLine: r.End.Line, EndColumn: r.End.Column,
		start: r.Start.Byte, end: r.End.Byte,
	}
}

// Diagnostic is one fault of a manifest or of what it names, or a warning.
type Diagnostic struct {
	Warning bool
	Range   Range
	Text    string // what is wrong, without a full stop
	Hint    string // what to do; may be empty
}

// Diagnostics is everything that was found in one pass. The zero value is ready
// to use. It satisfies error, but return Err() where an error is wanted.
type Diagnostics struct {
	list    []Diagnostic
	sources map[string][]byte // by Range.File, for the lines shown
}

// Len returns the number of faults and warnings.
func (d Diagnostics) Len() int { return len(d.list) }

// All returns the faults and warnings in the order of the source.
func (d Diagnostics) All() []Diagnostic { return slices.Clone(d.list) }

// HasErrors tells whether one of them is more than a warning.
func (d Diagnostics) HasErrors() bool { return d.errors() > 0 }

func (d Diagnostics) errors() int {
	n := 0
	for _, x := range d.list {
		if !x.Warning {
			n++
		}
	}
	return n
}

// Err returns d as an error, or nil when there are at most warnings.
func (d Diagnostics) Err() error {
	if !d.HasErrors() {
		return nil
	}
	return d
}

// Error names the first error and how many more there are.
func (d Diagnostics) Error() string {
	i := slices.IndexFunc(d.list, func(x Diagnostic) bool { return !x.Warning })
	if i < 0 {
		return "no faults"
	}
	s := d.list[i].place() + d.list[i].Text
	if n := d.errors() - 1; n > 0 {
		s += fmt.Sprintf(" (and %d more)", n)
	}
	return s
}

// place is the prefix that editors know how to jump to.
func (x Diagnostic) place() string {
	switch {
	case x.Range.known():
		return fmt.Sprintf("%s:%d:%d: ", x.Range.File, x.Range.Line, x.Range.Column)
	case x.Range.File != "":
		return x.Range.File + ": "
	}
	return ""
}

// Append adds the other's findings to d and puts all in the order of the source.
func (d *Diagnostics) Append(o Diagnostics) {
	for name, src := range o.sources {
		d.addSource(name, src)
	}
	d.list = append(d.list, o.list...)
	d.sort()
}

func (d *Diagnostics) addSource(name string, src []byte) {
	if d.sources == nil {
		d.sources = map[string][]byte{}
	}
	d.sources[name] = src
}

func (d *Diagnostics) fault(r Range, text, hint string) {
	d.list = append(d.list, Diagnostic{Range: r, Text: text, Hint: hint})
}

func (d *Diagnostics) warn(r Range, text, hint string) {
	d.list = append(d.list, Diagnostic{Warning: true, Range: r, Text: text, Hint: hint})
}

// sort orders by place, and drops what was said twice of one place.
func (d *Diagnostics) sort() {
	slices.SortStableFunc(d.list, func(a, b Diagnostic) int {
		return cmp.Or(strings.Compare(a.Range.File, b.Range.File),
			cmp.Compare(a.Range.start, b.Range.start), cmp.Compare(a.Range.end, b.Range.end))
	})
	d.list = slices.Compact(d.list)
}

// MarshalJSON writes an array of objects with file, line, column, end_line,
// end_column, severity ("error" or "warning"), text and hint.
func (d Diagnostics) MarshalJSON() ([]byte, error) {
	type object struct {
		Severity  string `json:"severity"`
		File      string `json:"file,omitempty"`
		Line      int    `json:"line,omitempty"`
		Column    int    `json:"column,omitempty"`
		EndLine   int    `json:"end_line,omitempty"`
		EndColumn int    `json:"end_column,omitempty"`
		Text      string `json:"text"`
		Hint      string `json:"hint,omitempty"`
	}
	out := make([]object, 0, len(d.list))
	for _, x := range d.list {
		o := object{"error", x.Range.File, x.Range.Line, x.Range.Column, x.Range.EndLine, x.Range.EndColumn, x.Text, x.Hint}
		if x.Warning {
			o.Severity = "warning"
		}
		out = append(out, o)
	}
	return json.Marshal(out)
}

// AsDiagnostics finds Diagnostics in an error chain.
func AsDiagnostics(err error) (Diagnostics, bool) {
	var d Diagnostics
	ok := errors.As(err, &d)
	return d, ok
}
