package cache

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A clock that was set back is told of, and what is used afterwards is still the younger.
func TestClockSetBack(t *testing.T) {
	dir := t.TempDir()
	c, _ := open(t, dir)
	a := putBlob(t, c, "a", false, noise(1, 50_000))
	closed(t, c)
	// As if all of it had happened a day ahead.
	ahead := time.Now().Add(24 * time.Hour)
	if err := os.Chtimes(filepath.Join(dir, stateFile), ahead, ahead); err != nil {
		t.Fatal(err)
	}
	c, w := open(t, dir)
	if !strings.Contains(w.String(), "the clock says") {
		t.Errorf("told %q", w)
	}
	if err := c.index.put(pair{useIndexKey(kindBlob, a), timeBytes(ahead.UnixNano() - 1)}); err != nil {
		t.Fatal(err)
	}
	b := putBlob(t, c, "b", false, noise(2, 50_000))
	trim(t, c, 60_000)
	if c.Has(a) || !c.Has(b) {
		t.Errorf("a present %t, b present %t: what was used last went first", c.Has(a), c.Has(b))
	}
	closed(t, c)
}

// A cache of another format begins anew, and says so; a newer one is refused.
func TestOlderFormatBeginsAnew(t *testing.T) {
	dir := t.TempDir()
	c, _ := open(t, dir)
	id := put(t, c, []byte("old"))
	blob := putBlob(t, c, "a", false, noise(1, 50_000))
	closed(t, c)
	if err := os.WriteFile(filepath.Join(dir, versionFile), []byte(versionText(-1)), 0o666); err != nil {
		t.Fatal(err)
	}
	c, w := open(t, dir)
	if !strings.Contains(w.String(), "it was in format -1, which this program does not read: it begins anew in format 1") {
		t.Errorf("told %q", w)
	}
	if c.Has(id) || c.Has(blob) {
		t.Error("what another format kept is believed")
	}
	fresh := put(t, c, []byte("new"))
	noFaults(t, c)
	closed(t, c)
	c, w = open(t, dir)
	if w.String() != "" || !c.Has(fresh) {
		t.Errorf("the next opening says %q", w)
	}
	closed(t, c)
}
