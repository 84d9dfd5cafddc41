package pipeline

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"

	"github.com/hashicorp/hcl/v2"
	"github.com/hashicorp/hcl/v2/hclsyntax"
	"github.com/hashicorp/hcl/v2/hclwrite"
)

// The kinds of block whose products are panels: stacked from clips, and read from files.
const (
	stackKind  = "stack"
	panelsKind = "panels"
)

// clipKinds are the kinds of block that nothing needs once there are panels.
var clipKinds = []string{"master", "clips"}

// panels adds every stacked panel with all its planes, and a manifest that begins with them.
func (p *packing) panels(ctx context.Context, manifest []byte) error {
	if p.o.Panel == nil {
		return nil
	}
	begin := p.m.panelsOfStacks()
	behind := map[ID]bool{} // parts that what was delivered was made by
	for _, o := range p.made {
		for _, part := range o.record.Parts {
			behind[part.Key] = true
		}
	}
	for _, b := range p.m.Blocks {
		if b.Kind != stackKind {
			continue
		}
		for _, it := range p.g.blocks[Ref{b.Kind, b.Name}].items {
			if n := it.Values["image"].node; n == nil || !behind[n.key] {
				continue
			}
			in, path, err := p.panel(ctx, it, begin[b.Name])
			if err != nil {
				return err
			}
			p.index.Panels = append(p.index.Panels, in)
			p.files = append(p.files, packSource{PackFile{in.Name, in.ID, in.Bytes}, nil, path, true})
		}
	}
	if len(p.index.Panels) == 0 {
		return nil // it began from panels, which are in by themselves
	}
	text, err := fromPanels(manifest, begin)
	if err != nil {
		return err
	}
	if _, d := LoadManifest(packFromPanels, text, p.o.Steps, nil); d.HasErrors() {
		return fmt.Errorf("the manifest that would begin with panels has faults: %w", d)
	}
	p.add(packFromPanels, text, true)
	return nil
}

// panelsOfStacks gives the name of each stack to the panels block that stands for it, or one with a number where another block of
// panels has that.
func (m *Manifest) panelsOfStacks() map[string]string {
	taken, out := map[string]bool{}, map[string]string{}
	for _, b := range m.Blocks {
		taken[b.Name] = taken[b.Name] || b.Kind == panelsKind || b.Kind == stackKind
	}
	for _, b := range m.Blocks {
		if b.Kind != stackKind {
			continue
		}
		name := b.Name
		if m.Block(Ref{panelsKind, name}) != nil {
			for n := 2; taken[name]; n++ {
				name = fmt.Sprintf("%s-%d", b.Name, n)
			}
			taken[name] = true
		}
		out[b.Name] = name
	}
	return out
}

// panel writes one panel of a block into a file of the scratch folder.
func (p *packing) panel(ctx context.Context, it Item, block string) (in PackInput, path string, err error) {
	source := func(port string) (Source, bool) {
		v := it.Values[port]
		if v.IsZero() {
			return Source{}, false
		}
		id, err := p.g.await(ctx, v)
		return Source{id: id, store: cacheStore{p.g.cache}}, err == nil
	}
	rec, err := recordOf(p.g.cache, it.Values["image"])
	if err != nil {
		return in, "", err
	}
	text, err := rec.encode()
	if err != nil {
		return in, "", err
	}
	path = filepath.Join(p.o.scratch, fmt.Sprintf("panel-%d", len(p.index.Panels)))
	f, err := os.Create(path)
	if err != nil {
		return in, "", fmt.Errorf("write a panel: %w", err)
	}
	h, n := sha256.New(), &tally64{}
	err = p.o.Panel(io.MultiWriter(f, h, n), it.ID, source, text)
	if err = errors.Join(err, f.Close()); err != nil {
		return in, "", fmt.Errorf("write the panel of %s: %w", p.g.files.label(it.ID), err)
	}
	name := panelsFolder(block) + "/" + it.ID.String()[:12] + ".fits"
	return PackInput{Block: panelsKind + "." + block, Name: name, ID: ID(h.Sum(nil)), Bytes: n.n, In: true}, path, nil
}

type tally64 struct{ n int64 }

func (t *tally64) Write(b []byte) (int, error) { t.n += int64(len(b)); return len(b), nil }

// panelsFolder is where the stacked panels lie that a block of a manifest begins with.
func panelsFolder(block string) string { return packPanelsDir + "/" + block }

// fromPanels turns a manifest that stacks clips into one that begins with panels, by the names that these blocks have, of each stack's.
func fromPanels(src []byte, begin map[string]string) ([]byte, error) {
	src, err := renamedStacks(src, begin)
	if err != nil {
		return nil, err
	}
	f, diags := hclwrite.ParseConfig(src, packFromPanels, hcl.InitialPos)
	if diags.HasErrors() {
		return nil, fmt.Errorf("read the manifest again: %w", diags)
	}
	for _, b := range f.Body().Blocks() {
		switch {
		case slices.Contains(clipKinds, b.Type()):
			f.Body().RemoveBlock(b)
		case b.Type() == stackKind && len(b.Labels()) == 1:
			name := begin[b.Labels()[0]]
			b.SetType(panelsKind)
			b.SetLabels([]string{name})
			b.Body().Clear()
			b.Body().AppendNewline()
			b.Body().SetAttributeValue("files", textsOf([]string{panelsFolder(name) + "/*.fits"}))
		}
	}
	return tidy(f, packFromPanels, nil)
}

// renamedStacks writes panels.NAME wherever a manifest names a stack, with the name that its panels have.
func renamedStacks(src []byte, begin map[string]string) ([]byte, error) {
	f, diags := hclsyntax.ParseConfig(src, packFromPanels, hcl.InitialPos)
	if diags.HasErrors() {
		return nil, fmt.Errorf("read the manifest again: %w", diags)
	}
	type naming struct {
		at   hcl.Range
		name string
	}
	var all []naming
	var look func(body *hclsyntax.Body)
	look = func(body *hclsyntax.Body) {
		for _, a := range body.Attributes {
			for _, t := range a.Expr.Variables() {
				if words := dotted(t); len(words) == 2 && words[0] == stackKind {
					all = append(all, naming{t.SourceRange(), panelsKind + "." + begin[words[1]]})
				}
			}
		}
		for _, b := range body.Blocks {
			look(b.Body)
		}
	}
	look(f.Body.(*hclsyntax.Body))
	slices.SortFunc(all, func(a, b naming) int { return a.at.Start.Byte - b.at.Start.Byte })
	var out bytes.Buffer
	from := 0
	for _, n := range all {
		out.Write(src[from:n.at.Start.Byte])
		out.WriteString(n.name)
		from = n.at.End.Byte
	}
	out.Write(src[from:])
	return out.Bytes(), nil
}
