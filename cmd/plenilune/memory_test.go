//go:build unix

package main

import (
	"bytes"
	"encoding/json"
	"image"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/image/draw"

	"plenilune/steps/format/ser"
)

// A run takes little more memory than it is given. Frames are large enough, and panels worked on at once are enough, that with
// memory to spare this night takes 350 MiB.
func TestMemoryIsKept(t *testing.T) {
	const budget = 256 << 20
	dir, manifest := nightIn(t, "plenilune")
	clips, err := filepath.Glob(filepath.Join(dir, "clips", "*.ser"))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range clips {
		enlarge(t, c, 5)
	}
	for _, name := range []string{"dark", "flat", "night.hcl"} { // those are of the small frames
		if err := os.RemoveAll(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	if out, err := exec.Command("plenilune", "new", filepath.Join(dir, "clips"), "-o", manifest).CombinedOutput(); err != nil {
		t.Fatalf("new: %v\n%s", err, out)
	}
	// A shell stands between: what Linux counts for a process begins with the peak of the one that started it, which is these tests.
	cmd := exec.Command("sh", "-c", `plenilune run "$@"; exit $?`, "sh", manifest, "-o", filepath.Join(dir, "out"),
		"--cache", filepath.Join(dir, "cache"), "--memory", "256MiB", "-j", "4", "--json")
	cmd.Env = append(os.Environ(), "GOMAXPROCS=4")
	cmd.Stderr = os.Stderr
	text, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")
	var sum struct {
		Peak int64 `json:"peak_bytes"` // of getrusage
	}
	if err := json.Unmarshal([]byte(lines[len(lines)-1]), &sum); err != nil {
		t.Fatal(err)
	}
	peak := sum.Peak
	t.Logf("at most %d MiB", peak>>20)
	if peak < 50<<20 || float64(peak) > 1.2*budget {
		t.Errorf("%d MiB were held at once, of a budget of %d MiB", peak>>20, budget>>20)
	}
}

// enlarge makes the frames of an 8-bit clip so many times as wide and as high.
func enlarge(t *testing.T, name string, by int) {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	f, err := ser.Open(bytes.NewReader(b), int64(len(b)))
	if err != nil || f.Layout.SampleBytes != 1 {
		t.Fatalf("%s: %v", name, err)
	}
	h := f.Header
	w, tall := int(h.Width), int(h.Height)
	h.Width, h.Height = int32(w*by), int32(tall*by)
	out, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	sw, err := ser.NewWriter(out, h)
	if err != nil {
		t.Fatal(err)
	}
	big := image.NewGray(image.Rect(0, 0, w*by, tall*by))
	samples := make([]uint16, len(big.Pix))
	for i := range f.Frames {
		small := &image.Gray{Pix: b[f.Layout.Offset+int64(i)*f.Layout.Stride:][:w*tall], Stride: w, Rect: image.Rect(0, 0, w, tall)}
		draw.ApproxBiLinear.Scale(big, big.Rect, small, small.Rect, draw.Src, nil)
		for k, v := range big.Pix {
			samples[k] = uint16(v)
		}
		if err := sw.AddFrame(samples); err != nil {
			t.Fatal(err)
		}
	}
	if err := sw.Close(nil); err != nil {
		t.Fatal(err)
	}
}
