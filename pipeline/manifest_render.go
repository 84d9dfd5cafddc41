package pipeline

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/width"
)

// Colours of a rendered fault: bold for what is wrong, and for the marks.
const (
	bold  = "\x1b[1m"
	plain = "\x1b[0m"
)

const (
	tabWidth = 4
	maxShown = 100 // a file that is no manifest at all has a fault a line
)

// Render writes the diagnostics for people: place and fault on one line, then the
// line of the manifest with carets under what is meant, then what to do. A line
// longer than cols is shown around the carets. Nothing in a manifest can move the
// cursor or colour the screen.
func (d Diagnostics) Render(w io.Writer, colour bool, cols int) error {
	var b bytes.Buffer
	for i, x := range d.list {
		if i == maxShown {
			fmt.Fprintf(&b, "… and %d more\n", len(d.list)-i)
			break
		}
		x.render(&b, d.sources[x.Range.File], colour, max(cols, 40))
	}
	_, err := w.Write(b.Bytes())
	return err
}

func (x Diagnostic) render(b *bytes.Buffer, src []byte, colour bool, cols int) {
	kind := "error"
	if x.Warning {
		kind = "warning"
	}
	on, off := "", ""
	if colour {
		on, off = bold, plain
	}
	fmt.Fprintf(b, "%s%s: %s%s%s\n", short(harmless(x.place())), kind, on, short(harmless(x.Text)), off)
	if x.Range.known() && x.Range.start <= len(src) {
		line, from := nearby(lineAt(src, x.Range.start))
		text, marks := underline(line, from, from+x.Range.end-x.Range.start, cols-4)
		fmt.Fprintf(b, "    %s\n    %s%s%s\n", text, on, marks, off)
	}
	if x.Hint != "" {
		fmt.Fprintf(b, "  %s\n", short(harmless(x.Hint)))
	}
}

// nearby is what of a line lies within some screens of a place in it: laying out a line of a megabyte for each fault takes
// minutes.
func nearby(line string, from int) (string, int) {
	const reach = 4000
	first, last := max(0, from-reach), min(len(line), from+reach)
	for first > 0 && first < len(line) && !utf8.RuneStart(line[first]) {
		first--
	}
	return line[first:last], from - first
}

// short cuts a text that no one would read to its end.
func short(s string) string {
	const most = 1000
	if len(s) <= most {
		return s
	}
	cut := most
	for !utf8.RuneStart(s[cut]) {
		cut--
	}
	return s[:cut] + "…"
}

// harmless replaces what a terminal would obey instead of show.
func harmless(s string) string {
	return strings.Map(func(c rune) rune {
		if obeyed(c) {
			return unicode.ReplacementChar
		}
		return c
	}, s)
}

// obeyed tells control characters and those that turn the direction of writing.
func obeyed(c rune) bool {
	return unicode.IsControl(c) || c == 0x200e || c == 0x200f || c >= 0x202a && c <= 0x202e || c >= 0x2066 && c <= 0x2069
}

// glyph is a character, the columns it takes on a terminal, and whether it is meant.
type glyph struct {
	text   string
	wide   int
	marked bool
}

// lineAt returns the line around a byte of the source, and the byte's place in it.
func lineAt(src []byte, at int) (line string, from int) {
	start := bytes.LastIndexByte(src[:at], '\n') + 1
	rest := src[start:]
	if n := bytes.IndexByte(rest, '\n'); n >= 0 {
		rest = rest[:n]
	}
	return strings.TrimSuffix(string(rest), "\r"), at - start
}

// underline lays out a source line and the carets under its bytes from…to.
func underline(line string, from, to, cols int) (text, marks string) {
	var all []glyph
	at, first := 0, -1
	for i, c := range line {
		g := glyph{string(c), cells(c), i >= from && i < max(to, from+1)}
		switch {
		case c == '\t':
			g.wide = tabWidth - at%tabWidth
			g.text = strings.Repeat(" ", g.wide)
		case obeyed(c):
			g.text = string(unicode.ReplacementChar)
		}
		if g.marked && first < 0 {
			first = at
		}
		at += g.wide
		all = append(all, g)
	}
	if first < 0 { // past the end of the line, where something is missing
		first = at
		all = append(all, glyph{" ", 1, true})
		at++
	}
	if at <= cols {
		return written(all)
	}
	return window(all, first, cols)
}

func written(all []glyph) (text, marks string) {
	var t, m strings.Builder
	for _, g := range all {
		t.WriteString(g.text)
		mark := " "
		if g.marked {
			mark = "^"
		}
		m.WriteString(strings.Repeat(mark, g.wide))
	}
	return strings.TrimRight(t.String(), " "), strings.TrimRight(m.String(), " ")
}

// cells is how many columns of a terminal a character takes (Unicode annex 11).
func cells(c rune) int {
	if unicode.In(c, unicode.Mn, unicode.Me, unicode.Cf) && !obeyed(c) {
		return 0
	}
	switch width.LookupRune(c).Kind() {
	case width.EastAsianWide, width.EastAsianFullwidth:
		return 2
	}
	return 1
}

// window keeps the columns of a long line around the first caret.
func window(all []glyph, first, cols int) (text, marks string) {
	from := max(0, first-cols/3)
	dots := glyph{"…", 1, false}
	var kept []glyph
	if from > 0 {
		kept = append(kept, dots)
	}
	at, used := 0, 2 // columns for the dots at both ends
	for _, g := range all {
		if at >= from {
			if used += g.wide; used > cols {
				kept = append(kept, dots)
				break
			}
			kept = append(kept, g)
		}
		at += g.wide
	}
	return written(kept)
}
