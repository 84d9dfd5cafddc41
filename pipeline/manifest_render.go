package pipeline

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/width"
)

// Colours of a rendered fault: bold for what is wrong, underlined marks.
const (
	bold  = "\x1b[1m"
	plain = "\x1b[0m"
)

const tabWidth = 4

// Render writes the diagnostics for people: place and fault on one line, then the
// line of the manifest with carets under what is meant, then what to do. A line
// longer than cols is shown around the carets.
func (d Diagnostics) Render(w io.Writer, colour bool, cols int) error {
	var b bytes.Buffer
	for _, x := range d.list {
		d.render(&b, x, colour, max(cols, 40))
	}
	_, err := w.Write(b.Bytes())
	return err
}

func (d Diagnostics) render(b *bytes.Buffer, x Diagnostic, colour bool, cols int) {
	kind := "error"
	if x.Warning {
		kind = "warning"
	}
	on, off := "", ""
	if colour {
		on, off = bold, plain
	}
	fmt.Fprintf(b, "%s%s: %s%s%s\n", x.place(), kind, on, x.Text, off)
	if line, ok := d.sourceLine(x.Range); ok {
		text, marks := underline(line, x.Range, cols-4)
		fmt.Fprintf(b, "    %s\n    %s%s%s\n", text, on, marks, off)
	}
	if x.Hint != "" {
		fmt.Fprintf(b, "  %s\n", x.Hint)
	}
}

func (d Diagnostics) sourceLine(r Range) (string, bool) {
	src, ok := d.sources[r.File]
	if !ok || !r.known() {
		return "", false
	}
	lines := bytes.Split(src, []byte("\n"))
	if r.Line > len(lines) {
		return "", false
	}
	return strings.TrimSuffix(string(lines[r.Line-1]), "\r"), true
}

// underline lays out a source line and the carets under columns of the range.
func underline(line string, r Range, cols int) (text, marks string) {
	var t, m strings.Builder
	at, first := 0, -1
	put := func(s string, wide int, marked bool) {
		t.WriteString(s)
		if marked && first < 0 {
			first = at
		}
		mark := " "
		if marked {
			mark = "^"
		}
		m.WriteString(strings.Repeat(mark, wide))
		at += wide
	}
	end := r.EndColumn
	if r.EndLine > r.Line {
		end = utf8.RuneCountInString(line) + 1
	}
	col := 0
	for _, c := range line {
		col++
		marked := col >= r.Column && col < max(end, r.Column+1)
		if c == '\t' {
			n := tabWidth - at%tabWidth
			put(strings.Repeat(" ", n), n, marked)
			continue
		}
		put(string(c), cells(c), marked)
	}
	if first < 0 {
		first = at
		m.WriteString("^")
	}
	text, marks = t.String(), strings.TrimRight(m.String(), " ")
	if utf8.RuneCountInString(text) <= cols {
		return text, marks
	}
	return window(text, marks, first, cols)
}

// cells is how many columns of a terminal a character takes.
func cells(c rune) int {
	switch width.LookupRune(c).Kind() {
	case width.EastAsianWide, width.EastAsianFullwidth:
		return 2
	}
	return 1
}

// window cuts a long line around the first caret.
func window(text, marks string, first, cols int) (string, string) {
	from := max(0, first-cols/3)
	cut := func(s string) string {
		r := []rune(s)
		if from >= len(r) {
			return ""
		}
		return string(r[from:min(len(r), from+cols-2)])
	}
	text, marks = cut(text), cut(marks)
	if from > 0 {
		text, marks = "…"+text, " "+marks
	}
	return text + "…", marks
}
