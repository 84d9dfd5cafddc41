package pipeline

import (
	"cmp"
	"context"
	"crypto/sha256"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
)

// Sequence is a clip that is made of single pictures.
type Sequence struct {
	// Path is what the clip goes by: the folder, or the path of the pictures with # for their number.
	Path     string
	Pictures []string // absolute paths, in the order of the numbers in their names
}

// pictureKinds are the endings of pictures.
var pictureKinds = map[string]string{".png": "PNG", ".tif": "TIFF", ".tiff": "TIFF", ".jpg": "JPEG", ".jpeg": "JPEG",
	".fits": "FITS", ".fit": "FITS", ".fts": "FITS"}

// PictureKind tells what kind of picture a name's ending means, or "".
func PictureKind(name string) string { return pictureKinds[strings.ToLower(filepath.Ext(name))] }

// Captures are the paths of a block's clips, files and sequences.
func (b *Block) Captures() []string {
	out := slices.Clone(b.Paths)
	for _, s := range b.Sequences {
		out = append(out, s.Path)
	}
	return out
}

// files are the paths of all files that a block's clips are read from.
func (b *Block) files() []string {
	out := slices.Clone(b.Paths)
	for _, s := range b.Sequences {
		out = append(out, s.Pictures...)
	}
	return out
}

// resolveSequences finds a block's sequences, and returns the patterns that match no picture.
func (m *Manifest) resolveSequences(d *Diagnostics, b *Block, out exceptions, clipsDir string) (empty []filePattern) {
	seen := map[string]int{}
	for _, p := range b.patterns {
		if !p.sequence {
			continue
		}
		folders := strings.HasSuffix(p.text, "/")
		pattern := p.text
		if folders {
			pattern += "*"
		}
		found, err := m.expandSequence(pattern, folders, clipsDir)
		if err != nil {
			d.fault(p.at, err.Error(), "write / between folders, * for any letters, ** for any folders")
			continue
		}
		if folders {
			found = slices.DeleteFunc(found, func(path string) bool { return PictureKind(path) == "" })
		} else if k := slices.IndexFunc(found, func(path string) bool { return PictureKind(path) == "" }); k >= 0 {
			d.fault(p.at, fmt.Sprintf("%s is no picture", filepath.ToSlash(found[k])), "sequences are made of .png, .tif, .jpg and .fits files; clips that are one file each go into files")
			continue
		}
		if len(found) == 0 {
			empty = append(empty, p)
		}
		found = slices.DeleteFunc(found, out.leave)
		for _, s := range SequencesOf(found, folders) {
			if kinds := kindsOf(s.Pictures); len(kinds) > 1 {
				d.fault(p.at, fmt.Sprintf("%s holds pictures of several kinds: %s", filepath.ToSlash(s.Path), listing(kinds, "and")),
					"a clip's pictures are of one kind: name them by their ending, as in "+quoted([]string{p.text + "*.png"})[0])
				continue
			}
			k, again := seen[s.Path]
			if !again {
				seen[s.Path] = len(b.Sequences)
				b.Sequences = append(b.Sequences, s)
				continue
			}
			b.Sequences[k].Pictures = inOrder(append(b.Sequences[k].Pictures, s.Pictures...)) // another pattern's, of the same clip
		}
	}
	slices.SortFunc(b.Sequences, func(a, b Sequence) int { return cmp.Compare(a.Path, b.Path) })
	return empty
}

// expandSequence is expand; under --clips, what counts of a pattern for folders begins an element further up.
func (m *Manifest) expandSequence(pattern string, folders bool, clipsDir string) ([]string, error) {
	if clipsDir == "" || !folders {
		return m.expand(pattern, clipsDir)
	}
	parts := strings.Split(strings.TrimSuffix(filepath.ToSlash(pattern), "/*"), "/")
	return (&Manifest{Dir: clipsDir}).expand("**/"+strings.Join(tail(parts), "/")+"/*", "")
}

func kindsOf(paths []string) []string {
	var out []string
	for _, p := range paths {
		out = append(out, PictureKind(p))
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// SequencesOf puts pictures together to clips: those of a folder, or those of a folder whose names differ in nothing but
// their last number.
func SequencesOf(paths []string, folders bool) []Sequence {
	of := map[string][]string{}
	for _, p := range paths {
		key := filepath.Dir(p)
		if !folders {
			key = filepath.Join(key, numberless(filepath.Base(p)))
		}
		of[key] = append(of[key], p)
	}
	out := make([]Sequence, 0, len(of))
	for key, pics := range of {
		out = append(out, Sequence{key, inOrder(pics)})
	}
	slices.SortFunc(out, func(a, b Sequence) int { return cmp.Compare(a.Path, b.Path) })
	return out
}

// inOrder sorts pictures by the numbers in their names, each once.
func inOrder(pictures []string) []string {
	slices.SortFunc(pictures, func(a, b string) int { return cmp.Or(compareNumbered(a, b), strings.Compare(a, b)) })
	return slices.Compact(pictures)
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

// numberless puts # for the last number of a name, its ending aside.
func numberless(name string) string {
	ext := filepath.Ext(name)
	stem := strings.TrimSuffix(name, ext)
	end := len(stem)
	for end > 0 && !isDigit(stem[end-1]) {
		end--
	}
	from := end
	for from > 0 && isDigit(stem[from-1]) {
		from--
	}
	if from == end {
		return name
	}
	return stem[:from] + "#" + stem[end:] + strings.ToLower(ext)
}

// compareNumbered compares names, of which numbers count by their value.
func compareNumbered(a, b string) int {
	for a != "" && b != "" {
		if isDigit(a[0]) && isDigit(b[0]) {
			var x, y string
			x, a = cutNumber(a)
			y, b = cutNumber(b)
			if c := cmp.Or(cmp.Compare(len(x), len(y)), strings.Compare(x, y)); c != 0 {
				return c
			}
			continue
		}
		if a[0] != b[0] {
			return cmp.Compare(a[0], b[0])
		}
		a, b = a[1:], b[1:]
	}
	return cmp.Compare(len(a), len(b))
}

// cutNumber takes the number, without zeros before it, off a text that begins with one.
func cutNumber(s string) (number, rest string) {
	n := 0
	for n < len(s) && isDigit(s[n]) {
		n++
	}
	return strings.TrimLeft(s[:n], "0"), s[n:]
}

// hashSequence identifies every picture. The id of the whole is the SHA-256 of a text that holds those of the pictures in
// hexadecimal digits, a line each.
func (s *fileSet) hashSequence(ctx context.Context, path string, pictures []string) (*inputFile, error) {
	in := &inputFile{path: path}
	h := sha256.New()
	for _, p := range pictures {
		f, err := s.hash(ctx, p)
		if err != nil {
			return nil, err
		}
		in.pictures = append(in.pictures, f)
		in.size += f.size
		fmt.Fprintf(h, "%s\n", f.id)
	}
	h.Sum(in.id[:0])
	return in, nil
}
