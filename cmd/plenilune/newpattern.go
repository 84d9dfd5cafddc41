package main

import (
	"fmt"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
)

// sequencePatterns writes patterns for sequences, for a manifest in the folder base. A pattern that would match a picture of
// none of them gives way to one for each number of digits, which matches no other.
func sequencePatterns(base string, taken []foundClip) ([]string, error) {
	mine := map[string]bool{}
	for _, c := range taken {
		for _, p := range c.sequence.Pictures {
			mine[filepath.Clean(p)] = true
		}
	}
	var out []string
	for _, c := range taken {
		rel, err := relative(base, c.path)
		if err != nil {
			return nil, err
		}
		if c.sequence.folder {
			out = append(out, escapePattern(rel)+"/")
			continue
		}
		k := strings.LastIndex(path.Base(rel), "#")
		if k < 0 { // a picture without a number
			out = append(out, escapePattern(rel))
			continue
		}
		names, err := numberPatterns(c, k, mine)
		if err != nil {
			return nil, err
		}
		for _, name := range names {
			out = append(out, path.Join(escapePattern(path.Dir(rel)), name))
		}
	}
	return out, nil
}

// numberPatterns writes a sequence's patterns, in its folder: # stands at byte k of its name.
func numberPatterns(c foundClip, k int, mine map[string]bool) ([]string, error) {
	name := filepath.Base(c.path)
	before, after := escapePattern(name[:k]), strings.TrimSuffix(name[k+1:], filepath.Ext(name))
	after = escapePattern(after) + endingPattern(c.sequence.Pictures)
	wide := before + "[0-9]*" + after
	entries, err := os.ReadDir(filepath.Dir(c.path))
	if err != nil {
		return nil, fmt.Errorf("look for pictures beside a clip's: %w", err)
	}
	alone := !slices.ContainsFunc(entries, func(e os.DirEntry) bool {
		is, err := filepath.Match(wide, e.Name())
		return err == nil && is && !isHidden(e.Name()) && !mine[filepath.Join(filepath.Dir(c.path), e.Name())]
	})
	if alone {
		return []string{wide}, nil
	}
	var digits []int
	for _, p := range c.sequence.Pictures {
		digits = append(digits, len(filepath.Base(p))-(len(name)-1))
	}
	slices.Sort(digits)
	var out []string
	for _, n := range slices.Compact(digits) {
		out = append(out, before+strings.Repeat("[0-9]", n)+after)
	}
	return out, nil
}

// endingPattern is the ending of pictures, each letter as it is written in any of them.
func endingPattern(pictures []string) string {
	first := filepath.Ext(pictures[0])
	var b strings.Builder
	for i := range len(first) {
		var letters []byte
		for _, p := range pictures {
			letters = append(letters, filepath.Ext(p)[i]) // endings that are alike but for their case are as long
		}
		slices.Sort(letters)
		if letters = slices.Compact(letters); len(letters) > 1 {
			fmt.Fprintf(&b, "[%s]", letters)
			continue
		}
		b.Write(letters)
	}
	return b.String()
}
