package main

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"plenilune/steps/format/ser"
)

// recorded is a clip of 16×16 px and n frames that declares some number of them.
func recorded(t *testing.T, n int, declared int32) []byte {
	t.Helper()
	path := filepath.Join(t.TempDir(), "clip.ser")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	w, err := ser.NewWriter(f, ser.Header{LittleFlag: 1, Width: 16, Height: 16, Depth: 8, Frames: declared})
	if err != nil {
		t.Fatal(err)
	}
	frame := make([]uint16, 256)
	for i := range frame {
		frame[i] = uint16(i)
	}
	for range n {
		if err := w.AddFrame(frame); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(nil); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// beach is a folder with files that change, and a clock of its own.
type beach struct {
	t    *testing.T
	dir  string
	l    *landing
	now  time.Time
	path string
}

func newBeach(t *testing.T) *beach {
	b := &beach{t: t, dir: t.TempDir(), l: newLanding(), now: time.Date(2026, 3, 1, 20, 0, 0, 0, time.UTC)}
	b.path = filepath.Join(b.dir, "clip.ser")
	b.l.look(nil, b.now)
	return b
}

// write replaces the file, stamped with the clock's time.
func (b *beach) write(content []byte) {
	b.t.Helper()
	if err := os.WriteFile(b.path, content, 0o666); err != nil {
		b.t.Fatal(err)
	}
	if err := os.Chtimes(b.path, b.now, b.now); err != nil {
		b.t.Fatal(err)
	}
}

// after looks again once some seconds have gone by.
func (b *beach) after(seconds float64) (verdict, bool) {
	b.now = b.now.Add(time.Duration(seconds * 1e9))
	changed := b.l.look([]string{b.path}, b.now)
	return b.l.files[b.path].verdict, changed
}

func (b *beach) want(seconds float64, want verdict, changed bool) {
	b.t.Helper()
	if got, did := b.after(seconds); got != want || did != changed {
		b.t.Errorf("after %g s more it is %s (changed: %v), want %s (%v)", seconds, got, did, want, changed)
	}
}

func TestAGrowingClipIsWaitedFor(t *testing.T) {
	b := newBeach(t)
	whole := recorded(t, 10, 10)
	for n := 500; n < len(whole); n += 500 { // in pieces, each long after the other
		b.write(whole[:n])
		b.want(0, landGrowing, false)
		b.want(2.9, landGrowing, false)
		b.want(10, landWaiting, false)
	}
	b.write(whole)
	b.want(0, landGrowing, false)
	b.want(2.9, landGrowing, false)
	b.want(0.2, landWhole, true)
	b.want(100, landWhole, false)
}

// A recorder that counts its frames last leaves a header that declares none.
func TestAnUnfinishedClipIsTakenAfterAWhile(t *testing.T) {
	b := newBeach(t)
	whole := recorded(t, 10, 10)
	uncounted := slices.Clone(whole)
	copy(uncounted[38:42], []byte{0, 0, 0, 0})
	for _, c := range []struct {
		file []byte
		last verdict
	}{{uncounted, landShort}, {whole[:1500], landShort}, {whole[:100], landNoClip}, {[]byte("no clip at all"), landNoClip}} {
		b.write(c.file)
		b.want(0.1, landGrowing, false)
		b.want(4, landWaiting, false)
		b.want(50, landWaiting, false)
		b.want(7, c.last, c.last == landShort)
		if used := b.l.files[b.path].usable(); used != (c.last == landShort) {
			t.Errorf("%d bytes: used is %v", len(c.file), used)
		}
		if grows := len(b.l.growing()); grows != 0 {
			t.Errorf("%d bytes: still %d growing", len(c.file), grows)
		}
		b.now = b.now.Add(time.Second)
		b.write(whole[:400]) // and then somebody goes on writing
		b.want(0, landGrowing, c.last == landShort)
	}
	b.write(whole)
	b.want(0, landGrowing, false)
	b.want(3, landWhole, true)
}

// What lay there before the watch began is not waited for, nor is what goes kept.
func TestClipsOfAnHourAgo(t *testing.T) {
	b := newBeach(t)
	b.write(recorded(t, 10, 10))
	b.now, b.l = b.now.Add(time.Hour), newLanding()
	b.want(0, landWhole, true)
	if !b.l.look(nil, b.now) || len(b.l.files) != 0 {
		t.Error("a clip that was taken away is still there")
	}
}

func TestClipsAhead(t *testing.T) {
	files := []*landed{{size: 100, verdict: landWhole}, {size: 300, verdict: landShort}, {size: 50, verdict: landGrowing}, {size: 7, verdict: landNoClip}}
	// Free are 950 bytes; the clip under way takes 150 more, 800 hold four of 200.
	if n, mean := clipsAhead(files, 950); n != 4 || mean != 200 {
		t.Errorf("%d clips of %d bytes, want 4 of 200", n, mean)
	}
	if n, _ := clipsAhead(files[3:], 950); n != -1 {
		t.Errorf("%d clips though none is known, want -1", n)
	}
}
