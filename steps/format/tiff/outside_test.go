package tiff

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"plenilune/steps/format/outsidetest"
)

// write stores a file of this kind and returns its path and its pixels.
func write(t *testing.T, dir string, h Header) (path string, pixels []byte) {
	t.Helper()
	rows, row := picture(h, 8)
	file, err := WithXMP(encode(t, h, row), []byte(`<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/"><xmp:CreatorTool>plenilune</xmp:CreatorTool></rdf:Description></rdf:RDF></x:xmpmeta>`))
	if err != nil {
		t.Fatal(err)
	}
	path = filepath.Join(dir, "x.tif")
	if err := os.WriteFile(path, file, 0o600); err != nil {
		t.Fatal(err)
	}
	return path, bytes.Join(rows, nil)
}

// TestTiffinfo: libtiff's own reader must have nothing to remark.
func TestTiffinfo(t *testing.T) {
	tiffinfo := outsidetest.Program(t, "tiffinfo")
	for _, h := range kinds() {
		path, _ := write(t, t.TempDir(), h)
		out, err := exec.Command(tiffinfo, "-D", path).CombinedOutput()
		if err != nil || strings.Contains(strings.ToLower(string(out)), "warning") || strings.Contains(string(out), "rror") {
			t.Errorf("%v: %v\n%s", h, err, out)
		}
	}
}

// TestExiftool reads the texts of a classic and a BigTIFF file.
func TestExiftool(t *testing.T) {
	exiftool := outsidetest.Program(t, "exiftool")
	for _, h := range kinds()[:2] {
		path, _ := write(t, t.TempDir(), h)
		out, err := exec.Command(exiftool, "-s", path).CombinedOutput()
		if err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		got := strings.Join(strings.Fields(string(out)), " ")
		for _, want := range []string{"CreatorTool : plenilune", "ImageDescription : a disk", "Software : plenilune", "XResolution : 118.11", "ResolutionUnit : cm"} {
			if !strings.Contains(got, want) {
				t.Errorf("%v: no %q in\n%s", h, want, out)
			}
		}
		if strings.Contains(got, "Warning") {
			t.Errorf("%v: exiftool warns\n%s", h, out)
		}
	}
}

// TestTifffile compares every sample of every kind with Python's tifffile.
func TestTifffile(t *testing.T) {
	python := outsidetest.Python(t, "tifffile")
	const script = `
import sys, tifffile
out = sys.stdout.buffer
for path in sys.argv[1:]:
    a = tifffile.imread(path)
    out.write(a.astype(a.dtype.newbyteorder("<")).tobytes())
`
	args, want := []string{"-c", script}, []byte(nil)
	for _, h := range kinds() {
		path, pixels := write(t, t.TempDir(), h)
		args, want = append(args, path), append(want, pixels...)
	}
	cmd := exec.Command(python, args...)
	var complaint strings.Builder
	cmd.Stderr = &complaint
	got, err := cmd.Output()
	if err != nil || complaint.Len() > 0 {
		t.Fatalf("%v\n%s", err, complaint.String())
	}
	if !bytes.Equal(got, want) {
		t.Errorf("tifffile's %d bytes of pixels and our %d differ", len(got), len(want))
	}
}
