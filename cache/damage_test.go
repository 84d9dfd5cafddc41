package cache

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plenilune/pipeline/boundtest"
)

// filled is what a test put into a cache.
type filled struct {
	values  map[ID][]byte
	blobs   map[ID][][]byte
	actions map[ID][]ID
}

func fill(t testing.TB, c *Cache, n int) filled {
	f := filled{map[ID][]byte{}, map[ID][][]byte{}, map[ID][]ID{}}
	for i := range n {
		b := noise(uint64(i), 30+i*i*37%20000)
		v := put(t, c, b)
		f.values[v] = b
		outs := []ID{v}
		if i%10 == 0 {
			chunks := [][]byte{picture(uint64(i), 3000), picture(uint64(i+1), 2000)}
			id := putBlob(t, c, fmt.Sprint("head ", i), true, chunks...)
			f.blobs[id] = chunks
			outs = append(outs, id)
		}
		f.actions[putAction(t, c, fmt.Sprint("action ", i), outs...)] = outs
		if err := c.SetNote(fmt.Sprint("note ", i), b[:10]); err != nil {
			t.Fatal(err)
		}
	}
	return f
}

// verify fails the test at any wrong value, and returns how many things were lost.
func (f filled) verify(t testing.TB, c *Cache) (lost int) {
	t.Helper()
	for id, want := range f.values {
		got, err := c.Get(id)
		switch {
		case err == nil && !bytes.Equal(got, want):
			t.Errorf("value %s has wrong bytes", id.Short())
		case err != nil && !errors.Is(err, ErrDamaged) && !errors.Is(err, ErrMissing):
			t.Errorf("value %s: %v", id.Short(), err)
		case err != nil:
			lost++
		}
	}
	for id, want := range f.blobs {
		if !f.verifyBlob(t, c, id, want) {
			lost++
		}
	}
	for key, want := range f.actions {
		e, ok := c.Action(key)
		if !ok {
			lost++
			continue
		}
		for i, o := range e.Outputs {
			if len(e.Outputs) != len(want) || o.ID != want[i] {
				t.Errorf("action %s has wrong outputs", key.Short())
			}
		}
	}
	return lost
}

func (f filled) verifyBlob(t testing.TB, c *Cache, id ID, want [][]byte) bool {
	r, err := c.OpenBlob(id)
	if err == nil {
		defer r.Close()
		for i := range r.Len() {
			var b []byte
			if b, err = r.Chunk(i); err != nil {
				break
			}
			if !bytes.Equal(b, want[i]) {
				t.Errorf("blob %s, chunk %d has wrong bytes", id.Short(), i)
			}
		}
	}
	if err != nil && !errors.Is(err, ErrDamaged) && !errors.Is(err, ErrMissing) {
		t.Errorf("blob %s: %v", id.Short(), err)
	}
	return err == nil
}

func copyTree(t testing.TB, from string) string {
	t.Helper()
	to := t.TempDir()
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
	return to
}

func filesBelow(t testing.TB, dir string) (out []string) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if info, e := d.Info(); err == nil && e == nil && d.Type().IsRegular() && info.Size() > 0 {
			rel, _ := filepath.Rel(dir, path)
			out = append(out, rel)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func flipBit(t testing.TB, path string, at int64) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	b := make([]byte, 1)
	if _, err := f.ReadAt(b, at); err != nil {
		t.Fatal(err)
	}
	b[0] ^= 1 << (at % 8)
	if _, err := f.WriteAt(b, at); err != nil {
		t.Fatal(err)
	}
}

// usedLength is where the last byte that is not 0 stands: Badger's files end in
// zeros that nobody reads.
func usedLength(t testing.TB, path string) int64 {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return int64(max(1, len(bytes.TrimRight(b, "\x00"))))
}

func TestFlippedBitInAnyFile(t *testing.T) {
	master := t.TempDir()
	c, _ := open(t, master)
	data := fill(t, c, 30)
	alive := copyTree(t, master) // as a killed process leaves it
	closed(t, c)
	c, _ = open(t, master) // a second session, so that an old value log is there too
	put(t, c, noise(77, 5000))
	closed(t, c)

	r := rand.New(rand.NewPCG(1, 3))
	for name, from := range map[string]string{"closed": master, "killed": alive} {
		for i, f := range filesBelow(t, from) {
			if strings.HasPrefix(f, blobsDir) && i > 1 { // they come first
				continue
			}
			n := usedLength(t, filepath.Join(from, f))
			for _, at := range []int64{0, r.Int64N(n), n - 1} {
				t.Run(fmt.Sprintf("%s/%s/%d", name, filepath.ToSlash(f), at), func(t *testing.T) {
					dir := copyTree(t, from)
					flipBit(t, filepath.Join(dir, f), at)
					surviveDamage(t, dir, f, data)
				})
			}
		}
	}
}

// surviveDamage opens a damaged cache three times: nothing wrong may ever come
// out, and what a sound journal and sound files hold must be back at the last.
func surviveDamage(t *testing.T, dir, file string, data filled) {
	for range 2 {
		c, _ := open(t, dir)
		data.verify(t, c)
		closed(t, c)
	}
	c, w := open(t, dir)
	lost := data.verify(t, c)
	allowed := 0
	switch {
	case strings.HasPrefix(file, blobsDir):
		allowed = 2 // the blob and its action
	case strings.HasPrefix(file, journalDir):
		allowed = 4 // a record or two beside it, with an action
	}
	if lost > allowed {
		t.Errorf("%d things are lost, at most %d may be\n%s", lost, allowed, w)
	}
	b := []byte("still writable")
	if got, err := c.Get(put(t, c, b)); err != nil || !bytes.Equal(got, b) {
		t.Errorf("after the damage: %q, %v", got, err)
	}
	closed(t, c)
}

func TestDamagedJournalAndLostIndex(t *testing.T) {
	master := t.TempDir()
	c, _ := open(t, master)
	data := fill(t, c, 40)
	closed(t, c)
	r := rand.New(rand.NewPCG(5, 5))
	log := filepath.Base(segmentPath("", 1))
	for range 10 {
		dir := copyTree(t, master)
		path := filepath.Join(dir, journalDir, log)
		flipBit(t, path, r.Int64N(usedLength(t, path)))
		if err := os.RemoveAll(filepath.Join(dir, indexDir)); err != nil {
			t.Fatal(err)
		}
		c, w := open(t, dir)
		if lost := data.verify(t, c); lost > 2 {
			t.Errorf("one flipped bit lost %d things", lost)
		}
		if !strings.Contains(w.String(), "made again") {
			t.Errorf("no word of the rebuilding: %q", w)
		}
		closed(t, c)
	}
}

func TestBlobCutShortIsAMissAndIsMadeAgain(t *testing.T) {
	dir := t.TempDir()
	c, w := open(t, dir)
	chunks := [][]byte{picture(1, 5000), picture(2, 5000)}
	id := putBlob(t, c, "h", true, chunks...)
	info, err := os.Stat(c.blobPath(id))
	if err != nil {
		t.Fatal(err)
	}
	for n := int64(0); n < info.Size(); n += 1 + info.Size()/40 {
		if err := os.Truncate(c.blobPath(id), n); err != nil {
			t.Fatal(err)
		}
		if c.Has(id) {
			t.Errorf("cut to %d bytes, it counts as present", n)
		}
		if _, err := c.OpenBlob(id); !errors.Is(err, ErrDamaged) {
			t.Errorf("cut to %d bytes: %v, want ErrDamaged", n, err)
		}
		if _, err := c.OpenBlob(id); !errors.Is(err, ErrMissing) {
			t.Errorf("after the damage was found: %v, want ErrMissing", err)
		}
		putBlob(t, c, "h", true, chunks...)
	}
	if !strings.Contains(w.String(), "was dropped and will be made again") {
		t.Errorf("warnings: %q", w)
	}
	noFaults(t, c)
}

func TestDamagedSmallValueComesBackFromTheJournal(t *testing.T) {
	dir := t.TempDir()
	c, w := open(t, dir)
	id := put(t, c, []byte("right"))
	if err := c.index.put(pair{indexKey(kindValue, id), []byte("wrong")}); err != nil {
		t.Fatal(err)
	}
	if _, err := c.Get(id); !errors.Is(err, ErrDamaged) {
		t.Fatalf("got %v, want ErrDamaged", err)
	}
	if _, err := c.Get(id); !errors.Is(err, ErrMissing) {
		t.Fatalf("got %v, want ErrMissing", err)
	}
	if w.String() == "" {
		t.Error("nobody was told")
	}
	closed(t, c)
	c, _ = open(t, dir)
	if b, err := c.Get(id); err != nil || string(b) != "right" {
		t.Errorf("after opening again: %q, %v", b, err)
	}
}

func TestCheckListsAllFaults(t *testing.T) {
	dir := t.TempDir()
	c, _ := open(t, dir)
	a := putBlob(t, c, "a", true, picture(1, 3000), picture(2, 3000))
	b := put(t, c, noise(3, 2*putChunk))
	gone := putBlob(t, c, "gone", false, []byte("x"))
	small := put(t, c, []byte("small"))
	act := putAction(t, c, "act", gone)
	flipBit(t, c.blobPath(a), 100)
	flipBit(t, c.blobPath(b), 1<<20+100)
	if err := os.Remove(c.blobPath(gone)); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, blobsDir, "stray"), nil, 0o666); err != nil {
		t.Fatal(err)
	}
	if err := c.index.put(pair{indexKey(kindValue, small), []byte("wrong")}); err != nil {
		t.Fatal(err)
	}
	flipBit(t, segmentPath(filepath.Join(dir, journalDir), 1), segmentHead+recordHead)
	var done, total int64
	faults, err := c.Check(context.Background(), func(d, n int64) { done, total = d, n })
	if err != nil {
		t.Fatal(err)
	}
	text := ""
	for _, f := range faults {
		text += f.String() + "\n"
	}
	for _, want := range []string{
		a.Short() + ": chunk 1 of 2", b.Short() + ": chunk 2 of 2", "blob: its file is missing", "the file does not belong here",
		small.Short() + ": value: its bytes changed", small.Short() + ": value: the journal does not have it",
		act.Short() + ": action: its output port0", "bytes from byte 32 on are damaged",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("no fault with %q in:\n%s", want, text)
		}
	}
	if len(faults) != 8 {
		t.Errorf("%d faults, want 8:\n%s", len(faults), text)
	}
	if total == 0 || done > total {
		t.Errorf("progress %d of %d", done, total)
	}
}

func FuzzBlobDirectory(f *testing.F) {
	d := directory{kind: blobList, head: []byte("h"), chunks: []chunk{{16, 3, 3, Sum([]byte("abc"))}}}
	f.Add(d.encode(19), int64(19))
	f.Fuzz(func(t *testing.T, b []byte, at int64) {
		boundtest.Memory(t, len(b), boundtest.MemoryEach, func() { _, _ = parseDirectory(b, at) })
	})
}
