package pipeline

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A file that grows past what it declares is left where it does so, before a byte more reaches the disk, and nothing stays of what was
// written by then.
func TestBombsEndAtTheirBound(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha"})
	b.must(fakeManifest, Options{})
	const declared = 1000
	var packed bytes.Buffer
	w, err := flate.NewWriter(&packed, flate.BestCompression)
	if err != nil {
		t.Fatal(err)
	}
	for range 64 { // 64 MiB, of which the list tells a thousand bytes
		if _, err := w.Write(make([]byte, 1<<20)); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	pack := bombed(t, entries(t, b.mustPack(fakeManifest, b.packOptions())), packed.Bytes(), declared)
	p, err := openPacked(pack)
	if err != nil {
		t.Fatalf("the lie is to be found when it is unpacked: %v", err)
	}
	var got counter
	if err := p.copyOut("disk/bomb.ser", &got); err == nil || got.n > declared {
		t.Errorf("%d bytes came of a file that declares %d (%v)", got.n, declared, err)
	}
	dir := t.TempDir()
	var fault *PackError
	if _, err := Unpack(t.Context(), p, filepath.Join(dir, "in", "here"), b.steps); !errors.As(err, &fault) || !strings.Contains(err.Error(), "disk/bomb.ser") {
		t.Errorf("it says %v, want that the file is none of a pack", err)
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) > 0 {
		t.Errorf("%v was left (%v)", left, err)
	}
}

// bombed adds a deflated file to an archive, and to its list, that declares fewer bytes than it grows to.
func bombed(t *testing.T, es []entry, deflated []byte, declared int64) []byte {
	t.Helper()
	const name = "disk/bomb.ser"
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, e := range altered(es, packIndexFile, func(index []byte) []byte {
		x, err := parsePackIndex(index)
		if err != nil {
			t.Fatal(err)
		}
		x.Files = append(x.Files, PackFile{Name: name, Bytes: declared})
		if index, err = x.encode(); err != nil {
			t.Fatal(err)
		}
		return index
	}) {
		w, err := z.CreateHeader(&e.header)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(e.body); err != nil {
			t.Fatal(err)
		}
	}
	w, err := z.CreateRaw(&zip.FileHeader{Name: name, Method: zip.Deflate, CompressedSize64: uint64(len(deflated)), UncompressedSize64: uint64(declared)})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Write(deflated); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}
