package pipeline

import (
	"strings"
	"testing"
)

// at makes a fault under the first place where what stands in src.
func at(t *testing.T, src, what string) Diagnostics {
	t.Helper()
	i := strings.Index(src, what)
	if i < 0 {
		t.Fatalf("%q does not hold %q", src, what)
	}
	var d Diagnostics
	d.addSource("m", []byte(src))
	line := 1 + strings.Count(src[:i], "\n")
	d.fault(Range{File: "m", Line: line, Column: 1, EndLine: line, EndColumn: 2, start: i, end: i + len(what)}, "no", "")
	return d
}

func rendered(t *testing.T, d Diagnostics, colour bool, cols int) string {
	t.Helper()
	var b strings.Builder
	if err := d.Render(&b, colour, cols); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestCaretsStandUnderWhatIsMeant(t *testing.T) {
	for name, c := range map[string]struct{ src, what, line, marks string }{
		"plain":     {"a = 1\nb = here\n", "here", "b = here", "    ^^^^"},
		"tab":       {"\ta\t= here", "here", "    a   = here", "          ^^^^"},
		"wide":      {"\"満月\" here", "here", "\"満月\" here", "       ^^^^"},
		"combining": {"e\u0301e\u0301 here", "here", "e\u0301e\u0301 here", "   ^^^^"},
		"crlf":      {"a = 1\r\nb = here\r\n", "here", "b = here", "    ^^^^"},
		"two lines": {"a = [\n1]", "[\n1]", "a = [", "    ^"},
		"past end":  {"a =\nb", "\nb", "a =", "   ^"},
	} {
		got := strings.Split(rendered(t, at(t, c.src, c.what), false, 80), "\n")
		if got[1] != "    "+c.line || got[2] != "    "+c.marks {
			t.Errorf("%s:\n%s\n%s\nwant\n    %s\n    %s", name, got[1], got[2], c.line, c.marks)
		}
	}
}

func TestLongLinesAreShownAroundTheCarets(t *testing.T) {
	for _, fill := range []string{"x", "月", "é"} {
		src := strings.Repeat(fill, 300) + "here" + strings.Repeat(fill, 300)
		got := strings.Split(rendered(t, at(t, src, "here"), false, 60), "\n")
		line, marks := got[1], got[2]
		if n := width2(line); n > 60 {
			t.Errorf("%s: the line takes %d columns of 60", fill, n)
		}
		before, _, ok := strings.Cut(line, "here")
		if want := strings.Repeat(" ", width2(before)) + "^^^^"; !ok || marks != want {
			t.Errorf("%s:\n%s\n%s\nwant the carets as in\n%s", fill, line, marks, want)
		}
	}
}

func width2(s string) int {
	n := 0
	for _, c := range s {
		n += cells(c)
	}
	return n
}

// A manifest from a stranger must not write to the terminal's controls.
func TestRenderedTextIsHarmless(t *testing.T) {
	d := at(t, "a = here # \x1b[31m\u202e\x07", "here")
	d.fault(Range{File: "\x1b[2J"}, "\x1b[1m", "\u2066")
	got := rendered(t, d, false, 80)
	if i := strings.IndexAny(got, "\x1b\x07\u202e\u2066"); i >= 0 {
		t.Errorf("%q holds a control character at byte %d", got, i)
	}
}

func TestOnlyTheFirstFaultsAreShown(t *testing.T) {
	var d Diagnostics
	for range maxShown + 7 {
		d.fault(Range{}, "no", "")
	}
	got := rendered(t, d, false, 80)
	if n := strings.Count(got, "error: no\n"); n != maxShown || !strings.HasSuffix(got, "… and 7 more\n") {
		t.Errorf("%d are shown, ending %q", n, got[max(0, len(got)-30):])
	}
}
