package main

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"plenilune/pipeline"
)

// captureEndings are those of files that are looked into; what they are, their content tells.
var captureEndings = []string{".ser", ".avi", ".fits", ".fit", ".fts"}

// filmEndings are those of files that are read by way of FFmpeg: of every kind that package captures knows by its content.
var filmEndings = []string{".mp4", ".m4v", ".mov", ".mkv", ".webm", ".mts", ".m2ts", ".ts", ".mpg", ".mpeg", ".wmv", ".asf", ".3gp", ".mxf",
	".y4m", ".gif", ".ogv", ".ogg", ".flv", ".ivf", ".nut", ".h264", ".264", ".h265", ".hevc"}

// isCapture tells a capture by its name's ending.
func isCapture(name string) bool {
	is := func(e string) bool { return strings.EqualFold(filepath.Ext(name), e) }
	return slices.ContainsFunc(captureEndings, is) || slices.ContainsFunc(filmEndings, is)
}

// isHidden tells what systems put beside a user's files.
func isHidden(name string) bool {
	switch strings.ToLower(name) {
	case "thumbs.db", "desktop.ini", "$recycle.bin", "system volume information", "__macosx", "lost+found":
		return true
	}
	return strings.HasPrefix(name, ".")
}

// roleFile is a capture and what it is taken for.
type roleFile struct {
	path     string
	role     role
	sequence *foundSequence // nil: a file
}

// search walks through folders for captures.
type search struct {
	dir     string
	files   []roleFile
	leftOut []leftOut
	hidden  int
	seen    map[string]bool // folders looked into, and captures
	given   map[role]bool   // kinds of frames that the user named
	outside bool            // beside the folder of clips: only captures matter there
	level   int             // of folders inside folders
}

// deepest is how many folders inside one another are looked through outside the
// folder of clips: what begins with dark there may be anything.
const deepest = 2

func newSearch(dir string) *search {
	return &search{dir: dir, seen: map[string]bool{}, given: map[role]bool{}}
}

func (s *search) leave(path, why, hint string) {
	s.leftOut = append(s.leftOut, leftOut{path, why, hint})
}

// all finds what is there: what the user named, then what is inside the folder of
// clips, then, by its name, what is beside it, then what is one level up.
func (s *search) all(g givenFrames) error {
	named := []struct {
		role  role
		paths []string
	}{{darkRole, g.darks}, {flatRole, g.flats}, {flatDarkRole, g.flatDarks}}
	for _, of := range named {
		for _, p := range of.paths {
			if err := s.named(p, of.role); err != nil {
				return err
			}
		}
	}
	for _, of := range named {
		s.given[of.role] = len(of.paths) > 0
	}
	abs, err := filepath.Abs(s.dir)
	if err != nil {
		return fmt.Errorf("find the folder beside: %w", err)
	}
	s.walk(s.dir, clipRole)
	s.beside(filepath.Dir(abs), func(role) bool { return true })
	s.beside(filepath.Dir(filepath.Dir(abs)), func(r role) bool { return !s.has(r) })
	return nil
}

func (s *search) has(r role) bool {
	for _, f := range s.files {
		if f.role == r {
			return true
		}
	}
	return false
}

// named takes a folder or a capture that the user says is of this role.
func (s *search) named(path string, r role) error {
	st, err := os.Stat(path)
	switch {
	case err != nil:
		return requestf("--%s: %v", r, err)
	case st.IsDir():
		before := len(s.files)
		s.walk(path, r)
		for i := before; i < len(s.files); i++ {
			s.files[i].role = r // whatever it is called
		}
		if len(s.files) == before {
			return requestf("--%s %s: there is no clip in this folder", r, shown(path))
		}
	case isCapture(path) && st.Mode().IsRegular():
		s.add(path, r)
	default:
		return requestf("--%s %s: want a folder of clips, or one", r, shown(path))
	}
	return nil
}

// beside takes dark and flat frames among what stands in a folder, by their names.
func (s *search) beside(dir string, want func(role) bool) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return // a folder that cannot be listed holds nothing for us
	}
	s.outside = true
	defer func() { s.outside = false }()
	wanted := map[role]bool{darkRole: want(darkRole), flatRole: want(flatRole), flatDarkRole: want(flatDarkRole)}
	for _, e := range entries {
		if r := roleOf(e.Name(), clipRole); wanted[r] && !isHidden(e.Name()) {
			s.entry(filepath.Join(dir, e.Name()), r)
		}
	}
}

// walk looks through a folder and those inside it. A folder is looked through
// once, however many links lead to it.
func (s *search) walk(dir string, r role) {
	real := trueName(dir)
	if s.seen[real] || s.outside && s.level >= deepest {
		return
	}
	s.seen[real] = true
	s.level++
	defer func() { s.level-- }()
	entries, err := os.ReadDir(dir)
	if err != nil && !s.outside {
		s.leave(dir, "this folder cannot be looked into: "+bare(err), "")
	}
	var pictures []string
	for _, e := range entries {
		if isHidden(e.Name()) {
			if !s.outside {
				s.hidden++
			}
			continue
		}
		if pipeline.PictureKind(e.Name()) != "" && !e.IsDir() {
			pictures = append(pictures, filepath.Join(dir, e.Name()))
			continue
		}
		s.entry(filepath.Join(dir, e.Name()), roleOf(e.Name(), r))
	}
	s.sequences(dir, pictures, r)
}

// entry deals with one file or folder.
func (s *search) entry(path string, r role) {
	st, err := os.Stat(path)
	switch {
	case err != nil:
		if isCapture(path) {
			s.leave(path, "it cannot be opened: "+bare(err), "")
		}
	case r == "" && (st.IsDir() || isCapture(path)):
		s.leave(path, "its name says both dark and flat", "dark frames of flat frames are known by names that begin with flatdark or darkflat, or are named by --flat-dark")
	case r != clipRole && s.given[r] && (st.IsDir() || isCapture(path)):
		if !s.seen[trueName(path)] {
			s.leave(path, fmt.Sprintf("it is named like %s frames, and --%s names others", r, r), "")
		}
	case st.IsDir() && isOutput(path):
		s.leave(path, "pictures of an earlier run", "")
	case st.IsDir():
		s.walk(path, r)
	case !isCapture(path):
		if !s.outside {
			s.leave(path, "not a clip", "")
		}
	case !st.Mode().IsRegular():
		s.leave(path, "it is no regular file", "")
	default:
		s.add(path, r)
	}
}

// trueName is where a path leads, through links.
func trueName(path string) string {
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real
	}
	if abs, err := filepath.Abs(path); err == nil {
		path = abs
	}
	return path
}

// add takes a capture, once. A link to a clip is a clip: equal content is told
// later, by content.
func (s *search) add(path string, r role) {
	abs, err := filepath.Abs(path)
	if err != nil {
		abs = path
	}
	if !s.seen[abs] {
		s.seen[abs] = true
		s.files = append(s.files, roleFile{path: path, role: r})
	}
}

// isOutput tells the folder that a run wrote its pictures into: a manifest's name
// and -out, or a picture's record in it.
func isOutput(dir string) bool {
	if stem, ok := strings.CutSuffix(dir, "-out"); ok {
		if _, err := os.Stat(stem + ".hcl"); err == nil {
			return true
		}
	}
	records, err := filepath.Glob(filepath.Join(escapePattern(dir), "*.record.json"))
	return err == nil && len(records) > 0
}

// bare is an error of the file system without the path that is told beside it.
func bare(err error) string {
	if p, ok := err.(*fs.PathError); ok {
		return p.Err.Error()
	}
	return err.Error()
}
