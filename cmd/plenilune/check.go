package main

import (
	"context"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"plenilune/pipeline"
	"plenilune/steps/captures"
	"plenilune/steps/panels"
)

func checkCommand() *cobra.Command {
	var clips string
	var set []string
	cmd := &cobra.Command{
		Use:   "check FILE",
		Short: "List every fault of a manifest and its input files, computing nothing",
		Long: `check lists every fault of a manifest at once, each with its line, and of the files
that it names; it looks into these and computes nothing. What a fault hides, as a block
without a name hides its files, is looked at once that is mended. The exit code is 2 if
there is any.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			stderr := cmd.ErrOrStderr()
			m, err := loadManifest(stderr, args[0], clips, set)
			if m == nil {
				return err
			}
			files, faults := 0, 0
			for _, b := range m.Blocks {
				of, bad := checkFiles(stderr, b)
				files, faults = files+of, faults+bad
			}
			if faults > 0 {
				fmt.Fprintf(stderr, "plenilune: %d of %d files cannot be used\n", faults, files)
				return &toldError{exitRequest}
			}
			if err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "%s: no faults in %d blocks and %d files\n", args[0], len(m.Blocks), files)
			return nil
		},
	}
	cmd.Flags().StringVar(&clips, "clips", "", "look for the manifest's files under `DIR` instead")
	cmd.Flags().StringArrayVar(&set, "set", nil, "`NAME=VALUE` replaces an entry of the manifest's settings block; may be repeated")
	return cmd
}

// checkFiles looks at the files of a block, and says which of them cannot be used, and how many those are.
func checkFiles(stderr io.Writer, b *pipeline.Block) (files, faults int) {
	for _, path := range b.Paths {
		files++
		if b.Kind == "panels" {
			if _, err := probePanel(path); err != nil {
				faults++
				fmt.Fprintf(stderr, "error: %s %q: %s: %v\n", b.Kind, b.Name, path, err)
			}
			continue
		}
		if x, err := probe(path); err != nil {
			faults++
			fmt.Fprintf(stderr, "error: %s %q: %v\n", b.Kind, b.Name, err)
		} else if x.CutShort || x.Empty {
			fmt.Fprintf(stderr, "warning: %s %q: %s holds %d of %d frames\n", b.Kind, b.Name, path, x.Frames, x.Declared)
		}
	}
	for _, q := range b.Sequences {
		files += len(q.Pictures)
		if _, err := probePictures(q.Pictures); err != nil {
			faults += len(q.Pictures)
			fmt.Fprintf(stderr, "error: %s %q: %s: %v\n", b.Kind, b.Name, q.Path, err)
		}
	}
	return files, faults
}

// openCapture is a file as steps read it.
type openCapture struct {
	*os.File
	size int64
}

func (o openCapture) Size() int64 { return o.size }

var _ pipeline.File = openCapture{}

// probePanel looks at what a panel's file holds.
func probePanel(path string) (panels.Found, error) {
	f, err := os.Open(path)
	if err != nil {
		return panels.Found{}, err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return panels.Found{}, err
	}
	return panels.Probe(openCapture{f, st.Size()})
}

// probe reads a capture's header and a few frames.
func probe(path string) (captures.Index, error) {
	f, err := os.Open(path)
	if err != nil {
		return captures.Index{}, err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return captures.Index{}, err
	}
	x, err := captures.Probe(openCapture{f, st.Size()})
	switch {
	case err != nil:
	case x.Foreign == "film":
		x, err = captures.ProbeFilm(context.Background(), programs{}, path)
	case x.Foreign != "":
		x, err = probePictures([]string{path})
	}
	if err != nil {
		return x, fmt.Errorf("%s: %w", path, err)
	}
	return x, nil
}

// probePictures reads the first of some pictures.
func probePictures(paths []string) (captures.Index, error) {
	var pieces []pipeline.Piece
	for _, p := range paths {
		pieces = append(pieces, pipeline.Piece{Open: func() (pipeline.File, io.Closer, error) {
			f, err := os.Open(p)
			if err != nil {
				return nil, nil, err
			}
			st, err := f.Stat()
			if err != nil {
				f.Close()
				return nil, nil, err
			}
			return openCapture{f, st.Size()}, f, nil
		}})
	}
	return captures.ProbePictures(pieces)
}
