package pipeline

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"github.com/hashicorp/hcl/v2/hclsyntax"
)

// Clip names one of the clips that a block is made from, as the tool calls it: its
// shortest unique name. Its file name, or that with as many folders before it
// as tell it from others, does as well. Settings that hold one say nothing of
// content: Expansion.Clip gives the id that may go into a part.
type Clip string

// clipMention is a place of a manifest where a clip is named.
type clipMention struct {
	text string
	list string // the setting it stands in, in which no clip may be named twice
	at   Range
	path string // of the file; set by ResolveFiles
	id   ID     // of a clip of the pack that the manifest came in, known without its file
}

// mentionClip notes a clip's name for when the files are known.
func (t *bodyTarget) mentionClip(text, setting string, at Range) {
	t.block.mentioned = append(t.block.mentioned, clipMention{text: text, list: t.path + setting, at: at})
}

// clipLabel is the label of a nested block that stands for a clip. Names of files
// hold what they like; only an empty one is refused.
func (l *loader) clipLabel(b *hclsyntax.Block) (string, bool) {
	switch {
	case len(b.Labels) == 0 || strings.TrimSpace(b.Labels[0]) == "":
		l.d.fault(rangeOf(b.TypeRange), "this "+b.Type+" block names no clip", fmt.Sprintf("write %s \"CLIP\" { … }", b.Type))
		return "", false
	case len(b.Labels) > 1:
		l.d.fault(rangeOf(b.LabelRanges[1]), "a "+b.Type+" block is for one clip", "write one block for each")
		return "", false
	}
	return b.Labels[0], true
}

// resolveClips finds the file that each clip's name in a block means.
func (m *Manifest) resolveClips(d *Diagnostics, b *Block, h *home) {
	if len(b.mentioned) == 0 || m.hidden(b, nil) {
		return
	}
	paths := m.clipsOf(b, nil)
	seen := map[[2]string]Range{}
	for i := range b.mentioned {
		c := &b.mentioned[i]
		if h != nil {
			if id, ok := h.mentioned(c.text); ok {
				c.id = id
				continue
			}
		}
		found := named(paths, c.text)
		switch {
		case len(found) == 0:
			short := shortNamesOf(paths)
			d.fault(c.at, fmt.Sprintf("there is no clip called %q", c.text), meant(c.text, short, "it may be "+fewOf(short)))
			continue
		case len(found) > 1:
			d.fault(c.at, fmt.Sprintf("%q may mean %d clips", c.text, len(found)), "write "+fewOf(shortNamesOf(found)))
			continue
		}
		if first, dup := seen[[2]string{c.list, found[0]}]; dup {
			d.fault(c.at, fmt.Sprintf("%q is named twice", c.text), fmt.Sprintf("line %d names it", first.Line))
			continue
		}
		c.path, seen[[2]string{c.list, found[0]}] = found[0], c.at
	}
}

// clipsOf lists the files of a block, or of the nearest blocks with files that it is made from.
func (m *Manifest) clipsOf(b *Block, done []*Block) []string {
	if b.hasFiles {
		return b.Captures()
	}
	var out []string
	for _, r := range b.Refs {
		if up := m.Block(r); up != nil && !slices.Contains(done, up) {
			out = append(out, m.clipsOf(up, append(done, b))...)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// named returns the files that a name may mean: those with exactly this name, with
// or without ending and folders.
func named(paths []string, name string) []string {
	var out []string
	name = filepath.ToSlash(name)
	for _, p := range paths {
		if slices.Contains(nameForms(p), name) || filepath.ToSlash(p) == name {
			out = append(out, p)
		}
	}
	return out
}

func shortNamesOf(paths []string) []string {
	names := shortNames(paths)
	out := make([]string, 0, len(paths))
	for _, p := range paths {
		out = append(out, names[p])
	}
	slices.Sort(out)
	return out
}

// fewOf lists names, not more than a line holds.
func fewOf(names []string) string {
	const most = 6
	switch {
	case len(names) == 0:
		return "none: the block is made from no clip"
	case len(names) > most:
		return strings.Join(quoted(names[:most]), ", ") + fmt.Sprintf(" or one of %d more", len(names)-most)
	}
	return listing(quoted(names), "or")
}

// Clip returns the content id of a clip that the block's settings name. ok is
// false for a clip whose file cannot be read: nothing comes of it anyway.
func (x *Expansion) Clip(name Clip) (id ID, ok bool) {
	id, ok = x.run.g.meant(x.run.ctx, x.run.block, name)
	return x.run.g.files.stem(id), ok
}

// meant is the content id of the file that a name in a block's settings means.
func (g *graph) meant(ctx context.Context, b *Block, name Clip) (id ID, ok bool) {
	for _, c := range b.mentioned {
		if c.text == string(name) && !c.id.IsZero() {
			return c.id, true
		}
		if c.text != string(name) || c.path == "" {
			continue
		}
		if f, err := g.files.identify(ctx, c.path); err == nil {
			return f.id, true
		}
	}
	return ID{}, false
}
