package pipeline

import (
	"bytes"
	"errors"
	"io"
	"runtime"
	"strings"
	"testing"

	"plenilune/cache"
)

// FuzzOpenPack reads whatever claims to be a pack as unpack and verify do, short of writing it: it never panics, takes no more memory
// than 64 MiB and four times the file, and what is accepted keeps its names inside the folder and its sizes within bounds.
func FuzzOpenPack(f *testing.F) {
	for _, b := range seedPacks(f) {
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		readPack(t, b)
		if _, err := parsePackIndex(b); err == nil && !bytes.Contains(b, []byte("plenilune_pack")) {
			t.Error("a list that says no layout was accepted")
		}
		runtime.ReadMemStats(&after)
		if took := after.TotalAlloc - before.TotalAlloc; took > 64<<20+4*uint64(len(b)) {
			t.Errorf("%d bytes were taken for an archive of %d", took, len(b))
		}
	})
}

func readPack(t *testing.T, b []byte) {
	p, err := openPacked(b)
	if err != nil {
		var fault *PackError
		if !errors.As(err, &fault) || strings.ContainsAny(err.Error(), "\n\x1b") {
			t.Errorf("the refusal is no plain line: %q", err)
		}
		return
	}
	whole := uint64(0)
	for name, e := range p.files {
		if strings.Contains(name, "..") || strings.HasPrefix(name, "/") || strings.ContainsAny(name, "\\:\x00") {
			t.Errorf("the name %q was accepted", name)
		}
		n := &counter{}
		if err := p.copyOut(name, n); err == nil && n.n != e.UncompressedSize64 || n.n > e.UncompressedSize64+1 {
			t.Errorf("%q gave %d bytes, it declares %d", name, n.n, e.UncompressedSize64)
		}
		whole += n.n
	}
	if whole > mostWhole(int64(len(b)))+uint64(len(p.files)) {
		t.Errorf("an archive of %d bytes grew to %d", len(b), whole)
	}
	for _, out := range p.Index.Outputs {
		_, _ = (&packStands{pack: p}).record(out) // an altered record is refused; here it may only not panic
	}
}

type counter struct{ n uint64 }

func (c *counter) Write(b []byte) (int, error) { c.n += uint64(len(b)); return len(b), nil }

// seedPacks are a small pack, and archives with one fault each.
func seedPacks(f *testing.F) [][]byte {
	text := "plenilune action 1\npart a/b 1\nset x 1\nin p " + strings.Repeat("0", 64) + "\nout q\n"
	rec, err := Record{Version: 1, Parts: []RecordPart{{Key: cache.Sum([]byte(text)), Text: text, Outputs: map[string]ID{"q": {}}}}}.encode()
	if err != nil {
		f.Fatal(err)
	}
	manifest := []byte("clips \"all\" {\n  files = [\"all/*\"]\n}\n")
	x := PackIndex{Version: packVersion, Date: "2027-03-19",
		Inputs:  []PackInput{{Block: "clips.all", Name: "all/000000000000.ser", Bytes: 1}},
		Outputs: []PackOutput{{Block: "publish.out", File: "disk.png", Record: cache.Sum(rec)}},
		Files:   []PackFile{packFileOf(packManifest, manifest), packFileOf(recordName(cache.Sum(rec)), rec)}}
	index, err := x.encode()
	if err != nil {
		f.Fatal(err)
	}
	write := func(names []string, deflate bool) []byte {
		var b bytes.Buffer
		z := newPackWriter(&b)
		for i, body := range [][]byte{index, manifest, rec} {
			if err := z.put(names[i], bytes.NewReader(body), deflate); err != nil {
				f.Fatal(err)
			}
		}
		if err := z.Close(); err != nil {
			f.Fatal(err)
		}
		return b.Bytes()
	}
	record := recordName(cache.Sum(rec))
	good := write([]string{packIndexFile, packManifest, record}, false)
	out := [][]byte{good, write([]string{packIndexFile, packManifest, record}, true), index, good[:len(good)-7]}
	for _, name := range []string{"../x", "/x", "a/b", "night.hcl", "con", ".x"} {
		out = append(out, write([]string{packIndexFile, packManifest, name}, false))
	}
	return out
}

var _ io.Writer = (*counter)(nil)
