package pipeline

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func (b *bench) packOptions() PackOptions {
	return PackOptions{OutDir: filepath.Join(b.dir, "out"), Steps: b.steps, Program: "test", Date: "2027-03-19", Jobs: 2, Memory: 1 << 20}
}

// pack packs the bench's night.
func (b *bench) pack(text string, o PackOptions) ([]byte, error) {
	b.t.Helper()
	var w bytes.Buffer
	_, err := WritePack(b.t.Context(), b.load(text), b.c, o, &w)
	return w.Bytes(), err
}

func (b *bench) mustPack(text string, o PackOptions) []byte {
	b.t.Helper()
	out, err := b.pack(text, o)
	if err != nil {
		b.t.Fatal(err)
	}
	return out
}

func openPacked(b []byte) (*Pack, error) { return OpenPack(bytes.NewReader(b), int64(len(b))) }

// entry is one file of an archive that is written by hand.
type entry struct {
	header zip.FileHeader
	body   []byte
}

// entries takes an archive apart.
func entries(t *testing.T, b []byte) (out []entry) {
	t.Helper()
	r, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range r.File {
		h, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(h)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, entry{zip.FileHeader{Name: f.Name, Method: f.Method}, body})
	}
	return out
}

// archive puts entries together.
func archive(t *testing.T, all []entry) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, e := range all {
		w, err := z.CreateHeader(&e.header)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(e.body); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func named1(name string) entry { return entry{header: zip.FileHeader{Name: name}, body: []byte("x")} }

// hostile are archives that no one may be harmed by, each with words of its refusal.
func hostile(t *testing.T, good []byte) map[string]struct {
	archive []byte
	says    string
} {
	all := func() []entry { return entries(t, good) }
	with := func(more ...entry) []byte { return archive(t, append(all(), more...)) }
	link := named1("link")
	link.header.SetMode(fs.ModeSymlink | 0o777)
	link.body = []byte("/etc/passwd")
	device := named1("null")
	device.header.SetMode(fs.ModeDevice | fs.ModeCharDevice | 0o666)
	changed := func(change func(es []entry) []entry) []byte { return archive(t, change(all())) }
	bomb := entry{zip.FileHeader{Name: "bomb", Method: zip.Deflate}, make([]byte, 70<<20)}
	var many []entry
	for i := range packMostEntries {
		many = append(many, named1("f"+string(rune('a'+i%26))+strings.Repeat("x", i/26%50)+strings.Repeat("y", i/1300)))
	}
	type refusal = struct {
		archive []byte
		says    string
	}
	return map[string]refusal{
		"a path that leads out":   {with(named1("../evil")), "leads out of the folder"},
		"a path that leads down":  {with(named1("records/../../evil")), "leads out of the folder"},
		"an absolute path":        {with(named1("/etc/evil")), "is an absolute path"},
		"a drive":                 {with(named1("C:evil")), "is an absolute path"},
		"backslashes":             {with(named1(`..\evil`)), "other than letters"},
		"a share":                 {with(named1(`\\host\evil`)), "is an absolute path"},
		"a hidden file":           {with(named1(".profile")), "would be hidden"},
		"a device of Windows":     {with(named1("disk/aux.ser")), "device's on Windows"},
		"a full stop at the end":  {with(named1("evil.")), "full stop"},
		"a control character":     {with(named1("a\x1b[2Jb")), "other than letters"},
		"too deep":                {with(named1("a/b/c/d/e/f/g")), "too many folders"},
		"too long":                {with(named1(strings.Repeat("a", 201))), "too long"},
		"a link":                  {with(link), "a link"},
		"a device":                {with(device), "a device"},
		"one file twice":          {with(named1("night.hcl")), "one file where names do not differ by case"},
		"one file in two cases":   {with(named1("NIGHT.hcl")), "one file where names do not differ by case"},
		"a file that is a folder": {with(named1("records")), "a file and a folder"},
		"a file that was added":   {with(named1("extra")), "was added later"},
		"a bomb":                  {with(bomb), "would grow"},
		"too many files":          {with(many...), "at most 20000"},
		"no list":                 {archive(t, []entry{named1("night.hcl")}), "no pack of this program"},
		"no archive":              {[]byte("PK\x03\x04 and nothing"), "cannot be read as a zip archive"},
		"cut short":               {good[:len(good)-40], "cannot be read as a zip archive"},
		"a file that is gone": {changed(func(es []entry) []entry { return deleted(es, "night.hcl") }),
			"the archive does not hold it"},
		"a file of another length": {changed(func(es []entry) []entry {
			return altered(es, "night.hcl", func(b []byte) []byte { return append(b, '\n') })
		}),
			"was altered"},
		"a list of another layout": {changed(func(es []entry) []entry {
			return altered(es, "pack.json", func(b []byte) []byte {
				return bytes.Replace(b, []byte(`"plenilune_pack": 1`), []byte(`"plenilune_pack": 2`), 1)
			})
		}), "layout 2"},
		"a declared size that lies": {lied(t, good), "night.hcl"},
	}
}

func deleted(es []entry, name string) (out []entry) {
	for _, e := range es {
		if e.header.Name != name {
			out = append(out, e)
		}
	}
	return out
}

func altered(es []entry, name string, change func([]byte) []byte) []entry {
	for i := range es {
		if es[i].header.Name == name {
			es[i].body = change(bytes.Clone(es[i].body))
		}
	}
	return es
}

// lied gives the manifest another size in the archive's list.
func lied(t *testing.T, good []byte) []byte {
	t.Helper()
	b := bytes.Clone(good)
	at := bytes.LastIndex(b, []byte("night.hcl"))
	if at < 46 || string(b[at-46:at-42]) != "PK\x01\x02" {
		t.Fatal("the list of the archive is not where it was thought to be")
	}
	size := b[at-46+24:]
	binary.LittleEndian.PutUint32(size, binary.LittleEndian.Uint32(size)-1)
	return b
}

// Every hostile archive is refused with a line that says why, and nothing is written.
func TestHostilePacks(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha", "b": "beta"})
	b.must(fakeManifest, Options{})
	for name, h := range hostile(t, b.mustPack(fakeManifest, b.packOptions())) {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			p, err := openPacked(h.archive)
			if err == nil {
				_, err = Unpack(t.Context(), p, filepath.Join(dir, "in", "here"), b.steps)
			}
			var fault *PackError
			if !errors.As(err, &fault) || !strings.Contains(err.Error(), h.says) || strings.ContainsAny(err.Error(), "\n\x1b") {
				t.Errorf("it says %v, want one line with %q", err, h.says)
			}
			if left, err := filepath.Glob(filepath.Join(dir, "*", "*")); err != nil || len(left) > 0 {
				t.Errorf("%v was written", left)
			}
		})
	}
}

// Two entries that share bytes are how a small archive becomes a large folder.
func TestSharedBytesAreRefused(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha"})
	b.must(fakeManifest, Options{})
	good := b.mustPack(fakeManifest, b.packOptions())
	// The second entry of the list points to the place of the first, in all that the two differ in but the name.
	first, second := listed(good, 0), listed(good, 1)
	copy(good[second+42:second+46], good[first+42:first+46])
	if _, err := openPacked(good); err == nil || !strings.Contains(err.Error(), "share bytes") {
		t.Errorf("it says %v, want that two files share bytes", err)
	}
}

// listed finds an entry of an archive's list.
func listed(b []byte, n int) int {
	at := 0
	for range n + 1 {
		at += bytes.Index(b[at:], []byte("PK\x01\x02")) + 4
	}
	return at - 4
}

// A manifest that would read outside its folder is refused at unpacking, and at running.
func TestStrangersManifest(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha"})
	b.must(fakeManifest, Options{})
	good := b.mustPack(fakeManifest, b.packOptions())
	for pattern, says := range map[string]string{"../../*": "leads out", "/etc/*": "absolute path", "C:/x": "absolute path", "**/a/**/b/**/c": "more than 2 times"} {
		es := altered(entries(t, good), "night.hcl", func(m []byte) []byte { return bytes.Replace(m, []byte("all/*"), []byte(pattern), 1) })
		for _, e := range es {
			if e.header.Name == "night.hcl" {
				es = altered(es, "pack.json", func(x []byte) []byte { return relisted(t, x, "night.hcl", e.body) })
			}
		}
		p, err := openPacked(archive(t, es))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := Unpack(t.Context(), p, filepath.Join(t.TempDir(), "x"), b.steps); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("unpacked with %q it says %v, want %q", pattern, err, says)
		}
	}
	p, err := openPacked(good)
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "x")
	u, err := Unpack(t.Context(), p, dir, b.steps)
	if err != nil {
		t.Fatal(err)
	}
	src, err := os.ReadFile(u.Manifest)
	if err != nil {
		t.Fatal(err)
	}
	m, d := LoadManifest(u.Manifest, bytes.Replace(src, []byte("all/*"), []byte("../*"), 1), b.steps, nil)
	if d.Append(m.ResolveFiles("")); !d.HasErrors() || !strings.Contains(d.Error(), "leads out") {
		t.Errorf("run with a pattern that leads out it says %v", d.Err())
	}
	// A link in the folder is followed only within it.
	if err := os.MkdirAll(filepath.Join(dir, "all"), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(filepath.Join(b.dir, "clips", "a"), filepath.Join(dir, "all", "a")); err != nil {
		t.Skip("no links here")
	}
	m, _ = LoadManifest(u.Manifest, src, b.steps, nil)
	if d := m.ResolveFiles(""); !d.HasErrors() {
		t.Errorf("a link out of the folder was followed: %v", m.Blocks[0].Paths)
	}
	if d := m.ResolveFiles(filepath.Join(b.dir, "clips")); d.HasErrors() {
		t.Errorf("under --clips the clip is not found: %v", d)
	}
}

// relisted is pack.json with another content of one file.
func relisted(t *testing.T, index []byte, name string, body []byte) []byte {
	t.Helper()
	x, err := parsePackIndex(index)
	if err != nil {
		t.Fatal(err)
	}
	for i, f := range x.Files {
		if f.Name == name {
			x.Files[i] = packFileOf(name, body)
		}
	}
	out, err := x.encode()
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// Equal runs give equal packs, wherever they were made, whatever the clips were called, and from an unpacked pack too.
func TestEqualPacks(t *testing.T) {
	one := newBench(t, map[string]string{"a": "alpha", "b": "beta"})
	one.must(fakeManifest, Options{})
	want := one.mustPack(fakeManifest, one.packOptions())
	two := newBench(t, map[string]string{"zurich/2": "alpha", "zurich/1": "beta"})
	text := strings.Replace(fakeManifest, "clips/*", filepath.ToSlash(two.dir)+"/clips/*/*", 1) + "# at home\n"
	two.must(text, Options{})
	if got := two.mustPack(text, two.packOptions()); !bytes.Equal(got, want) {
		t.Errorf("the packs differ:\n%s\n%s", inner(t, got, "night.hcl"), inner(t, want, "night.hcl"))
	}
	for _, leak := range []string{"zurich", "at home", filepath.ToSlash(two.dir), "alpha"} {
		for _, e := range entries(t, want) {
			if bytes.Contains(e.body, []byte(leak)) {
				t.Errorf("%s holds %q", e.header.Name, leak)
			}
		}
	}
}

func inner(t *testing.T, pack []byte, name string) []byte {
	t.Helper()
	for _, e := range entries(t, pack) {
		if e.header.Name == name {
			return e.body
		}
	}
	t.Fatalf("there is no %s", name)
	return nil
}

// What went in is counted by what it is.
func TestCountedInputs(t *testing.T) {
	for want, blocks := range map[string][]string{
		"0 files":                             nil,
		"1 clip":                              {"clips.a"},
		"2 clips, 1 dark or flat and 1 panel": {"panels.a", "clips.a", "master.a", "clips.b"},
		"2 darks or flats and 3 panels":       {"master.a", "master.b", "panels.a", "panels.a", "panels.b"},
		"1 clip and 1 file":                   {"clips.a", "panelses.a"},
	} {
		var ins []PackInput
		for _, b := range blocks {
			ins = append(ins, PackInput{Block: b})
		}
		if got := CountedInputs(ins); got != want {
			t.Errorf("%v are %q, want %q", blocks, got, want)
		}
	}
}
