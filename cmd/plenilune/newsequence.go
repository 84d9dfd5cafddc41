package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"plenilune/pipeline"
)

// fewestPictures is of how many pictures, at least, a clip is made: fewer are something else. Two do for a master.
const fewestPictures = 10

// foundSequence is a clip of single pictures.
type foundSequence struct {
	pipeline.Sequence
	folder bool // it is all pictures of the folder that it goes by
}

// sequences takes the clips among the pictures of a folder: those that are named alike but for a number. What is a capture,
// too, is one of its own unless so many are named alike, and hold one frame each.
func (s *search) sequences(dir string, pictures []string, r role) {
	pictures = slices.DeleteFunc(pictures, func(p string) bool {
		st, err := os.Stat(p)
		odd := err != nil || !st.Mode().IsRegular()
		if odd && isCapture(p) {
			s.entry(p, roleOf(filepath.Base(p), r))
		}
		return odd
	})
	found := numberedElsewhere(pictures, pipeline.SequencesOf(pictures, false))
	hint := ""
	if most, _ := mostNumbered(pictures); most >= fewestPictures {
		hint = elsewhereHint
	}
	for _, q := range found {
		if isCapture(q.Pictures[0]) && !s.manyOfOne(q, r) {
			for _, p := range q.Pictures {
				s.entry(p, roleOf(filepath.Base(p), r))
			}
			continue
		}
		got := &foundSequence{q, len(found) == 1}
		if got.folder {
			got.Path = filepath.Clean(dir)
		}
		as := roleOf(filepath.Base(q.Path), r)
		abs, err := filepath.Abs(got.Path)
		if err != nil {
			abs = got.Path
		}
		switch {
		case s.seen["pictures of "+abs]:
		case as == "":
			s.leave(got.Path, "its name says both dark and flat", "")
		case as != clipRole && s.given[as]:
			s.leave(got.Path, fmt.Sprintf("it is named like %s frames, and --%s names others", as, as), "")
		case len(q.Pictures) < fewest(as):
			if !s.outside {
				s.leaveFew(q, hint)
			}
		default:
			s.seen["pictures of "+abs] = true
			s.files = append(s.files, roleFile{path: got.Path, role: as, sequence: got})
		}
	}
}

// fewest is how many pictures, at least, are a clip or a master.
func fewest(r role) int {
	if r == clipRole {
		return fewestPictures
	}
	return 2
}

// manyOfOne tells whether files are many enough for a sequence, and the first holds one frame.
func (s *search) manyOfOne(q pipeline.Sequence, r role) bool {
	if len(q.Pictures) < fewest(roleOf(filepath.Base(q.Path), r)) {
		return false
	}
	x, err := probe(q.Pictures[0])
	return err == nil && x.Declared == 1
}

// leaveFew leaves pictures out that are too few to be a clip.
func (s *search) leaveFew(q pipeline.Sequence, hint string) {
	if len(q.Pictures) == 1 {
		why := "a single picture is no clip"
		if _, err := probePictures(q.Pictures); err != nil {
			why, hint = err.Error(), ""
		}
		s.leave(q.Pictures[0], why, hint)
		return
	}
	s.leave(q.Path, fmt.Sprintf("its %d pictures are fewer than the %d of a clip", len(q.Pictures), fewestPictures), "")
}

// readSequence reads the head of a sequence's first picture.
func readSequence(q *foundSequence) (foundClip, error) {
	x, err := probePictures(q.Pictures)
	if err != nil {
		return foundClip{}, err
	}
	var bytes int64
	for _, p := range q.Pictures {
		if st, err := os.Stat(p); err == nil {
			bytes += st.Size()
		}
	}
	return foundClip{path: q.Path, sequence: q, frames: x.Frames, declared: x.Declared, start: x.StartUnixNS, byClock: x.ClockUnixNS != 0,
		bytes: bytes, kind: kindOf(x)}, nil
}

// apartFiles parts files from sequences.
func apartFiles(found []foundClip) (files, sequences []foundClip) {
	for _, c := range found {
		if c.sequence != nil {
			sequences = append(sequences, c)
		} else {
			files = append(files, c)
		}
	}
	return files, sequences
}

// files are the files that a clip is read from.
func (c foundClip) files() []string {
	if c.sequence != nil {
		return c.sequence.Pictures
	}
	return []string{c.path}
}
