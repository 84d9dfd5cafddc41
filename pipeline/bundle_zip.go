package pipeline

import (
	"archive/zip"
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"
	"strings"
)

// Bounds of what an archive may hold, so that a small file can take neither memory nor a disk.
const (
	packMostEntries   = 20000
	packMostDirectory = 4 << 20  // bytes of the archive's own list of its files
	packMostIndex     = 4 << 20  // bytes of pack.json
	packMostRecord    = 8 << 20  // bytes of a record, and half as many as the archive has
	packFreeBytes     = 64 << 20 // that an archive may grow to, however small it is
	packMostGrowth    = 20       // times its size that it may grow to beyond
)

// Pack is an archive that was opened and found sound in form: its names and sizes are what they may be, and pack.json is read.
// Contents are proved when they are read. Close frees it.
type Pack struct {
	Index PackIndex
	size  int64
	files map[string]*zip.File
	order []string
}

// PackError says what is wrong with an archive: exit code 2.
type PackError struct{ Text string }

func (e *PackError) Error() string { return e.Text }

func packFault(format string, args ...any) error { return &PackError{fmt.Sprintf(format, args...)} }

// IsPack tells a zip archive by its first bytes.
func IsPack(r io.ReaderAt) bool {
	var b [4]byte
	_, err := r.ReadAt(b[:], 0)
	return err == nil && (string(b[:]) == "PK\x03\x04" || string(b[:]) == "PK\x05\x06")
}

// OpenPack reads an archive's list and pack.json. A fault of the archive is a *PackError.
func OpenPack(r io.ReaderAt, size int64) (*Pack, error) {
	within := &boundedReader{r: r, left: packMostDirectory}
	z, err := zip.NewReader(within, size)
	switch {
	case errors.Is(err, errListTooLong):
		return nil, packFault("the list of its files is too long for a pack")
	case err != nil && !errors.Is(err, zip.ErrInsecurePath): // its names are judged below
		return nil, packFault("it cannot be read as a zip archive: %v", err)
	case len(z.File) > packMostEntries:
		return nil, packFault("it lists %d files; a pack has at most %d", len(z.File), packMostEntries)
	}
	within.left = -1
	p := &Pack{size: size, files: map[string]*zip.File{}}
	if err := p.judge(z.File, size); err != nil {
		return nil, err
	}
	if p.files[packIndexFile] == nil {
		return nil, packFault("it holds no %s: it is no pack of this program", packIndexFile)
	}
	b, err := p.read(packIndexFile, packMostIndex)
	if err != nil {
		return nil, err
	}
	if p.Index, err = parsePackIndex(b); err != nil {
		return nil, &PackError{err.Error()}
	}
	return p, p.matches()
}

// judge holds every entry to what may stand in a pack.
func (p *Pack) judge(entries []*zip.File, size int64) error {
	lower := map[string]string{}
	folders := map[string]bool{}
	var whole uint64
	var taken []stretch
	for _, f := range entries {
		name := strings.TrimSuffix(f.Name, "/")
		folder := name != f.Name
		if why := badPackName(name); why != "" {
			return packFault("%q: %s", f.Name, why)
		}
		if folder && f.UncompressedSize64 == 0 && f.Mode().IsDir() {
			continue // other archivers list folders too
		}
		switch {
		case folder || !f.Mode().IsRegular():
			return packFault("%q is not a plain file but %s", f.Name, entryKind(f))
		case f.Flags&1 != 0:
			return packFault("%q is encrypted", f.Name)
		case f.Method != zip.Store && f.Method != zip.Deflate:
			return packFault("%q is compressed in a way that packs are not (method %d)", f.Name, f.Method)
		}
		low := strings.ToLower(name)
		if first, dup := lower[low]; dup {
			return packFault("%q and %q are one file where names do not differ by case", first, name)
		}
		lower[low] = name
		for i, r := range low {
			if r == '/' {
				folders[low[:i]] = true
			}
		}
		from, err := f.DataOffset()
		if err != nil {
			return packFault("%q cannot be found in the archive: %v", f.Name, err)
		}
		if f.CompressedSize64 > uint64(size) || from+int64(f.CompressedSize64) > size {
			return packFault("%q reaches past the archive's end", f.Name)
		}
		taken = append(taken, stretch{from, from + int64(f.CompressedSize64), f.Name})
		if whole += f.UncompressedSize64; f.UncompressedSize64 > 1<<50 || whole > mostWhole(size) {
			return packFault("it would grow from %d bytes to more than %d, as no pack does", size, mostWhole(size))
		}
		p.files[name] = f
		p.order = append(p.order, name)
	}
	for low, name := range lower {
		if folders[low] {
			return packFault("%q is a file and a folder", name)
		}
	}
	return apart(taken)
}

// stretch is where in an archive a file's bytes lie.
type stretch struct {
	from, to int64
	name     string
}

// apart refuses files that share bytes: so a small archive becomes a large folder.
func apart(taken []stretch) error {
	slices.SortFunc(taken, func(a, b stretch) int { return cmp.Or(cmp.Compare(a.from, b.from), cmp.Compare(a.to, b.to)) })
	for i := 1; i < len(taken); i++ {
		if taken[i].from < taken[i-1].to {
			return packFault("%q and %q share bytes of the archive", taken[i-1].name, taken[i].name)
		}
	}
	return nil
}

// mostWhole is how many bytes an archive of a size may hold.
func mostWhole(size int64) uint64 { return packFreeBytes + packMostGrowth*uint64(size) }

func entryKind(f *zip.File) string {
	switch m := f.Mode(); {
	case m.IsDir():
		return "a folder with content"
	case m&fs.ModeSymlink != 0:
		return "a link"
	case m&(fs.ModeDevice|fs.ModeCharDevice|fs.ModeNamedPipe|fs.ModeSocket) != 0:
		return "a device"
	}
	return "of another kind"
}

// matches holds the archive's list to that of pack.json.
func (p *Pack) matches() error {
	listed := map[string]bool{packIndexFile: true}
	for _, f := range p.Index.Files {
		e := p.files[f.Name]
		switch {
		case e == nil:
			return packFault("%s lists %q, and the archive does not hold it", packIndexFile, f.Name)
		case uint64(f.Bytes) != e.UncompressedSize64:
			return packFault("%q has %d bytes, %s says %d: it was altered", f.Name, e.UncompressedSize64, packIndexFile, f.Bytes)
		}
		listed[f.Name] = true
	}
	for _, name := range p.order {
		if !listed[name] {
			return packFault("%q is not listed in %s: it was added later", name, packIndexFile)
		}
	}
	return nil
}

// copyOut writes one file's content, and proves that it is as long as declared.
func (p *Pack) copyOut(name string, w io.Writer) error {
	f := p.files[name]
	r, err := f.Open()
	if err != nil {
		return packFault("%q cannot be read: %v", name, err)
	}
	defer r.Close()
	n, err := io.Copy(w, io.LimitReader(r, int64(f.UncompressedSize64)+1))
	var own *writeError
	switch {
	case errors.As(err, &own):
		return own.err
	case err != nil:
		return packFault("%q cannot be read: %v", name, err)
	case uint64(n) != f.UncompressedSize64:
		return packFault("%q declares %d bytes and holds more or fewer", name, f.UncompressedSize64)
	}
	return nil
}

// read returns a file of at most so many bytes.
func (p *Pack) read(name string, most int64) ([]byte, error) {
	if n := p.files[name].UncompressedSize64; n > uint64(most) {
		return nil, packFault("%q has %d bytes; it may have %d", name, n, most)
	}
	var b bytes.Buffer
	b.Grow(int(p.files[name].UncompressedSize64) + bytes.MinRead)
	if err := p.copyOut(name, &b); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

var errListTooLong = errors.New("the list is too long")

// boundedReader fails once more was read than is left; less than 0 is no bound.
type boundedReader struct {
	r    io.ReaderAt
	left int64
}

func (b *boundedReader) ReadAt(p []byte, off int64) (int, error) {
	if b.left >= 0 {
		if b.left -= int64(len(p)); b.left < 0 {
			b.left = 0
			return 0, errListTooLong
		}
	}
	return b.r.ReadAt(p, off)
}

// writeError tells a failure to write from one to read.
type writeError struct{ err error }

func (e *writeError) Error() string { return e.err.Error() }
