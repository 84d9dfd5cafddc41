package main

import (
	"errors"
	"fmt"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// relative is a path as the manifest writes it: from its folder, with slashes.
func relative(base, path string) (string, error) {
	absBase, err1 := filepath.Abs(base)
	absPath, err2 := filepath.Abs(path)
	if err := errors.Join(err1, err2); err != nil {
		return "", fmt.Errorf("find the way to %s: %w", path, err)
	}
	rel, err := filepath.Rel(absBase, absPath)
	if err != nil { // another drive
		return filepath.ToSlash(absPath), nil
	}
	return filepath.ToSlash(rel), nil
}

// quoteText writes a text as the manifest's language quotes it: nothing in it is
// computed, nothing ends the line or the quotes.
func quoteText(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for i, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\r':
			b.WriteString(`\r`)
		case r == '\t':
			b.WriteString(`\t`)
		case (r == '$' || r == '%') && strings.HasPrefix(s[i+1:], "{"):
			b.WriteRune(r)
			b.WriteRune(r)
		case unicode.IsPrint(r) && !unicode.IsMark(r):
			b.WriteRune(r)
		case r > 0xffff:
			fmt.Fprintf(&b, `\U%08x`, r)
		default:
			fmt.Fprintf(&b, `\u%04x`, r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// escapePattern makes a path stand for itself in a file pattern. Bytes that are no
// text, which some file systems allow and a manifest cannot hold, become ?.
func escapePattern(s string) string {
	var b strings.Builder
	for i, r := range s {
		switch {
		case r == '[' || r == '*' || r == '?':
			fmt.Fprintf(&b, "[%c]", r)
		case r == '\\' && filepath.Separator != '\\':
			b.WriteString(`\\`)
		case r == utf8.RuneError && !strings.HasPrefix(s[i:], string(utf8.RuneError)):
			b.WriteByte('?')
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// siblings are the captures of each folder, taken or not.
type siblings map[string][]string

func (s siblings) add(path string) {
	dir := filepath.Dir(path)
	s[dir] = append(s[dir], path)
}

// patterns covers the captures taken: a folder all of whose captures with one
// ending are taken, or most if others may be excepted, by one pattern; else each
// by its name. others are what such a pattern matches besides.
func (s siblings) patterns(base string, taken []foundClip, mayExcept bool) (list, others []string, err error) {
	in := map[string]bool{}
	type group struct{ dir, ext string }
	var order []group
	of := map[group][]string{}
	for _, c := range taken {
		in[c.path] = true
		g := group{filepath.Dir(c.path), filepath.Ext(c.path)}
		if of[g] == nil {
			order = append(order, g)
		}
		of[g] = append(of[g], c.path)
	}
	for _, g := range order {
		rel, err := relative(base, g.dir)
		if err != nil {
			return nil, nil, err
		}
		var rest []string
		for _, p := range s[g.dir] {
			if filepath.Ext(p) == g.ext && !in[p] {
				rest = append(rest, p)
			}
		}
		if len(rest) == 0 || mayExcept && len(rest) <= len(of[g]) {
			list = append(list, path.Join(escapePattern(rel), "*"+g.ext))
			others = append(others, rest...)
			continue
		}
		for _, p := range of[g] {
			list = append(list, path.Join(escapePattern(rel), escapePattern(filepath.Base(p))))
		}
	}
	slices.Sort(others)
	return list, others, nil
}
