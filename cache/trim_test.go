package cache

import (
	"context"
	"fmt"
	"os"
	"testing"
)

func trim(t *testing.T, c *Cache, to int64) Freed {
	t.Helper()
	f, err := c.Trim(context.Background(), to)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func TestTrimDropsTheLeastRecentlyUsed(t *testing.T) {
	for _, reopened := range []bool{false, true} {
		dir := t.TempDir()
		c, _ := open(t, dir)
		var blobs, keys []ID
		for i := range 10 {
			blobs = append(blobs, putBlob(t, c, fmt.Sprint(i), false, noise(uint64(i), 100_000)))
			keys = append(keys, putAction(t, c, fmt.Sprint("action ", i), blobs[i]))
		}
		for _, i := range []int{2, 5} { // the oldest but for these two
			if _, ok := c.Action(keys[i]); !ok {
				t.Fatal("a miss")
			}
		}
		if reopened {
			closed(t, c)
			c, _ = open(t, dir)
		}
		before, err := c.Size()
		if err != nil {
			t.Fatal(err)
		}
		freed := trim(t, c, 450_000)
		after, err := c.Size()
		if err != nil {
			t.Fatal(err)
		}
		if after.Total() > 450_000 || freed.Bytes != before.Total()-after.Total() || freed.Entries != 12 {
			t.Errorf("freed %+v; %d bytes are left", freed, after.Total())
		}
		stay := map[int]bool{2: true, 5: true, 8: true, 9: true}
		for i := range 10 {
			_, err := os.Stat(c.blobPath(blobs[i]))
			_, hit := c.Action(keys[i])
			if c.Has(blobs[i]) != stay[i] || (err == nil) != stay[i] || hit != stay[i] {
				t.Errorf("blob %d: present %t, file %v, action %t; want %t", i, c.Has(blobs[i]), err, hit, stay[i])
			}
		}
		noFaults(t, c)
		closed(t, c)
		c, _ = open(t, dir)
		noFaults(t, c)
		if _, ok := c.Action(keys[5]); !ok {
			t.Error("lost after opening again")
		}
		closed(t, c)
	}
}

func TestTrimKeepsTheOrderOfUseInTheJournal(t *testing.T) {
	dir := t.TempDir()
	c, _ := open(t, dir)
	a := putBlob(t, c, "a", false, noise(1, 50_000))
	b := putBlob(t, c, "b", false, noise(2, 50_000))
	if r, err := c.OpenBlob(a); err != nil { // now b is the older
		t.Fatal(err)
	} else {
		_ = r.Close()
	}
	trim(t, c, 1<<40)
	closed(t, c)
	if err := writeState(dir, state{word: stateRebuild}); err != nil {
		t.Fatal(err)
	}
	c, _ = open(t, dir)
	trim(t, c, 60_000)
	if !c.Has(a) || c.Has(b) {
		t.Errorf("a present %t, b present %t; the index made again forgot the order of use", c.Has(a), c.Has(b))
	}
}

func TestTrimToNothingKeepsNotesAndGoesOn(t *testing.T) {
	c, _ := open(t, t.TempDir())
	data := fill(t, c, 30)
	trim(t, c, 0)
	u, err := c.Size()
	if err != nil || u.Actions+u.Values+u.Blobs != 0 || u.Notes != 30 {
		t.Errorf("left: %+v, %v", u, err)
	}
	if lost := data.verify(t, c); lost != len(data.values)+len(data.blobs)+len(data.actions) {
		t.Errorf("only %d things are gone", lost)
	}
	fill(t, c, 30)
	if lost := data.verify(t, c); lost != 0 {
		t.Errorf("%d things were not stored again", lost)
	}
	noFaults(t, c)
}

func TestTrimCalledOffLosesNothing(t *testing.T) {
	dir := t.TempDir()
	c, _ := open(t, dir)
	data := fill(t, c, 30)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := c.Trim(ctx, 1<<40); err == nil {
		t.Fatal("a trim that was called off succeeds")
	}
	if lost := data.verify(t, c); lost != 0 {
		t.Errorf("%d things are lost", lost)
	}
	extra := put(t, c, []byte("after"))
	closed(t, c)
	c, _ = open(t, dir)
	if lost := data.verify(t, c); lost != 0 || !c.Has(extra) {
		t.Errorf("%d things are lost after opening again; the last there: %t", lost, c.Has(extra))
	}
	noFaults(t, c)
}
