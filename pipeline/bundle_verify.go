package pipeline

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"plenilune/cache"
)

// packStands is what a pack says of the files that were made.
type packStands struct {
	pack *Pack
	made map[string]PackOutput
}

// LayOutToVerify writes what of a pack is needed to make everything anew into a folder, and returns the path of its manifest.
func (p *Pack) LayOutToVerify(ctx context.Context, dir string, steps []Step) (string, error) {
	need := map[string]bool{packManifest: true}
	for _, in := range p.Index.Inputs {
		need[in.Name] = in.In
	}
	if err := p.layOut(ctx, dir, func(name string) bool { return need[name] }); err != nil {
		return "", err
	}
	file := filepath.Join(dir, packManifest)
	return file, judgeStranger(file, steps)
}

// VerifyPack makes anew in c, which should hold nothing, every file that a pack tells of and whose clips are there, and compares it with
// what the pack says. m is the pack's manifest, with its files resolved. The files that are not there are returned, each content once.
func VerifyPack(ctx context.Context, p *Pack, m *Manifest, c *cache.Cache, o Options) ([]Proof, []PackInput, Summary, error) {
	stands := &packStands{pack: p, made: map[string]PackOutput{}}
	here, err := contentsOf(ctx, m, c)
	if err != nil {
		return nil, nil, Summary{}, err
	}
	var missing []PackInput
	for _, in := range contents(p.Index.Inputs) {
		if !here[in.ID] {
			missing = append(missing, in)
		}
	}
	var unmade []Proof
	var only []string
	for _, out := range p.Index.Outputs {
		if len(o.Only) > 0 && !slices.Contains(o.Only, out.File) {
			continue
		}
		stands.made[out.File] = out
		rec, err := stands.record(out)
		if err != nil {
			return nil, missing, Summary{}, err
		}
		lacks := 0
		for _, capture := range rec.Captures {
			if !here[capture.ID] {
				lacks++
			}
		}
		if lacks > 0 {
			unmade = append(unmade, Proof{File: out.File, State: Unmade,
				Reason: fmt.Sprintf("%d of the %s that it was made from are not here", lacks, numbered(len(rec.Captures), "file"))})
			continue
		}
		only = append(only, out.File)
	}
	if len(only) == 0 {
		return unmade, missing, Summary{}, nil
	}
	v := &verifier{pack: stands}
	o.verify, o.Only = v, only
	sum, err := Run(ctx, m, c, o)
	var request *RequestError
	if errors.As(err, &request) && !errors.Is(err, ErrIncomplete) { // a file that the manifest does not make is told below
		err = nil
	}
	for _, file := range only {
		if !slices.ContainsFunc(v.proofs, func(p Proof) bool { return p.File == file }) {
			v.proofs = append(v.proofs, Proof{File: file, State: Unmade, Reason: "the manifest does not make it"})
		}
	}
	return append(v.proofs, unmade...), missing, sum, err
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
	made := recordOf(d.Encoded)
	rec, err := made.encode()
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
		p.State = Differs
		if was.Output.ID == made.Output.ID {
			p.State = Lineage
		}
		p.Step, p.Reason, p.Change = g.firstApart(was, made)
	}
	v.proofs = append(v.proofs, p)
	if !out.Beside {
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
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	return IsPack(f)
}
