package cache

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
)

// warnings gathers what a cache warns of.
type warnings struct {
	mu   sync.Mutex
	text []string
}

func (w *warnings) add(s string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.text = append(w.text, s)
}

func (w *warnings) String() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return strings.Join(w.text, "\n")
}

func open(t testing.TB, dir string) (*Cache, *warnings) {
	t.Helper()
	w := &warnings{}
	c, err := Open(context.Background(), dir, Options{Build: "test", NoWait: true, Warn: w.add})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Close() })
	return c, w
}

func closed(t testing.TB, c *Cache) {
	t.Helper()
	if err := c.Close(); err != nil {
		t.Fatal(err)
	}
}

// noise is n bytes that do not compress, the same for the same seed.
func noise(seed uint64, n int) []byte {
	r := rand.New(rand.NewPCG(seed, 1))
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(r.Uint64())
	}
	return b
}

// picture is n float32 pixels of a smooth brightness with noise.
func picture(seed uint64, n int) []byte {
	r := rand.New(rand.NewPCG(seed, 2))
	var b []byte
	for i := range n {
		v := 0.4 + 0.001*float64(i%64) + 0.002*r.Float64()
		b = binary.LittleEndian.AppendUint32(b, math.Float32bits(float32(v)))
	}
	return b
}

func put(t testing.TB, c *Cache, b []byte) ID {
	t.Helper()
	id, err := c.Put(b)
	if err != nil {
		t.Fatal(err)
	}
	return id
}

func putBlob(t testing.TB, c *Cache, head string, words bool, chunks ...[]byte) ID {
	t.Helper()
	w, err := c.Create([]byte(head), words)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Abort()
	for _, b := range chunks {
		if err := w.Chunk(b); err != nil {
			t.Fatal(err)
		}
	}
	id, err := w.Commit()
	if err != nil {
		t.Fatal(err)
	}
	return id
}

func putAction(t testing.TB, c *Cache, text string, outs ...ID) ID {
	t.Helper()
	e := Entry{Text: []byte(text), Notes: []byte("notes of " + text)}
	for i, id := range outs {
		e.Outputs = append(e.Outputs, Output{fmt.Sprint("port", i), id})
	}
	key, err := c.PutAction(e)
	if err != nil {
		t.Fatal(err)
	}
	return key
}

func noFaults(t testing.TB, c *Cache) {
	t.Helper()
	faults, err := c.Check(context.Background(), nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range faults {
		t.Errorf("fault: %v", f)
	}
}

func TestValuesOfEverySizeComeBackByTheirHash(t *testing.T) {
	dir := t.TempDir()
	c, _ := open(t, dir)
	sizes := []int{0, 1, 1023, 1024, 1025, smallUpTo - 1, smallUpTo, smallUpTo + 1, putChunk, putChunk + 1, 3*putChunk + 7}
	for _, again := range []bool{false, true} {
		for _, n := range sizes {
			b := noise(uint64(n), n)
			if !again {
				if id := put(t, c, b); id != Sum(b) {
					t.Errorf("%d bytes: id %s, want their SHA-256 %s", n, id, Sum(b))
				}
			}
			if !c.Has(Sum(b)) {
				t.Errorf("%d bytes: not present", n)
			}
			got, err := c.Get(Sum(b))
			if err != nil || !bytes.Equal(got, b) {
				t.Errorf("%d bytes, reopened %t: got %d bytes, %v", n, again, len(got), err)
			}
		}
		noFaults(t, c)
		closed(t, c)
		c, _ = open(t, dir)
	}
	if _, err := c.Get(Sum([]byte("never put"))); !errors.Is(err, ErrMissing) {
		t.Errorf("absent value: %v, want ErrMissing", err)
	}
	if c.Has(Sum([]byte("never put"))) {
		t.Error("an absent value is present")
	}
}

func TestChunksComeBackInAnyOrderAndTheIDIsOfHeadAndChunks(t *testing.T) {
	dir := t.TempDir()
	c, _ := open(t, dir)
	chunks := [][]byte{picture(1, 5000), {}, {1, 2, 3}, picture(2, 1), noise(3, 4096)}
	for _, words := range []bool{false, true} {
		id := putBlob(t, c, "head", words, chunks...)
		if other := putBlob(t, c, "other head", words, chunks...); other == id {
			t.Error("the head is not part of the id")
		}
		if other := putBlob(t, c, "head", !words, chunks...); other != id {
			t.Error("the way of storing is part of the id")
		}
		r, err := c.OpenBlob(id)
		if err != nil {
			t.Fatal(err)
		}
		if string(r.Head()) != "head" || r.Len() != len(chunks) {
			t.Errorf("head %q, %d chunks", r.Head(), r.Len())
		}
		for i := len(chunks) - 1; i >= 0; i-- {
			if b, err := r.Chunk(i); err != nil || !bytes.Equal(b, chunks[i]) {
				t.Errorf("chunk %d, words %t: %d bytes, %v", i, words, len(b), err)
			}
		}
		if _, err := r.Chunk(len(chunks)); err == nil {
			t.Error("a chunk past the last is given")
		}
		if err := r.Close(); err != nil {
			t.Fatal(err)
		}
		if _, err := c.Get(id); err == nil {
			t.Error("Get gives a blob that was written in chunks")
		}
	}
	noFaults(t, c)
}

func TestOpenBlobGivesValuesOfPut(t *testing.T) {
	c, _ := open(t, t.TempDir())
	for _, b := range [][]byte{[]byte("small"), noise(1, 2*putChunk)} {
		r, err := c.OpenBlob(put(t, c, b))
		if err != nil {
			t.Fatal(err)
		}
		if got, err := r.Chunk(0); r.Len() != 1 || err != nil || !bytes.Equal(got, b) {
			t.Errorf("%d bytes: %d chunks, %v", len(b), r.Len(), err)
		}
		_ = r.Close()
	}
}

func TestAbortLeavesNothing(t *testing.T) {
	dir := t.TempDir()
	c, _ := open(t, dir)
	w, err := c.Create(nil, false)
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Chunk([]byte("x")); err != nil {
		t.Fatal(err)
	}
	w.Abort()
	if _, err := w.Commit(); err == nil {
		t.Error("Commit after Abort succeeds")
	}
	left, err := os.ReadDir(filepath.Join(dir, tempDir))
	if err != nil || len(left) != 0 {
		t.Errorf("left behind: %v %v", left, err)
	}
}

func TestActionIsThereOnlyWithAllItsOutputs(t *testing.T) {
	dir := t.TempDir()
	c, _ := open(t, dir)
	small, blob := put(t, c, []byte("small")), putBlob(t, c, "h", true, picture(1, 9000))
	key := putAction(t, c, "do this", small, blob)
	if key != Sum([]byte("do this")) {
		t.Error("the key is not the hash of the text")
	}
	orphan := putAction(t, c, "do that", small, Sum([]byte("absent")))
	closed(t, c)
	c, _ = open(t, dir)
	e, ok := c.Action(key)
	if !ok || string(e.Text) != "do this" || string(e.Notes) != "notes of do this" || e.Build != "test" ||
		len(e.Outputs) != 2 || e.Outputs[0] != (Output{"port0", small}) || e.Outputs[1] != (Output{"port1", blob}) {
		t.Errorf("got %+v, %t", e, ok)
	}
	if _, ok := c.Action(orphan); ok {
		t.Error("an action without its output is a hit")
	}
	if err := os.Remove(c.blobPath(blob)); err != nil {
		t.Fatal(err)
	}
	if _, ok := c.Action(key); ok {
		t.Error("an action whose output file is gone is a hit")
	}
	if again := putBlob(t, c, "h", true, picture(1, 9000)); again != blob {
		t.Error("the blob came back under another name")
	}
	if _, ok := c.Action(key); !ok {
		t.Error("the action is no hit though its output is there again")
	}
}

func TestNotesAreReplaced(t *testing.T) {
	dir := t.TempDir()
	c, _ := open(t, dir)
	for i := range 5 {
		if err := c.SetNote("last run", fmt.Append(nil, "run ", i)); err != nil {
			t.Fatal(err)
		}
	}
	closed(t, c)
	c, _ = open(t, dir)
	if b, ok := c.Note("last run"); !ok || string(b) != "run 4" {
		t.Errorf("note is %q, %t", b, ok)
	}
	if _, ok := c.Note("no such"); ok {
		t.Error("a note that was never set is there")
	}
}

func TestJournalIsCompactedWhenItIsMostlyGarbage(t *testing.T) {
	dir := t.TempDir()
	c, _ := open(t, dir)
	keep := put(t, c, noise(9, 5000))
	for i := range 60 {
		if err := c.SetNote("n", noise(uint64(i), 100_000)); err != nil {
			t.Fatal(err)
		}
	}
	closed(t, c)
	c, _ = open(t, dir)
	u, err := c.Size()
	if err != nil || u.JournalBytes > 200_000 {
		t.Errorf("the journal has %d bytes, %v", u.JournalBytes, err)
	}
	if b, ok := c.Note("n"); !ok || !bytes.Equal(b, noise(59, 100_000)) {
		t.Error("the last note is lost")
	}
	if _, err := c.Get(keep); err != nil {
		t.Error(err)
	}
	noFaults(t, c)
}

func TestManyGoroutinesAtOnce(t *testing.T) {
	dir := t.TempDir()
	c, w := open(t, dir)
	var wg sync.WaitGroup
	for g := range 8 {
		wg.Go(func() {
			for i := range 30 {
				b := fmt.Append(nil, "value ", i) // the same for all
				id, err := c.Put(b)
				if err != nil {
					t.Error(err)
				}
				if got, err := c.Get(id); err != nil || !bytes.Equal(got, b) {
					t.Errorf("got %q, %v", got, err)
				}
				if i%10 == 0 {
					big := putBlob(t, c, "shared", false, picture(uint64(i), 3000))
					if r, err := c.OpenBlob(big); err != nil {
						t.Error(err)
					} else {
						if _, err := r.Chunk(0); err != nil {
							t.Error(err)
						}
						_ = r.Close()
					}
				}
				key := putAction(t, c, fmt.Sprint("act ", g, i), id)
				if _, ok := c.Action(key); !ok {
					t.Error("own action is absent")
				}
				if g == 0 && i%10 == 5 {
					if _, err := c.Size(); err != nil {
						t.Error(err)
					}
					if f, err := c.Check(context.Background(), nil); err != nil || len(f) > 0 {
						t.Errorf("check: %v %v", f, err)
					}
				}
			}
		})
	}
	wg.Wait()
	noFaults(t, c)
	if w.String() != "" {
		t.Errorf("warned: %s", w)
	}
}

func TestClosedCacheRefuses(t *testing.T) {
	c, _ := open(t, t.TempDir())
	closed(t, c)
	if err := c.Close(); err != nil {
		t.Errorf("second close: %v", err)
	}
	if _, err := c.Put([]byte("x")); !errors.Is(err, ErrClosed) {
		t.Errorf("put: %v", err)
	}
	if _, ok := c.Action(ID{}); ok {
		t.Error("action found")
	}
}

func TestNewerFormatIsRefused(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, versionFile), []byte(versionText(2)), 0o666); err != nil {
		t.Fatal(err)
	}
	_, err := Open(context.Background(), dir, Options{})
	if err == nil || !strings.Contains(err.Error(), "use the newer program") {
		t.Errorf("got %v", err)
	}
}
