package pipeline

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"plenilune/cache"
)

// inputFile is a capture on the user's disk, known by its content.
type inputFile struct {
	path     string
	id       ID
	size     int64
	stamp    cache.Stamp // of when the id was found
	set      *fileSet
	pictures []*inputFile // of a sequence, which has no bytes of its own
}

// unchanged returns an error that names the file if it is no longer what its id says.
func (f *inputFile) unchanged() error {
	for _, p := range f.pictures {
		if err := p.unchanged(); err != nil {
			return err
		}
	}
	if f.pictures != nil {
		return nil
	}
	now, err := cache.StampOf(f.path)
	if err != nil {
		return fmt.Errorf("%s went away while the run was reading it: %w", f.path, err)
	}
	if !now.Same(f.stamp) {
		return fmt.Errorf("%s changed while the run was reading it (is it still being written?): run again once it is whole", f.path)
	}
	return nil
}

// opener lets a part read the file without learning its name.
func (f *inputFile) opener() func() (File, io.Closer, error) {
	if f == nil || f.pictures != nil {
		return nil
	}
	return func() (File, io.Closer, error) {
		h, err := os.Open(f.path)
		if err != nil {
			return nil, nil, fmt.Errorf("open capture: %w", err)
		}
		st, err := h.Stat()
		if err != nil {
			h.Close()
			return nil, nil, fmt.Errorf("open capture: %w", err)
		}
		if err := f.unchanged(); err != nil {
			h.Close()
			return nil, nil, err
		}
		return sized{f.set.through(h), st.Size()}, h, nil
	}
}

type sized struct {
	io.ReaderAt
	size int64
}

func (s sized) Size() int64 { return s.size }

// fileSet identifies the night's files, each once, and gives them short names.
type fileSet struct {
	cache  *cache.Cache
	rehash bool
	slots  chan struct{}
	onRead func(path string, bytes int64)
	// through is what every reading of a file goes through.
	through  func(io.ReaderAt) io.ReaderAt
	programs Programs // nil: none is run
	versions versions

	sequences map[string][]string // the pictures, by the path of the whole
	settling  *settling           // of a manifest that came in a pack; nil: names are settled

	mu     sync.Mutex
	firsts map[ID]*inputFile // what first was found of a content, for names of its pictures
	byPath map[string]*fileSlot
	labels map[ID]string
	stems  map[ID]ID         // what a file stands for, where that is another
	names  map[string]string // path → short name
	ahead  []string          // paths of files that are dated ahead of the clock
}

type fileSlot struct {
	once sync.Once
	file *inputFile
	err  error
}

func newFileSet(m *Manifest, c *cache.Cache, rehash bool) *fileSet {
	s := &fileSet{cache: c, rehash: rehash, slots: make(chan struct{}, 2), byPath: map[string]*fileSlot{},
		labels: map[ID]string{}, stems: map[ID]ID{}, names: m.FileNames(), through: straight, programs: m.Programs,
		sequences: map[string][]string{}, firsts: map[ID]*inputFile{}}
	for _, b := range m.Blocks {
		for _, q := range b.Sequences {
			s.sequences[q.Path] = q.Pictures
		}
		if b.choice != nil && s.settling == nil {
			s.settling = &settling{blocks: m.Blocks}
		}
	}
	return s
}

func straight(r io.ReaderAt) io.ReaderAt { return r }

// items returns one item per distinct content among a block's files, in the
// order of content ids, and the faults of the files that cannot be read: one bad
// file never stops the night.
func (s *fileSet) items(ctx context.Context, b *Block) ([]Item, []error, error) {
	if err := s.settle(ctx); err != nil {
		return nil, nil, err
	}
	files, errs, err := s.identifyAll(ctx, b)
	if err != nil {
		return nil, nil, err
	}
	seen := map[ID]bool{}
	var items []Item
	for _, f := range b.choice.take(files) {
		if f != nil && !seen[f.id] {
			seen[f.id] = true
			port := "file"
			if f.pictures != nil {
				port = "pictures"
			}
			items = append(items, Item{ID: f.id, Values: map[string]Value{port: {file: f}}})
		}
	}
	slices.SortFunc(items, func(a, b Item) int { return bytes.Compare(a.ID[:], b.ID[:]) })
	errs = slices.DeleteFunc(errs, func(e error) bool { return e == nil })
	return items, errs, nil
}

// identifyAll identifies a block's files, in their order; of each there is the file or an error.
func (s *fileSet) identifyAll(ctx context.Context, b *Block) ([]*inputFile, []error, error) {
	paths := b.Captures()
	files := make([]*inputFile, len(paths))
	errs := make([]error, len(paths))
	eg, ctx := errgroup.WithContext(ctx)
	for i, p := range paths {
		eg.Go(func() error {
			files[i], errs[i] = s.identify(ctx, p)
			return ctx.Err()
		})
	}
	return files, errs, eg.Wait()
}

// identify finds a file's content id, from its stamp if that is remembered.
func (s *fileSet) identify(ctx context.Context, path string) (*inputFile, error) {
	s.mu.Lock()
	slot := s.byPath[path]
	if slot == nil {
		slot = &fileSlot{}
		s.byPath[path] = slot
	}
	s.mu.Unlock()
	slot.once.Do(func() {
		s.slots <- struct{}{}
		defer func() { <-s.slots }()
		if pictures, ok := s.sequences[path]; ok {
			slot.file, slot.err = s.hashSequence(ctx, path, pictures)
		} else {
			slot.file, slot.err = s.hash(ctx, path)
		}
		if slot.err != nil {
			return
		}
		s.call(slot.file)
	})
	return slot.file, slot.err
}

func (s *fileSet) hash(ctx context.Context, path string) (*inputFile, error) {
	stamp, err := cache.StampOf(path)
	if err != nil {
		return nil, fmt.Errorf("look at %s: %w", path, err)
	}
	if id, ok := s.cache.Recall(stamp); ok && !s.rehash {
		return &inputFile{path: path, id: id, size: stamp.Size, stamp: stamp, set: s}, nil
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", path, err)
	}
	defer f.Close()
	h := sha256.New()
	buf := make([]byte, 4<<20)
	var total int64
	r := s.through(f)
	for {
		n, err := r.ReadAt(buf, total)
		h.Write(buf[:n])
		total += int64(n)
		if s.onRead != nil {
			s.onRead(path, int64(n))
		}
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("read %s at byte %d: %w", path, total, err)
		}
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
	}
	in := &inputFile{path: path, size: total, stamp: stamp, set: s}
	h.Sum(in.id[:0])
	if err := in.unchanged(); err != nil {
		return nil, err
	}
	if time.Until(time.Unix(0, stamp.ModTime)) > time.Minute { // their stamps are not remembered
		s.mu.Lock()
		s.ahead = append(s.ahead, path)
		s.mu.Unlock()
	}
	if err := s.cache.Remember(stamp, in.id); err != nil {
		return nil, fmt.Errorf("remember the content of %s: %w", path, err)
	}
	return in, nil
}

// standFor notes that a file stands for another, of content id stem, and lends it its name.
func (s *fileSet) standFor(file, stem ID) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.stems[file] = stem
	name, known := s.labels[file]
	if old, ok := s.labels[stem]; known && (!ok || cmp.Less(name, old)) {
		s.labels[stem] = name
	}
}

// stem returns what a file stands for: itself, unless standFor says otherwise.
func (s *fileSet) stem(file ID) ID {
	s.mu.Lock()
	defer s.mu.Unlock()
	if stem, ok := s.stems[file]; ok {
		return stem
	}
	return file
}

// dated tells of files that are dated ahead of the clock; ok is false if there are none.
func (s *fileSet) dated() (w Warning, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.ahead) == 0 {
		return w, false
	}
	slices.Sort(s.ahead)
	return Warning{"file-dated-ahead", fmt.Sprintf("files are dated ahead of the clock (%d, as %s): such files are read whole in every run; is the clock right?",
		len(s.ahead), s.names[s.ahead[0]])}, true
}

// content returns a file's content id, if it was identified.
func (s *fileSet) content(path string) (ID, bool) {
	s.mu.Lock()
	slot := s.byPath[path]
	s.mu.Unlock()
	if slot == nil || slot.file == nil {
		return ID{}, false
	}
	return slot.file.id, true
}

// picturesOf lists the pictures of a sequence that was identified.
func (s *fileSet) picturesOf(path string) []*inputFile {
	s.mu.Lock()
	slot := s.byPath[path]
	s.mu.Unlock()
	if slot == nil || slot.file == nil {
		return nil
	}
	return slot.file.pictures
}

// label returns a content's short name, or the head of its id.
func (s *fileSet) label(id ID) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	if n, ok := s.labels[id]; ok {
		return n
	}
	return id.Short()
}

// alias lets a content go by a clip's name.
func (s *fileSet) alias(id, clip ID) {
	s.mu.Lock()
	defer s.mu.Unlock()
	name, known := s.labels[clip]
	if old, ok := s.labels[id]; known && (!ok || cmp.Less(name, old)) {
		s.labels[id] = name
	}
}

var clipMark = regexp.MustCompile(`\{clip:([0-9a-f]{64})\}|\{picture:([0-9a-f]{64}):([0-9]+)\}`)

// named puts clip names where a part left its marks.
func (s *fileSet) named(text string) string {
	return clipMark.ReplaceAllStringFunc(text, func(m string) string {
		part := clipMark.FindStringSubmatch(m)
		id, err := cache.ParseID(part[1] + part[2])
		if err != nil {
			return m
		}
		if part[1] != "" {
			return s.label(id)
		}
		return s.picture(id, part[3])
	})
}

// namedError is a part's error with clip names where the part left its marks.
type namedError struct {
	error
	text string
}

func (e namedError) Error() string { return e.text }
func (e namedError) Unwrap() error { return e.error }

// picture names a picture of a sequence by the sequence and its file.
func (s *fileSet) picture(clip ID, number string) string {
	s.mu.Lock()
	f := s.firsts[clip]
	s.mu.Unlock()
	i, err := strconv.Atoi(number)
	if err != nil || f == nil || i >= len(f.pictures) {
		return s.label(clip) + ", picture " + number
	}
	return s.label(clip) + ", " + filepath.Base(f.pictures[i].path)
}

// sourceOf binds a value.
func sourceOf(id ID, s Store, f *inputFile) Source {
	out := Source{id: id, store: s, open: f.opener(), file: f}
	if f != nil {
		for _, p := range f.pictures {
			out.pieces = append(out.pieces, Piece{p.opener()})
		}
	}
	return out
}
