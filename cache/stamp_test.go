package cache

import (
	"os"
	"path/filepath"
	"testing"
	"time"
)

// fileAged writes a file whose modification time lies some time back.
func fileAged(t *testing.T, path, text string, age time.Duration) Stamp {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	at := time.Now().Add(-age)
	if err := os.Chtimes(path, at, at); err != nil {
		t.Fatal(err)
	}
	s, err := StampOf(path)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestStampIsRecalledUntilTheFileChanges(t *testing.T) {
	dir := t.TempDir()
	c, _ := open(t, dir)
	path := filepath.Join(t.TempDir(), "clip")
	s := fileAged(t, path, "frames", time.Hour)
	id := Sum([]byte("frames"))
	if err := c.Remember(s, id); err != nil {
		t.Fatal(err)
	}
	closed(t, c)
	c, _ = open(t, dir)
	same, err := StampOf(path)
	if err != nil {
		t.Fatal(err)
	}
	if got, ok := c.Recall(same); !ok || got != id {
		t.Errorf("got %s, %t", got.Short(), ok)
	}
	for name, other := range map[string]Stamp{
		"longer": fileAged(t, path, "frames+", time.Hour),
		"newer":  fileAged(t, path, "frames", time.Minute),
	} {
		if _, ok := c.Recall(other); ok {
			t.Errorf("%s file: the old content is recalled", name)
		}
	}
	other := s
	other.Inode++
	if _, ok := c.Recall(other); ok {
		t.Error("another file under the name: the old content is recalled")
	}
}

func TestYoungFileIsNotTrusted(t *testing.T) {
	c, _ := open(t, t.TempDir())
	path := filepath.Join(t.TempDir(), "clip")
	for _, test := range []struct {
		age  time.Duration
		want bool
	}{{0, false}, {1900 * time.Millisecond, false}, {-time.Hour, false}, {2100 * time.Millisecond, true}} {
		s := fileAged(t, path, "x", test.age)
		if err := c.Remember(s, Sum([]byte("x"))); err != nil {
			t.Fatal(err)
		}
		if _, ok := c.Recall(s); ok != test.want {
			t.Errorf("file %v old: recalled %t, want %t", test.age, ok, test.want)
		}
	}
}

func TestFileSystemWithoutChangeTimesGivesNoInode(t *testing.T) {
	s := Stamp{ModTime: 5, Inode: 7, CTime: 5}
	s.forgetInvented()
	if s.Inode != 0 || s.CTime != 0 {
		t.Errorf("kept %+v", s)
	}
	s = Stamp{ModTime: 5, Inode: 7, CTime: 6}
	s.forgetInvented()
	if s.Inode != 7 || s.CTime != 6 {
		t.Errorf("lost %+v", s)
	}
}
