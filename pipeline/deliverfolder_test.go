package pipeline

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

type fakeFolder struct {
	Of     Ref    `hcl:"of" refs:"sum"`
	Folder string `hcl:"folder"`
	Extra  string `hcl:"extra,optional"` // name of one more file
}

type folderSettings struct{ Extra string }

// folderSteps adds a block that delivers a folder of two streams: "page" holds the sum, "leaf" a thousand letters.
func folderSteps(w *watch) []Step {
	leaf := func(_ context.Context, t *Task) error {
		return t.PutFolder("folder", func(add func(string, []byte) error) error {
			return add("leaves/0,0/leaf", []byte(strings.Repeat("l", 1000)))
		})
	}
	page := func(_ context.Context, s folderSettings, t *Task) error {
		var x word
		if err := t.One("sum").Table(&x); err != nil {
			return err
		}
		return t.PutFolder("folder", func(add func(string, []byte) error) error {
			if s.Extra != "" {
				if err := add(s.Extra, []byte("extra")); err != nil {
					return err
				}
			}
			return add("page.html", []byte(x.Text))
		})
	}
	return append(fakeSteps(w), Step{Name: "folders", Block: "folder", New: func() any { return &fakeFolder{} }, Expand: func(x *Expansion) error {
		s := x.Settings().(*fakeFolder)
		items, err := x.Upstream(s.Of)
		if err != nil {
			return err
		}
		if s.Extra == "odd" {
			x.Warn("odd", ClipName(ID{7})+" is odd")
		}
		l := x.Add(Part{Name: "leaf", Version: 1, In: []Input{{"sum", items[0].Values["sum"]}}, Out: []string{"folder"}, Run: leaf})
		p := x.Add(Part{Name: "page", Version: 1, Settings: folderSettings{s.Extra}, Out: []string{"folder"}, Run: Bind(page),
			In: []Input{{"sum", items[0].Values["sum"]}, {"leaf", l.Out("folder")}}})
		log := &FolderLog{File: "run", Write: func(l RunLog) []byte { return nil }, WarningsFile: "warned", WriteWarnings: func(all []Warning) []byte { return fmt.Append(nil, all) }}
		x.Deliver(Delivery{File: s.Folder, Encoded: p.Out("folder"), Version: 1, Folder: &Folder{Open: "page.html", More: []Value{l.Out("folder")}, Log: log,
			Splice: map[string]func(f, r []byte) ([]byte, error){"page.html": func(f, r []byte) ([]byte, error) { return append(f, r[:2]...), nil }}}})
		return nil
	}})
}

const folderManifest = `
clips "all" {
  files = ["clips/*"]
}
sum "s" {
  clips = clips.all
}
folder "f" {
  of     = sum.s
  folder = "shelf"
  extra  = "EXTRA"
}
`

func folderBench(t *testing.T) *bench {
	b := newBench(t, map[string]string{"a": "alpha", "b": "beta"})
	b.steps = folderSteps(b.w)
	return b
}

func withExtra(name string) string { return strings.Replace(folderManifest, "EXTRA", name, 1) }

func (b *bench) inFolder(name string) string {
	b.t.Helper()
	got, err := os.ReadFile(filepath.Join(b.dir, "out", "shelf", filepath.FromSlash(name)))
	if err != nil {
		return "absent"
	}
	return string(got)
}

func (b *bench) deliveredChanged() bool {
	for _, e := range b.seen {
		if e.Delivered != nil {
			return e.Delivered.Changed
		}
	}
	b.t.Fatal("nothing was delivered")
	return false
}

func TestFolderIsDeliveredWhole(t *testing.T) {
	b := folderBench(t)
	b.must(withExtra("old.txt"), Options{})
	if got := b.inFolder("page.html"); got != `a-b{"` && got != `b-a{"` {
		t.Errorf("the page is %q", got)
	}
	if got := len(b.inFolder("leaves/0,0/leaf")); got != 1000 {
		t.Errorf("the leaf has %d bytes", got)
	}
	rec, err := ParseRecord([]byte(b.inFolder("record.json")))
	if err != nil || len(rec.Parts) != 5 {
		t.Errorf("the record has %d parts (%v), want two letters, a sum, a leaf and a page", len(rec.Parts), err)
	}
	if !b.deliveredChanged() {
		t.Error("a new folder is called unchanged")
	}
	st, err := os.Stat(filepath.Join(b.dir, "out", "shelf"))
	if err != nil {
		t.Fatal(err)
	}

	b.must(withExtra("old.txt"), Options{})
	again, err := os.Stat(filepath.Join(b.dir, "out", "shelf"))
	if err != nil {
		t.Fatal(err)
	}
	if b.deliveredChanged() || !os.SameFile(st, again) {
		t.Error("an unchanged folder was written again")
	}

	b.must(withExtra("new.txt"), Options{})
	if b.inFolder("old.txt") != "absent" || b.inFolder("new.txt") != "extra" {
		t.Error("what the folder holds no more is still there, or what is new is not")
	}
	left, err := filepath.Glob(filepath.Join(b.dir, "out", partialPrefix+"*"))
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v (%v)", left, err)
	}
}

func TestFolderPutRight(t *testing.T) {
	b := folderBench(t)
	b.must(withExtra(""), Options{})
	shelf := filepath.Join(b.dir, "out", "shelf")
	killed := filepath.Join(b.dir, "out", partialPrefix+"1", "leaves")
	if err := os.MkdirAll(killed, 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(shelf, "leaves", "0,0", "leaf"), []byte("bent"), 0o666); err != nil {
		t.Fatal(err)
	}
	if s := b.must(withExtra(""), Options{}); s.Ran != 0 {
		t.Errorf("putting a folder right ran %d parts", s.Ran)
	}
	if got := len(b.inFolder("leaves/0,0/leaf")); got != 1000 {
		t.Errorf("the leaf has %d bytes", got)
	}
	if _, err := os.Stat(filepath.Dir(killed)); err == nil {
		t.Error("what a kill left behind is still there")
	}
}

func TestFolderStaysOffOthersFiles(t *testing.T) {
	b := folderBench(t)
	own := filepath.Join(b.dir, "out", "shelf", "own.txt")
	if err := os.MkdirAll(filepath.Dir(own), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(own, []byte("mine"), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := b.run(withExtra(""), Options{}); err == nil {
		t.Error("a folder of the user's was taken for an old delivery")
	}
	if got, _ := os.ReadFile(own); string(got) != "mine" {
		t.Errorf("the user's file is %q", got)
	}
}

func TestFolderNamesStayInside(t *testing.T) {
	for _, name := range []string{"../out.txt", "/tmp/out.txt", "a/../../out.txt", `a\b`, "c:x", "record.json", "Page.html", "a//b"} {
		b := folderBench(t)
		if _, err := b.run(strings.Replace(withExtra(name), `\`, `\\`, 1), Options{}); err == nil {
			t.Errorf("a folder with a file called %q was delivered", name)
		}
		if _, err := os.Stat(filepath.Join(b.dir, "out", "shelf")); err == nil {
			t.Errorf("%q: a part of the folder stands", name)
		}
	}
}

// What a block warned of when it was cut into parts stands beside the folder, also when nothing is computed, and goes with its cause.
func TestFolderTellsWarnings(t *testing.T) {
	b := folderBench(t)
	want := "[{odd " + ClipName(ID{7}) + " is odd}]"
	for range 2 {
		b.must(withExtra("odd"), Options{})
		if got := b.inFolder("warned"); got != want {
			t.Errorf("the folder tells of %q, want %q", got, want)
		}
		if err := os.Remove(filepath.Join(b.dir, "out", "shelf", "warned")); err != nil {
			t.Fatal(err)
		}
	}
	b.must(withExtra("even"), Options{})
	if got := b.inFolder("warned"); got != "[]" {
		t.Errorf("the folder tells of %q", got)
	}
}
