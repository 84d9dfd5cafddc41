package main

import (
	"bytes"
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"plenilune/pipeline"
	"plenilune/steps"
	"plenilune/steps/stacks"
)

// manifest writes the recipe for what was found, for a file in the folder base.
func (n *folderNight) manifest(name string) ([]byte, error) {
	base := filepath.Dir(name)
	data := manifestData{Name: remark(filepath.Base(name)), Title: n.title, Night: unknownNight, Keep: stacks.DefaultKeep, Bands: recipeBands(), Panels: n.panels}
	if data.Title == "" {
		data.Title = "A night of the Moon"
	}
	for _, m := range []struct {
		name, kind, darks string
		found             []foundClip
	}{{"dark", "dark", "", n.darks}, {"flatdark", "dark", "", n.flatDarks}, {"flat", "flat", "flatdark", n.flats}} {
		if len(m.found) == 0 {
			continue
		}
		of, runs := apartFiles(m.found)
		files, _, err := n.byFolder.patterns(base, of, false)
		if err != nil {
			return nil, err
		}
		sequences, err := sequencePatterns(base, runs)
		if err != nil {
			return nil, err
		}
		if len(n.flatDarks) == 0 {
			m.darks = ""
		}
		data.Masters = append(data.Masters, manifestMaster{m.name, m.kind, files, sequences, m.darks})
		if m.name == m.kind {
			data.Own = append(data.Own, m.name)
		}
	}
	of, runs := apartFiles(n.clips)
	files, others, err := n.byFolder.patterns(base, of, true)
	if err != nil {
		return nil, err
	}
	data.Files = files
	data.ByClock = n.byClock() > 0
	data.Timeless = slices.ContainsFunc(n.clips, func(c foundClip) bool { return c.start == 0 && !c.byClock })
	if data.Sequences, err = sequencePatterns(base, runs); err != nil {
		return nil, err
	}
	for _, p := range others {
		rel, err := relative(base, p)
		if err != nil {
			return nil, err
		}
		data.Except = append(data.Except, manifestExcept{escapePattern(rel), remark(n.whyNot(p))})
	}
	var b bytes.Buffer
	if err := manifestText.Execute(&b, data); err != nil {
		return nil, fmt.Errorf("write the manifest: %w", err)
	}
	return b.Bytes(), n.holds(name, b.Bytes())
}

// whyNot says why a capture is not among the clips.
func (n *folderNight) whyNot(path string) string {
	for _, l := range n.leftOut {
		if l.path == path {
			return l.why
		}
	}
	is := func(c foundClip) bool { return c.path == path }
	switch {
	case slices.ContainsFunc(n.darks, is):
		return "dark frames"
	case slices.ContainsFunc(n.flatDarks, is):
		return "dark frames of flat frames"
	}
	return "flat frames"
}

// remark makes a text fit a remark at the end of a line.
func remark(s string) string {
	return strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) || r == utf8.RuneError {
			return ' '
		}
		return r
	}, s)
}

// holds proves that the text is a manifest that takes exactly what was meant.
func (n *folderNight) holds(name string, text []byte) error {
	m, diags := pipeline.LoadManifest(name, text, steps.All(), nil)
	if !diags.HasErrors() {
		diags.Append(m.ResolveFiles(""))
	}
	if err := diags.Err(); err != nil {
		return fmt.Errorf("defect in this program: the manifest that it would write has a fault: %w", err)
	}
	want := map[string][]foundClip{"clips.disk": n.clips, "panels.old": n.clips, "master.dark": n.darks, "master.flat": n.flats, "master.flatdark": n.flatDarks}
	for _, b := range m.Blocks {
		taken, ok := want[b.Kind+"."+b.Name]
		if !ok {
			continue
		}
		meant, found := map[string]bool{}, map[string]bool{}
		for _, c := range taken {
			for _, p := range c.files() {
				abs, err := filepath.Abs(p)
				if err != nil {
					return fmt.Errorf("find the way to %s: %w", p, err)
				}
				meant[abs] = true
			}
		}
		for _, p := range b.Paths {
			found[p] = true
		}
		for _, q := range b.Sequences {
			for _, p := range q.Pictures {
				found[p] = true
			}
		}
		for _, p := range slices.Sorted(maps.Keys(meant)) {
			if !found[p] {
				return requestf("%s cannot be told from another file by its name in a manifest; rename it", shown(p))
			}
		}
		for _, p := range slices.Sorted(maps.Keys(found)) {
			if !meant[p] {
				return requestf("%s cannot be told from another file by its name in a manifest; rename it", shown(p))
			}
		}
	}
	return nil
}
