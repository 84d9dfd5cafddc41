package pipeline

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"slices"

	"plenilune/cache"
)

// packStands is what a pack says of the files that were made.
type packStands struct {
	pack   *Pack
	made   map[string]PackOutput
	panels bool // they are made anew from panels: their records tell of these
}

// LayOutToVerify writes what of a pack is needed to make everything anew into a folder.
func (p *Pack) LayOutToVerify(ctx context.Context, dir string, steps []Step) (Unpacked, error) {
	u := Unpacked{Manifest: filepath.Join(dir, packManifest), Index: p.Index}
	need := map[string]bool{packManifest: true, packFromPanels: true}
	folders := map[string]bool{}
	for _, in := range slices.Concat(p.Index.Inputs, p.Index.Panels) {
		need[in.Name], folders[in.Name] = in.In, in.Pictures > 0
	}
	if p.files[packFromPanels] != nil {
		u.Panels = filepath.Join(dir, packFromPanels)
	}
	if err := p.layOut(ctx, dir, func(name string) bool { return need[name] || folders[path.Dir(name)] }); err != nil {
		return u, err
	}
	return u, p.judgeManifests(dir, steps)
}

// VerifyPack makes anew in c, which should hold nothing, every file that a pack tells of and whose clips are there, and compares it with
// what the pack says. m is the pack's manifest, with its files resolved; panels, if not nil, the one that begins with its panels, by which
// the pixels of files are made whose clips are not there. The files that are not there are returned, each content once.
func VerifyPack(ctx context.Context, p *Pack, m, panels *Manifest, c *cache.Cache, o Options) ([]Proof, []PackInput, error) {
	here, err := contentsOf(ctx, m, c)
	if err != nil {
		return nil, nil, err
	}
	var missing []PackInput
	for _, in := range contents(p.Index.Inputs) {
		if !here[in.ID] {
			missing = append(missing, in)
		}
	}
	v := &verifier{pack: &packStands{pack: p, made: map[string]PackOutput{}}}
	whole, lacking, err := v.sorted(here, o.Only)
	if err != nil {
		return nil, missing, err
	}
	proofs, err := v.runPack(ctx, m, c, o, whole)
	if err != nil && !errors.Is(err, ErrIncomplete) || len(lacking) == 0 {
		return proofs, missing, err
	}
	if panels == nil {
		return append(proofs, lacking...), missing, err
	}
	var files []string
	for _, l := range lacking {
		files = append(files, l.File)
	}
	v.pack.panels = true
	more, perr := v.runPack(ctx, panels, c, o, files)
	return append(proofs, more...), missing, errors.Join(err, perr)
}

// sorted tells the files that can be made of what is here from those that cannot.
func (v *verifier) sorted(here map[ID]bool, only []string) (whole []string, lacking []Proof, err error) {
	for _, out := range v.pack.pack.Index.Outputs {
		if len(only) > 0 && !slices.Contains(only, out.File) {
			continue
		}
		v.pack.made[out.File] = out
		rec, err := v.pack.record(out)
		if err != nil {
			return nil, nil, err
		}
		lacks := 0
		for _, capture := range rec.Captures {
			if !here[capture.ID] {
				lacks++
			}
		}
		if lacks == 0 {
			whole = append(whole, out.File)
			continue
		}
		lacking = append(lacking, Proof{File: out.File, State: Unmade,
			Reason: fmt.Sprintf("%d of the %s that it was made from are not here", lacks, Counted(len(rec.Captures), "file"))})
	}
	return whole, lacking, nil
}

// runPack makes files anew by one of a pack's manifests, and compares them.
func (v *verifier) runPack(ctx context.Context, m *Manifest, c *cache.Cache, o Options, files []string) ([]Proof, error) {
	if len(files) == 0 {
		return nil, nil
	}
	o.verify, o.Only = v, files
	_, err := Run(ctx, m, c, o)
	var request *RequestError
	if errors.As(err, &request) && !errors.Is(err, ErrIncomplete) { // a file that the manifest does not make is told below
		err = nil
	}
	proofs := slices.Clone(v.proofs)
	for _, file := range files {
		if !slices.ContainsFunc(proofs, func(p Proof) bool { return p.File == file }) {
			proofs = append(proofs, Proof{File: file, State: Unmade, Reason: "the manifest does not make it"})
		}
	}
	return proofs, err
}

// contentsOf reads a manifest's files.
func contentsOf(ctx context.Context, m *Manifest, c *cache.Cache) (map[ID]bool, error) {
	files := newFileSet(m, c, false)
	here := map[ID]bool{}
	for _, b := range m.Blocks {
		items, _, err := files.items(ctx, b)
		if err != nil {
			return nil, err
		}
		for _, it := range items {
			here[it.ID] = true
		}
	}
	return here, nil
}

// record reads and proves the record of a file that a pack tells of.
func (s *packStands) record(out PackOutput) (Record, error) {
	b, err := s.pack.read(recordName(out.Record), packMostRecord+s.pack.size/2)
	if err != nil {
		return Record{}, err
	}
	if cache.Sum(b) != out.Record {
		return Record{}, packFault("the record of %q was altered", out.File)
	}
	r, err := ParseRecord(b)
	if err != nil {
		return r, packFault("the record of %q: %v", out.File, err)
	}
	return r, nil
}

// proveAgainstPack compares a delivery made anew with what a pack says of it.
func (v *verifier) proveAgainstPack(ctx context.Context, g *graph, _ string, d *delivery) error {
	out, ok := v.pack.made[d.File]
	if !ok {
		v.proofs = append(v.proofs, Proof{File: d.File, State: Absent, Reason: "the pack says nothing of it"})
		return nil
	}
	made, rec, err := encodedRecord(g.cache, d.Encoded)
	if err != nil {
		return err
	}
	p := Proof{File: d.File, State: Proven}
	if d.Folder != nil {
		files, err := g.filesOf(ctx, d, rec)
		if err != nil {
			return err
		}
		p.ID = listID(files)
	} else if p.ID, err = g.finalID(d, rec); err != nil {
		return err
	}
	if p.ID != out.ID {
		was, err := v.pack.record(out)
		if err != nil {
			return err
		}
		switch alike := was.Output.ID == made.Output.ID; {
		case alike && v.pack.panels:
			p.State, p.Reason = Alike, "made from the pack's panels, its content is equal; only its clips would tell of the file with its record"
		case alike:
			p.State = Lineage
		default:
			p.State = Differs
		}
		if p.State != Alike {
			p.Step, p.Reason, p.Change = g.firstApart(was, made)
		}
	}
	v.proofs = append(v.proofs, p)
	if !out.Beside || v.pack.panels {
		return nil
	}
	b := Proof{File: d.File + ".record.json", ID: cache.Sum(rec), State: Proven}
	if b.ID != out.Record {
		b.State, b.Reason = Differs, "it is not the record of the picture made anew; see there"
	}
	v.proofs = append(v.proofs, b)
	return nil
}

// IsPackFile tells whether a path is that of a zip archive.
func IsPackFile(path string) bool {
	if st, err := os.Stat(path); err != nil || !st.Mode().IsRegular() {
		return false // what is no file may never end
	}
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	return IsPack(f)
}
