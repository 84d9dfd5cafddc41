package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"plenilune/pipeline"
	"plenilune/steps"
)

// verifyPack makes anew what a pack tells of, from clips that are found by their content, and shows how it compares.
func (f *verifyFlags) verifyPack(ctx context.Context, stdout, stderr io.Writer, file string) error {
	if f.out != "" || len(f.set) > 0 {
		return requestf("verify of a pack compares with what the pack says: it takes neither -o nor --set")
	}
	if st, err := os.Stat(f.clips); f.clips != "" && (err != nil || !st.IsDir()) {
		return requestf("--clips %s: there is no such folder", f.clips)
	}
	p, done, err := openPack(file)
	if err != nil {
		return err
	}
	defer done()
	opts, err := f.options()
	if err != nil {
		return err
	}
	dir, remove, err := f.folder(filepath.Dir(file))
	if err != nil {
		return err
	}
	defer remove()
	s := newScreen(stdout, stderr, f.json)
	var failed failures
	s.also = failed.note
	proofs, missing, err := f.proofsOf(ctx, s, p, dir, opts)
	if err != nil && !errors.Is(err, pipeline.ErrIncomplete) {
		return packError(file, err)
	}
	return f.judge(stdout, stderr, comparison{file, proofs, missing, failed, err})
}

// proofsOf lays out what of a pack is needed in a folder, and makes everything anew there.
func (f *verifyFlags) proofsOf(ctx context.Context, s *screen, p *pipeline.Pack, dir string, opts pipeline.Options) ([]pipeline.Proof, []pipeline.PackInput, error) {
	defer s.close()
	home, temp := filepath.Join(dir, "pack"), filepath.Join(dir, "cache")
	if err := os.Mkdir(home, 0o755); err != nil {
		return nil, nil, fmt.Errorf("make a folder for the pack: %w", err)
	}
	u, err := p.LayOutToVerify(ctx, home, steps.All())
	if err != nil {
		return nil, nil, err
	}
	m, err := f.strangers(u.Manifest)
	if err != nil {
		return nil, nil, err
	}
	var panels *pipeline.Manifest
	if u.Panels != "" {
		if panels, err = f.strangers(u.Panels); err != nil {
			return nil, nil, err
		}
	}
	c, err := f.emptyCache(ctx, temp, s.err)
	if err != nil {
		return nil, nil, err
	}
	defer c.Close()
	opts.OutDir, opts.Observer = filepath.Join(dir, "out"), s.event
	return pipeline.VerifyPack(ctx, p, m, panels, c, opts)
}

// strangers reads a manifest of a pack.
func (f *verifyFlags) strangers(file string) (*pipeline.Manifest, error) {
	src, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("read the pack's manifest: %w", err)
	}
	m, diags := pipeline.LoadManifest(file, src, steps.All(), nil)
	if err := diags.Err(); err != nil {
		return nil, fmt.Errorf("the pack's manifest has faults: %w", err)
	}
	m.Programs = programs{}
	_ = m.ResolveFiles(f.clips) // clips that are not there are told by name in the end
	return m, nil
}
