package pipeline

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"

	"plenilune/cache"
)

// PackOptions say what a pack holds.
type PackOptions struct {
	OutDir    string // where the run's files are
	Overrides []Override
	Steps     []Step
	Program   string // which build packs
	Date      string // of the night, as 2027-03-19; "" is as Taken tells it, or else Undated
	License   string // address of the terms under which it is given away; may be empty
	Jobs      int
	Memory    int64
	Clips     bool // hold the clips, darks and flats themselves
	Site      bool
	Comments  bool
	// Panel, if not nil, writes a stack's product as a file, to begin with when the clips are gone; its values are on the ports that
	// source knows. Panels that were read from files are held then as they are.
	Panel func(w io.Writer, from ID, source func(port string) (Source, bool), record []byte) error
	// Taken, if not nil, is when a clip or a panel was taken, in Unix nanoseconds UTC; 0 if nothing tells it.
	Taken func(PackClip) int64
	// Look, if not nil, makes a small picture of a delivered one: its bytes and ending, or nothing where there is none to be made.
	Look func(file string) (picture []byte, ending string, err error)

	scratch string // a folder for panels on their way into the pack
}

// packSource is one file that goes into a pack, from memory or from a disk.
type packSource struct {
	PackFile
	bytes   []byte
	path    string
	deflate bool
}

// packing is the work of one Pack.
type packing struct {
	m     *Manifest
	g     *graph
	o     PackOptions
	index PackIndex
	files []packSource
	texts map[string]bool // of records and previews that are in
	made  []packedOutput
	times []int64 // of what it was made from, in Unix nanoseconds UTC, where they are known
}

// packedOutput is a delivery with its record.
type packedOutput struct {
	PackOutput
	record Record
	folder []fileSum
}

// WritePack writes the pack of a manifest that was run: what its last run made must stand in the output folder and be known to the cache.
// Equal runs give equal bytes. It computes nothing and changes nothing.
func WritePack(ctx context.Context, m *Manifest, c *cache.Cache, o PackOptions, w io.Writer) (PackIndex, error) {
	p := &packing{m: m, o: o, texts: map[string]bool{}}
	p.index = PackIndex{Version: packVersion, Program: o.Program, Title: m.Night.Title, Site: o.Site && m.Night.Site != nil}
	p.g = lookAt(ctx, m, c, o)
	if err := p.outputs(ctx); err != nil {
		return p.index, err
	}
	if err := p.inputs(ctx); err != nil {
		return p.index, err
	}
	p.index.Date = p.date()
	text, err := p.manifest(ctx, c)
	if err != nil {
		return p.index, err
	}
	p.add(packManifest, text, true)
	if err := p.panels(ctx, text); err != nil {
		return p.index, err
	}
	p.clips()
	if err := p.describe(); err != nil {
		return p.index, err
	}
	return p.index, p.write(ctx, w)
}

// lookAt expands a manifest without computing anything that was not.
func lookAt(ctx context.Context, m *Manifest, c *cache.Cache, o PackOptions) *graph {
	g := newGraph(m, c)
	g.dry, g.files = true, newFileSet(m, c, false)
	g.exec = newExecutor(max(o.Jobs, 1), max(o.Memory, 1)) // what only looks at files may run: those that cannot be read are known by it
	g.expandAll(ctx)
	g.working.Wait()
	return g
}

func (p *packing) add(name string, b []byte, deflate bool) {
	if !p.texts[name] {
		p.texts[name] = true
		p.files = append(p.files, packSource{packFileOf(name, b), b, "", deflate})
	}
}

// notRun says what is missing to pack.
func (p *packing) notRun(why string) error {
	return &RequestError{fmt.Sprintf("%s has not been run as it stands (%s): plenilune run it, with the same flags, then pack", filepath.ToSlash(p.m.File), why)}
}

// outputs finds everything that was delivered, with its record, and proves that it stands in the output folder.
func (p *packing) outputs(ctx context.Context) error {
	for _, b := range p.m.Blocks {
		if err := p.g.blocks[Ref{b.Kind, b.Name}].err; err != nil && ctx.Err() == nil {
			return p.notRun(fmt.Sprintf("%s is not in the cache", Ref{b.Kind, b.Name}))
		}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if len(p.g.deliveries) == 0 {
		return &RequestError{filepath.ToSlash(p.m.File) + " delivers no file: there is nothing to pack"}
	}
	all := slices.Clone(p.g.deliveries)
	slices.SortFunc(all, func(a, b *delivery) int { return cmp.Compare(a.File, b.File) })
	for _, d := range all {
		if err := p.g.awaitAll(ctx, d.streams()); err != nil {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			return p.notRun(d.File + " is not in the cache")
		}
		if err := p.output(ctx, d); err != nil {
			return err
		}
	}
	return nil
}

func (p *packing) output(ctx context.Context, d *delivery) error {
	rec, err := recordOf(p.g.cache, d.Encoded)
	if err != nil {
		return err
	}
	text, err := rec.encode()
	if err != nil {
		return err
	}
	out := packedOutput{PackOutput: PackOutput{Block: d.block.String(), File: d.File, Record: cache.Sum(text), Beside: d.Beside}, record: rec}
	at := filepath.Join(p.o.OutDir, filepath.FromSlash(d.File))
	if d.Folder != nil {
		if out.folder, err = p.g.filesOf(ctx, d, text); err != nil {
			return err
		}
		out.ID, out.Files = listID(out.folder), len(out.folder)
		if !folderStands(at, out.folder) {
			return p.notRun(d.File + " is not what it makes")
		}
		for _, f := range out.folder {
			st, err := os.Stat(filepath.Join(at, filepath.FromSlash(f.Name)))
			if err != nil {
				return fmt.Errorf("look at %s: %w", d.File, err)
			}
			out.Bytes += st.Size()
		}
	} else {
		if out.ID, err = p.g.finalID(d, text); err != nil {
			return err
		}
		st, err := os.Stat(at)
		if err != nil || !p.g.stands(at, out.ID) {
			return p.notRun(d.File + " in the output folder is not what it makes")
		}
		out.Bytes = st.Size()
		if out.Look, err = p.look(at, out.ID); err != nil {
			return err
		}
	}
	p.add(recordName(out.Record), text, true)
	p.made = append(p.made, out)
	p.index.Outputs = append(p.index.Outputs, out.PackOutput)
	return nil
}

// look adds a small picture of a delivered one.
func (p *packing) look(file string, id ID) (string, error) {
	if p.o.Look == nil {
		return "", nil
	}
	b, ending, err := p.o.Look(file)
	if err != nil || b == nil {
		return "", err
	}
	name := packLooksDir + "/" + id.String()[:12] + ending
	p.add(name, b, false)
	return name, nil
}

// finalID is the content id of a delivered file, with its record in it.
func (g *graph) finalID(d *delivery, rec []byte) (ID, error) {
	encoded := d.Encoded.node.outs[d.Encoded.port]
	if note, ok := g.cache.Note(finalMemo(d, encoded, rec)); ok {
		if id, err := cache.ParseID(string(note)); err == nil {
			return id, nil
		}
	}
	b, err := readStream(cacheStore{g.cache}, encoded)
	if err != nil {
		return ID{}, err
	}
	if d.Splice != nil {
		if b, err = d.Splice(b, rec); err != nil {
			return ID{}, fmt.Errorf("put the record into %s: %w", d.File, err)
		}
	}
	return cache.Sum(b), nil
}

// filesOf lists the files of a delivered folder.
func (g *graph) filesOf(ctx context.Context, d *delivery, rec []byte) (files []fileSum, err error) {
	err = g.eachFile(ctx, d.streamIDs(), d.Folder.Splice, rec, func(name string, b []byte) error {
		files = append(files, fileSum{name, cache.Sum(b)})
		return nil
	})
	return files, err
}

// listID is the content id of a folder.
func listID(files []fileSum) ID {
	b, err := json.Marshal(files)
	if err != nil { // names and ids always have a form
		return ID{}
	}
	return cache.Sum(b)
}

// inputs lists the files that what was delivered was made from.
func (p *packing) inputs(ctx context.Context) error {
	behind := map[ID]bool{}
	for _, o := range p.made {
		for _, c := range o.record.Captures {
			behind[c.ID] = true
		}
	}
	folders := p.m.packFolders()
	for _, b := range p.m.Blocks {
		if !b.hasFiles {
			continue
		}
		ref := Ref{b.Kind, b.Name}
		items, _, err := p.g.files.items(ctx, b)
		if err != nil {
			return err
		}
		for _, it := range items {
			f := it.Values["file"].file
			if f == nil {
				f = it.Values["pictures"].file
			}
			if !behind[f.id] {
				continue
			}
			in := PackInput{Block: ref.String(), Name: packNameOf(folders[ref], f.id, f.path), ID: f.id, Bytes: f.size,
				In: p.o.Clips || p.o.Panel != nil && b.Kind == panelsKind, Pictures: len(f.pictures)}
			if in.Pictures > 0 {
				in.Name = packNameOf(folders[ref], f.id, "")
			}
			if b.choice != nil && b.choice.wanted[f.id].Name != "" {
				in.Name = b.choice.wanted[f.id].Name // it came in a pack, and is called as there
			}
			p.index.Inputs = append(p.index.Inputs, in)
			p.taken(ctx, b, f)
		}
	}
	return nil
}

// clips adds the files that are to be in the pack themselves, each name once.
func (p *packing) clips() {
	seen := map[string]bool{}
	for _, in := range p.index.Inputs {
		path, ok := p.pathOf(in.ID)
		if !ok || !in.In || seen[in.Name] {
			continue
		}
		seen[in.Name] = true
		if in.Pictures == 0 {
			p.files = append(p.files, packSource{PackFile{in.Name, in.ID, in.Bytes}, nil, path, false})
		}
		for i, f := range p.g.files.picturesOf(path) {
			name := fmt.Sprintf("%s/%06d%s", in.Name, i+1, plainEnding(f.path))
			p.files = append(p.files, packSource{PackFile{name, f.id, f.size}, nil, f.path, false})
		}
	}
}

// pathOf finds a file of the night by its content.
func (p *packing) pathOf(id ID) (string, bool) {
	for _, b := range p.m.Blocks {
		for _, path := range b.Captures() {
			if got, ok := p.g.files.content(path); ok && got == id {
				return path, true
			}
		}
	}
	return "", false
}
