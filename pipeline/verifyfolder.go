package pipeline

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"plenilune/cache"
)

// proveFolder compares a folder, file by file; what a user put beside them does not matter.
func (v *verifier) proveFolder(ctx context.Context, g *graph, outDir string, d *delivery) error {
	made, rec, err := encodedRecord(g.cache, d.Encoded)
	if err != nil {
		return err
	}
	dir := filepath.Join(outDir, filepath.FromSlash(d.File))
	p := Proof{File: d.File, State: Proven}
	if _, err := os.Stat(dir); errors.Is(err, fs.ErrNotExist) {
		p.State = Absent
	}
	files, apart, err := g.apartFrom(ctx, dir, d, rec)
	if err != nil {
		return err
	}
	b, err := json.Marshal(files)
	if err != nil {
		return err
	}
	p.ID = cache.Sum(b)
	if p.State == Proven && len(apart) > 0 {
		p.State = Differs
		if err := v.explainFolder(ctx, g, dir, d, made, &p); err != nil {
			return err
		}
		if p.Reason == "" || p.Step == "" {
			p.Reason = fmt.Sprintf("%d of %d files differ or are missing, %s first", len(apart), len(files), apart[0])
		}
	}
	v.proofs = append(v.proofs, p)
	return nil
}

// apartFrom lists the files of a folder made anew, and which of them do not stand so.
func (g *graph) apartFrom(ctx context.Context, dir string, d *delivery, rec []byte) (files []fileSum, apart []string, err error) {
	err = g.eachFile(ctx, d.streamIDs(), d.Folder.Splice, rec, func(name string, b []byte) error {
		files = append(files, fileSum{name, cache.Sum(b)})
		stands, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(name)))
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		if err != nil || !bytes.Equal(stands, b) {
			apart = append(apart, name)
		}
		return nil
	})
	return files, apart, err
}

// explainFolder tells where a folder's record goes apart from that of the folder made anew.
func (v *verifier) explainFolder(ctx context.Context, g *graph, dir string, d *delivery, made Record, p *Proof) error {
	b, err := v.read(dir)
	if err != nil {
		return nil // without a record, the files tell
	}
	was, err := ParseRecord(b)
	if err != nil {
		return nil
	}
	// The record that the folder has, put into the files made anew, gives the folder: only the record differs.
	_, apart, err := g.apartFrom(ctx, dir, d, b)
	if err != nil {
		return err
	}
	if len(apart) == 0 {
		p.State = Lineage
	}
	p.Step, p.Reason, p.Change = g.firstApart(was, made)
	return nil
}
