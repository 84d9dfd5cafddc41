package pipeline

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"

	"plenilune/cache"
)

// manifest rewrites the manifest, and proves that it makes the same.
func (p *packing) manifest(ctx context.Context, c *cache.Cache) ([]byte, error) {
	text, err := p.m.rewrite(p.rewriting(), newKinds(p.o.Steps))
	if err != nil {
		return nil, err
	}
	m, diags := LoadManifest(packManifest, text, p.o.Steps, nil)
	if err := diags.Err(); err != nil {
		return nil, fmt.Errorf("the manifest as it would travel has faults: %w", err)
	}
	m.Programs = p.m.Programs
	h := &home{index: p.index}
	for _, b := range m.Blocks {
		for _, in := range p.index.inputsOf(Ref{b.Kind, b.Name}) {
			path, ok := p.pathOf(in.ID)
			if ok && in.Pictures == 0 {
				b.Paths = append(b.Paths, path)
			}
			for _, s := range p.m.Block(Ref{b.Kind, b.Name}).Sequences {
				if s.Path == path {
					b.Sequences = append(b.Sequences, s)
				}
			}
		}
		slices.Sort(b.Paths)
		var d Diagnostics
		if m.resolveClips(&d, b, h); d.HasErrors() {
			return nil, fmt.Errorf("the manifest as it would travel has faults: %w", d)
		}
	}
	again := lookAt(ctx, m, c, p.o)
	made := map[string]ID{}
	for _, d := range again.deliveries {
		if again.awaitAll(ctx, d.streams()) == nil {
			rec, err := recordOf(c, d.Encoded)
			if err != nil {
				return nil, err
			}
			if text, err := rec.encode(); err == nil {
				made[d.File] = cache.Sum(text)
			}
		}
	}
	for _, o := range p.made {
		if made[o.File] != o.Record {
			return nil, errors.Join(ctx.Err(), fmt.Errorf("the manifest as it would travel does not make the same %s; write out names of clips and texts of several lines in it, or pack --with-site", o.File))
		}
	}
	return text, nil
}

func (p *packing) rewriting() rewriting {
	r := rewriting{site: p.o.Site, comments: p.o.Comments, files: map[Ref][]string{}, sequences: map[Ref][]string{}, clips: map[Ref]map[string]string{},
		instead: p.g.instead, set: map[string]any{}}
	for _, o := range p.o.Overrides {
		r.set[o.Key] = p.m.Settings[o.Key]
	}
	labels := map[ID]string{}
	for _, in := range p.index.Inputs {
		labels[in.ID] = in.Label()
		labels[p.g.files.stem(in.ID)] = in.Label() // a panel's file stands for the clip that is named
	}
	for ref, folder := range p.m.packFolders() {
		endings := map[string]bool{}
		for _, in := range p.index.inputsOf(ref) {
			if in.Pictures > 0 {
				r.sequences[ref] = []string{folder + "/*/"}
				continue
			}
			endings[filepath.Ext(in.Name)] = true
		}
		for e := range endings {
			r.files[ref] = append(r.files[ref], folder+"/*"+e)
		}
		slices.Sort(r.files[ref])
		if len(r.files[ref]) == 0 && len(r.sequences[ref]) == 0 {
			r.files[ref] = []string{folder + "/*"}
		}
	}
	for _, b := range p.m.Blocks {
		ref := Ref{b.Kind, b.Name}
		r.clips[ref] = map[string]string{}
		for _, c := range b.mentioned {
			id := c.id
			if known, ok := p.g.files.content(c.path); ok && id.IsZero() {
				id = known
			}
			if name, ok := labels[id]; ok {
				r.clips[ref][c.text] = name
			}
		}
	}
	return r
}
