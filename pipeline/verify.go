package pipeline

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"plenilune/cache"
)

// Proof is how a delivered file compares with the same file made anew.
type Proof struct {
	File   string // relative to the output folder, with slashes
	ID     ID     // of the file made anew
	State  ProofState
	Step   string   // where the two go apart first, if that can be told
	Reason string   // what differs there, in words
	Change []Change // settings and inputs that differ there
}

// ProofState is one of the words below.
type ProofState string

// How a file compares with the same made anew.
const (
	Proven  ProofState = "same"         // bit for bit
	Lineage ProofState = "same picture" // the pixels are equal, the record is not
	Differs ProofState = "differs"
	Absent  ProofState = "missing"     // there is no such file
	Unmade  ProofState = "not made"    // it could not be made anew
	Alike   ProofState = "same pixels" // it was made anew from a pack's panels, for lack of clips
)

// RecordReader finds the record of a delivered file.
type RecordReader func(path string) ([]byte, error)

// Verify makes every wanted file anew in c, which should hold nothing, and compares it with what stands in the output folder; nothing there
// is written or changed.
func Verify(ctx context.Context, m *Manifest, c *cache.Cache, o Options, read RecordReader) ([]Proof, Summary, error) {
	v := &verifier{read: read}
	o.verify = v
	sum, err := Run(ctx, m, c, o)
	return v.proofs, sum, err
}

type verifier struct {
	read   RecordReader
	pack   *packStands // what to compare with instead of the output folder; may be nil
	proofs []Proof
}

// proveAll compares instead of delivering.
func (v *verifier) proveAll(ctx context.Context, g *graph, outDir string) error {
	v.proofs = nil
	var errs []error
	for _, d := range g.deliveries {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := g.awaitAll(ctx, d.streams()); err != nil {
			v.proofs = append(v.proofs, Proof{File: d.File, State: Unmade, Reason: err.Error()})
			continue
		}
		prove := v.prove
		switch {
		case v.pack != nil:
			prove = v.proveAgainstPack
		case d.Folder != nil:
			prove = v.proveFolder
		}
		if err := prove(ctx, g, outDir, d); err != nil {
			errs = append(errs, fmt.Errorf("compare %s: %w", d.File, err))
		}
	}
	return errors.Join(errs...)
}

// prove compares one file, and the record beside it if it has one.
func (v *verifier) prove(_ context.Context, g *graph, outDir string, d *delivery) error {
	made, rec, err := encodedRecord(g.cache, d.Encoded)
	if err != nil {
		return err
	}
	encoded, err := readStream(cacheStore{g.cache}, d.Encoded.node.outs[d.Encoded.port])
	if err != nil {
		return err
	}
	path := filepath.Join(outDir, filepath.FromSlash(d.File))
	p, err := v.compare(g, path, d, made, rec, encoded)
	if err != nil {
		return err
	}
	p.File = d.File
	v.proofs = append(v.proofs, p)
	if !d.Beside {
		return nil
	}
	b := Proof{File: d.File + ".record.json", ID: cache.Sum(rec), State: Proven}
	switch stands, err := os.ReadFile(path + ".record.json"); {
	case errors.Is(err, fs.ErrNotExist):
		b.State = Absent
	case err != nil:
		return fmt.Errorf("read the record beside it: %w", err)
	case !bytes.Equal(stands, rec):
		b.State, b.Reason = Differs, "it is not the record of the picture made anew; see there"
	}
	v.proofs = append(v.proofs, b)
	return nil
}

func (v *verifier) compare(g *graph, path string, d *delivery, made Record, rec, encoded []byte) (Proof, error) {
	splice := d.Splice
	if splice == nil {
		splice = func(encoded, _ []byte) ([]byte, error) { return encoded, nil }
	}
	final, err := splice(encoded, rec)
	if err != nil {
		return Proof{}, fmt.Errorf("put the record in: %w", err)
	}
	p := Proof{ID: cache.Sum(final), State: Proven}
	stands, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		p.State = Absent
		return p, nil
	}
	if err != nil {
		return p, err
	}
	if bytes.Equal(stands, final) {
		return p, nil
	}
	p.State = Differs
	if d.Splice == nil {
		p.Reason = "its text is not the one made anew"
		return p, nil
	}
	b, err := v.read(path)
	if err != nil {
		p.Reason = err.Error()
		return p, nil
	}
	was, err := ParseRecord(b)
	if err != nil {
		p.Reason = err.Error()
		return p, nil
	}
	// The record that the file has, put into the pixels made anew, gives the file: only the record differs.
	if again, err := splice(encoded, b); err == nil && bytes.Equal(again, stands) {
		p.State = Lineage
	}
	p.Step, p.Reason, p.Change = g.firstApart(was, made)
	return p, nil
}

// firstApart finds the first part, in the order of the work, at which two records go apart.
func (g *graph) firstApart(was, is Record) (step, reason string, changes []Change) {
	now := map[ID]RecordPart{}
	for _, p := range is.Parts {
		now[p.Key] = p
	}
	then := map[ID]bool{}
	for _, p := range was.Parts {
		then[p.Key] = true
	}
	for _, p := range was.Parts {
		q, ok := now[p.Key]
		if !ok {
			if step, changes = g.counterpart(p, is, then); len(changes) == 0 {
				return step, "it was made from files that are not those of now", g.captureChanges(was, is)
			}
			return step, whatDiffers(changes), changes
		}
		for _, port := range slices.Sorted(maps.Keys(p.Outputs)) {
			if id := p.Outputs[port]; q.Outputs[port] != id {
				return g.stepOf(p), "equal settings and inputs gave another result", []Change{{What: "output " + port, Old: id.String(), New: q.Outputs[port].String()}}
			}
		}
	}
	for _, p := range is.Parts {
		if !then[p.Key] {
			return g.stepOf(p), "the file was made without it", nil
		}
	}
	return "", "the records agree: the file was changed after it was made", nil
}

// whatDiffers says in words what kinds of changes there are.
func whatDiffers(changes []Change) string {
	var words []string
	for _, k := range [][2]string{{"version", "the program computes it in another way"}, {"setting", "settings differ"}, {"input", "inputs differ"}} {
		if slices.ContainsFunc(changes, func(c Change) bool { return strings.HasPrefix(c.What, k[0]) }) {
			words = append(words, k[1])
		}
	}
	return strings.Join(words, ", ")
}

// captureChanges lists the files that only one of two records was made from.
func (g *graph) captureChanges(was, is Record) (out []Change) {
	only := func(a, b Record) (ids []ID) {
		for _, c := range a.Captures {
			if !slices.ContainsFunc(b.Captures, func(d RecordCapture) bool { return d.ID == c.ID }) {
				ids = append(ids, c.ID)
			}
		}
		return ids
	}
	for _, id := range only(was, is) {
		out = append(out, Change{What: "input file", Old: g.files.label(id)})
	}
	for _, id := range only(is, was) {
		out = append(out, Change{What: "input file", New: g.files.label(id)})
	}
	return out
}

// counterpart finds the part made anew that comes nearest to one that was not, and tells what differs.
func (g *graph) counterpart(p RecordPart, is Record, then map[ID]bool) (step string, changes []Change) {
	a, err := parseAction([]byte(p.Text))
	if err != nil {
		return "", nil
	}
	step = a.part
	for _, q := range is.Parts {
		b, err := parseAction([]byte(q.Text))
		if err != nil || then[q.Key] || a.part != b.part {
			continue
		}
		if c := g.changes(p.Text, q.Text); changes == nil || len(c) < len(changes) {
			step, changes = g.stepOf(q), c
		}
	}
	return step, changes
}

// stepOf is how a part of a record is called on the screen.
func (g *graph) stepOf(p RecordPart) string {
	for _, n := range g.nodes {
		if n.key == p.Key {
			return g.display(n)
		}
	}
	a, err := parseAction([]byte(p.Text))
	if err != nil {
		return ""
	}
	return a.part
}
