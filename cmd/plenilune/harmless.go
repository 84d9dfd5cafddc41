package main

import (
	"io"
	"os"
	"strings"
	"unicode"
)

// harmless passes text on without what a terminal, or who reads a log, would obey instead of show: names of files and texts of
// manifests come from anywhere.
type harmless struct{ w io.Writer }

func (h harmless) Write(b []byte) (int, error) {
	if _, err := io.WriteString(h.w, harmlessText(string(b))); err != nil {
		return 0, err
	}
	return len(b), nil
}

func harmlessText(s string) string {
	return strings.Map(func(c rune) rune {
		if c != '\n' && c != '\t' && (unicode.IsControl(c) || turnsText(c)) {
			return unicode.ReplacementChar
		}
		return c
	}, s)
}

// turnsText tells the characters that turn the direction of writing.
func turnsText(c rune) bool {
	return c == 0x200e || c == 0x200f || c >= 0x202a && c <= 0x202e || c >= 0x2066 && c <= 0x2069
}

// fileOf is the file that a writer leads to, for asking whether it is a terminal.
func fileOf(w io.Writer) (*os.File, bool) {
	f, ok := meant(w).(*os.File)
	return f, ok
}

// meant is the writer itself, for text that is harmless already and whose colours are meant.
func meant(w io.Writer) io.Writer {
	if h, ok := w.(harmless); ok {
		return h.w
	}
	return w
}
