package pipeline

import (
	"archive/zip"
	"bufio"
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"plenilune/cache"
)

// packTime is what every entry of a pack is stamped with: the first moment that a zip archive can tell. A pack's bytes do not
// depend on when it was made.
var packTime = time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)

// packWriter writes an archive whose bytes depend on nothing but the files put into it and their order.
type packWriter struct{ z *zip.Writer }

func newPackWriter(w io.Writer) *packWriter { return &packWriter{zip.NewWriter(w)} }

// put writes one file. Texts are deflated by the standard library's encoder, which the toolchain line pins; pictures and clips,
// which would gain little, are stored.
func (p *packWriter) put(name string, from io.Reader, deflate bool) error {
	h := &zip.FileHeader{Name: name, Method: zip.Store, Modified: packTime}
	if deflate {
		h.Method = zip.Deflate
	}
	h.SetMode(0o644)
	w, err := p.z.CreateHeader(h)
	if err == nil {
		_, err = io.Copy(w, from)
	}
	if err != nil {
		return fmt.Errorf("put %s into the pack: %w", name, err)
	}
	return nil
}

// Close writes the archive's list.
func (p *packWriter) Close() error {
	if err := p.z.Close(); err != nil {
		return fmt.Errorf("end the pack: %w", err)
	}
	return nil
}

// PackTo writes a pack to a file, so that its name never stands for a part of one. A file that stands there is replaced if it is a
// pack, and else left.
func PackTo(ctx context.Context, file string, m *Manifest, c *cache.Cache, o PackOptions) (x PackIndex, err error) {
	if err := packOrNothing(file); err != nil {
		return x, err
	}
	if st, err := os.Stat(filepath.Dir(file)); err != nil || !st.IsDir() {
		return x, &RequestError{fmt.Sprintf("there is no folder %s to put the pack into: make it, or name another file with -o", filepath.ToSlash(filepath.Dir(file)))}
	}
	temp, err := beginBeside(file)
	if err != nil {
		return x, fmt.Errorf("begin the pack: %w", err)
	}
	defer os.RemoveAll(temp)
	f, err := os.Create(filepath.Join(temp, "pack"))
	if err != nil {
		return x, fmt.Errorf("begin the pack: %w", err)
	}
	o.scratch = temp
	w := bufio.NewWriterSize(f, 1<<20)
	x, err = WritePack(ctx, m, c, o, w)
	if err == nil {
		err = w.Flush()
	}
	if err == nil {
		err = readsBack(f)
	}
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return x, err
	}
	if err := os.Rename(f.Name(), file); err != nil {
		return x, fmt.Errorf("put the pack in place (is it open in another program?): %w", err)
	}
	syncDir(filepath.Dir(file))
	return x, nil
}

// readsBack opens what was written as unpack will, so that no pack is made that would be refused.
func readsBack(f *os.File) error {
	st, err := f.Stat()
	if err == nil {
		_, err = OpenPack(f, st.Size())
	}
	var fault *PackError
	if errors.As(err, &fault) {
		return &RequestError{"what was asked for makes no pack: " + fault.Text + "; leave clips or panels out"}
	}
	return err
}

// packOrNothing refuses to write over what is no pack.
func packOrNothing(file string) error {
	f, err := os.Open(file)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("look at %s: %w", file, err)
	}
	defer f.Close()
	st, err := f.Stat()
	if err == nil {
		_, err = OpenPack(f, st.Size())
	}
	if err != nil {
		return &RequestError{fmt.Sprintf("%s stands there and is no pack: name another file with -o", filepath.ToSlash(file))}
	}
	return nil
}

// write writes the archive: the crate's description first, then texts, pictures and clips by name.
func (p *packing) write(ctx context.Context, w io.Writer) error {
	index, err := p.index.encode()
	if err != nil {
		return err
	}
	if n := len(p.files) + 1; n > packMostEntries || len(index) > packMostIndex { // before hours of writing
		return &RequestError{fmt.Sprintf("what was asked for makes no pack: it would have %d files and a list of %d bytes; a pack has at most %d, and %d bytes; leave clips or panels out",
			n, len(index), packMostEntries, packMostIndex)}
	}
	z := newPackWriter(w)
	rank := func(name string) int {
		return slices.Index([]string{packCrateFile, packPageFile, packIndexFile, packManifest}, name)
	}
	all := append(slices.Clone(p.files), packSource{packFileOf(packIndexFile, index), index, "", true})
	slices.SortFunc(all, func(a, b packSource) int {
		ra, rb := rank(a.Name), rank(b.Name)
		if ra < 0 {
			ra = 9
		}
		if rb < 0 {
			rb = 9
		}
		big := func(s packSource) int {
			if s.path != "" {
				return 1
			}
			return 0
		}
		return cmp.Or(cmp.Compare(ra, rb), cmp.Compare(big(a), big(b)), strings.Compare(a.Name, b.Name))
	})
	for _, f := range all {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := f.put(ctx, z); err != nil {
			return err
		}
	}
	return z.Close()
}

// put writes one file, and proves on the way that it is what was listed.
func (f packSource) put(ctx context.Context, z *packWriter) error {
	if f.path == "" {
		return z.put(f.Name, bytes.NewReader(f.bytes), f.deflate)
	}
	h, err := os.Open(f.path)
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s is gone", f.path)
	}
	if err != nil {
		return fmt.Errorf("open %s: %w", f.path, err)
	}
	defer h.Close()
	sum := sha256.New()
	if err := z.put(f.Name, io.TeeReader(stoppable{ctx, h}, sum), f.deflate); err != nil {
		return err
	}
	if ID(sum.Sum(nil)) != f.ID {
		return fmt.Errorf("%s changed since it was run: run again, then pack", f.path)
	}
	return nil
}

// stoppable ends a long reading when the work is to stop.
type stoppable struct {
	ctx context.Context
	r   io.Reader
}

func (s stoppable) Read(b []byte) (int, error) {
	if err := s.ctx.Err(); err != nil {
		return 0, err
	}
	return s.r.Read(b)
}
