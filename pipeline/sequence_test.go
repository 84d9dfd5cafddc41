package pipeline

import (
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

func TestSequencesOf(t *testing.T) {
	in := []string{"d/m_10.png", "d/m_9.png", "d/m_009.png", "d/n_1.png", "d/n_1_of_2.png", "e/x.png", "d/m_2.PNG", "d/f2_7.png", "d/f10_7.png"}
	var got []string
	for _, s := range SequencesOf(slices.Clone(in), false) {
		got = append(got, s.Path+" = "+strings.Join(s.Pictures, " "))
	}
	want := []string{"d/f10_#.png = d/f10_7.png", "d/f2_#.png = d/f2_7.png", "d/m_#.png = d/m_2.PNG d/m_009.png d/m_9.png d/m_10.png",
		"d/n_#.png = d/n_1.png", "d/n_1_of_#.png = d/n_1_of_2.png", "e/x.png = e/x.png"}
	if filepath.Separator == '/' && !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if whole := SequencesOf(slices.Clone(in), true); len(whole) != 2 || whole[0].Path != "d" || len(whole[0].Pictures) != 8 || filepath.Base(whole[0].Pictures[0]) != "f2_7.png" {
		t.Errorf("by folders: %+v", whole)
	}
}

// sequenceManifest has clips of pictures.
const sequenceManifest = `source "s" {
  runs   = %s
  except = ["left_*.png", "p/bad/*"]
}`

func TestResolveSequences(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"p/a/f1.png", "p/a/f2.png", "p/a/.hidden.png", "p/a/notes.txt", "p/a/left_1.png", "p/b/x1.tif", "p/bad/f1.png", "q/m1.jpg", "q/m2.jpg", "q/n1.jpg",
		"mixed/a.png", "mixed/a.jpg", "p/plain.ser"} {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(name), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink("/dev/zero", filepath.Join(dir, "p/a/f3.png")); err != nil {
		t.Skip("no links here")
	}
	step := Step{Name: "fake", Block: "source", New: func() any {
		return &struct {
			Files  Files     `hcl:"files"`
			Runs   Sequences `hcl:"runs,optional"`
			Except Files     `hcl:"except,optional"`
		}{}
	}, Expand: func(*Expansion) error { return nil }}
	resolve := func(runs string) (*Manifest, Diagnostics) {
		m, d := LoadManifest(filepath.Join(dir, "m.hcl"), []byte(strings.Replace(sequenceManifest, "%s", runs, 1)), []Step{step}, nil)
		if d.HasErrors() {
			t.Fatal(d.Err())
		}
		return m, m.ResolveFiles("")
	}
	m, d := resolve(`["p/*/", "q/*.jpg"]`)
	if d.HasErrors() {
		t.Fatal(d.Err())
	}
	var got []string
	for _, s := range m.Blocks[0].Sequences {
		line, _ := filepath.Rel(dir, s.Path)
		for _, p := range s.Pictures {
			line += " " + filepath.Base(p)
		}
		got = append(got, filepath.ToSlash(line))
	}
	if want := []string{"p/a f1.png f2.png", "p/b x1.tif", "q/m#.jpg m1.jpg m2.jpg", "q/n#.jpg n1.jpg"}; !slices.Equal(got, want) {
		t.Errorf("sequences %q, want %q", got, want)
	}
	if again, d := resolve(`["q/m2.jpg", "q/m1.jpg", "q/m*.jpg"]`); d.HasErrors() || len(again.Blocks[0].Sequences) != 1 || len(again.Blocks[0].Sequences[0].Pictures) != 2 ||
		filepath.Base(again.Blocks[0].Sequences[0].Pictures[0]) != "m1.jpg" {
		t.Errorf("several patterns for one clip: %+v", again.Blocks[0].Sequences)
	}
	names := m.FileNames()
	if n := names[filepath.Join(dir, "q", "m#.jpg")]; n != "m#" || len(names) != 4 {
		t.Errorf("names %v", names)
	}
	for runs, want := range map[string]string{
		`["mixed/"]`:          "holds pictures of several kinds: JPEG and PNG",
		`["p/*.ser"]`:         "plain.ser is no picture",
		`["nowhere/"]`:        `no picture matches "nowhere/"`,
		`["p/[/"]`:            "is no file pattern",
		`["p/a/*.ser", "p/"]`: "no picture matches",
	} {
		m, d := LoadManifest(filepath.Join(dir, "m.hcl"), []byte(strings.Replace(sequenceManifest, "%s", runs, 1)), []Step{step}, nil)
		if !d.HasErrors() {
			d.Append(m.ResolveFiles(""))
		}
		if err := d.Err(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", runs, err, want)
		}
	}
	if _, d := LoadManifest("m.hcl", []byte("source \"s\" {\n}\n"), []Step{step}, nil); d.Err() == nil || !strings.Contains(d.Err().Error(), "lacks files") {
		t.Errorf("a block without files or sequences: %v", d.Err())
	}
	elsewhere, d := LoadManifest(filepath.Join(t.TempDir(), "m.hcl"), []byte(strings.Replace(sequenceManifest, "%s", `["p/*/", "q/m*.jpg"]`, 1)), []Step{step}, nil)
	if d.HasErrors() {
		t.Fatal(d.Err())
	}
	if d := elsewhere.ResolveFiles(dir); d.HasErrors() || len(elsewhere.Blocks[0].Sequences) != 3 {
		t.Errorf("under another folder: %v, %+v", d.Err(), elsewhere.Blocks[0].Sequences)
	}
}

// TestStoredAsFile: what PutBytes stored is read at any place as a file is.
func TestStoredAsFile(t *testing.T) {
	b := newBench(t, nil)
	want := make([]byte, 3*streamChunk+77)
	for i := range want {
		want[i] = byte(i>>12 ^ i*31)
	}
	store := cacheStore{b.c}
	id, err := writeStream(store, func(w io.Writer) error { _, err := w.Write(want); return err })
	if err != nil {
		t.Fatal(err)
	}
	f, closer, err := Source{id: id, store: store}.File()
	if err != nil {
		t.Fatal(err)
	}
	defer closer.Close()
	if f.Size() != int64(len(want)) {
		t.Errorf("%d bytes, want %d", f.Size(), len(want))
	}
	for _, at := range []int{0, 5, streamChunk - 3, 2 * streamChunk, len(want) - 10, len(want) - 1, len(want), len(want) + 5} {
		p := make([]byte, streamChunk+9)
		n, err := f.ReadAt(p, int64(at))
		left := max(0, len(want)-at)
		if n != min(len(p), left) || string(p[:n]) != string(want[min(at, len(want)):][:n]) || (err != nil) != (n < len(p)) {
			t.Errorf("at %d: %d bytes, %v", at, n, err)
		}
	}
}
