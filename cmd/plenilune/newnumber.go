package main

import (
	"path/filepath"
	"strings"
	"unicode"

	"plenilune/pipeline"
)

// elsewhereHint tells what to do with pictures that another number than their last tells apart.
const elsewhereHint = "pictures that another number than the last in their names tells apart are a clip if no other pictures lie in their folder: " +
	"put each clip's into one of their own; if they are panels that were stacked already, say --panels"

// numberings are a picture's path with # for one of the numbers in its name, its ending aside, for each of them.
func numberings(p string) []string {
	dir, name := filepath.Split(p)
	ext := filepath.Ext(name)
	stem := strings.TrimSuffix(name, ext)
	var out []string
	for rest := stem; ; {
		from := strings.IndexAny(rest, "0123456789")
		if from < 0 {
			return out
		}
		after := strings.TrimLeftFunc(rest[from:], func(r rune) bool { return r <= unicode.MaxASCII && unicode.IsDigit(r) })
		before := stem[:len(stem)-len(rest)+from]
		out = append(out, filepath.Join(dir, before+"#"+after+strings.ToLower(ext)))
		rest = after
	}
}

// mostNumbered is how many of the pictures, at most, differ in nothing but one number, whichever it is, and the path with # for it.
func mostNumbered(pictures []string) (most int, form string) {
	count := map[string]int{}
	for _, p := range pictures {
		for _, f := range numberings(p) {
			count[f]++
			if n := count[f]; n > most || n == most && f < form {
				most, form = n, f
			}
		}
	}
	return most, form
}

// numberedElsewhere makes one clip of all pictures of a folder if they differ in one number only, and that is not their last: by a
// pattern that would be a clip each, so the clip goes by its folder.
func numberedElsewhere(pictures []string, found []pipeline.Sequence) []pipeline.Sequence {
	most, form := mostNumbered(pictures)
	if len(found) < 2 || len(found) != len(pictures) || most != len(pictures) {
		return found
	}
	whole := pipeline.SequencesOf(pictures, true)
	return []pipeline.Sequence{{Path: form, Pictures: whole[0].Pictures}}
}
