//go:build unix

package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/image/draw"

	"plenilune/steps/format/fits"
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
	heldWithin(t, budget, manifest)
}

// Detail of a picture takes little more memory than a run is given, either; that of the larger one, a disk of sixty panels, by the recipe
// that is taken where none is given. Planes of the picture are what counts: it is no more than four of them.
func TestMemoryIsKeptByDetail(t *testing.T) {
	size, budget, recipe := 3464, int64(256<<20), "deconvolve {\n iterations = 2\n }\n band \"middle\" {\n scale_px = 4\n boost = 1.2\n floor_sigma = 2\n }"
	if os.Getenv("PLENILUNE_LONG") != "" {
		size, budget, recipe = 7810, 1<<30, ""
	}
	dir := t.TempDir()
	manifest := filepath.Join(dir, "night.hcl")
	writeBall(t, filepath.Join(dir, "disk.fits"), size)
	publish := func(image, detail string) {
		text := fmt.Sprintf("night {}\n panels \"p\" {\n files = [\"disk.fits\"]\n }\n %s\n"+
			"publish \"out\" {\n picture {\n image = %s\n file = \"disk.jpg\"\n long_edge_px = 512\n }\n }\n", detail, image)
		if err := os.WriteFile(manifest, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	publish("panels.p", "")
	if out, err := exec.Command("plenilune", "run", manifest, "-o", filepath.Join(dir, "out"), "--cache", filepath.Join(dir, "cache")).CombinedOutput(); err != nil {
		t.Fatalf("read the picture: %v\n%s", err, out)
	}
	publish("detail.crisp", "detail \"crisp\" {\n image = panels.p\n "+recipe+"\n }")
	heldWithin(t, budget, manifest)
}

// writeBall writes a picture of a ball that is lit from the right, with a pattern and noise.
func writeBall(t *testing.T, name string, size int) {
	t.Helper()
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := 0.42 * float64(size)
	if err := fits.Encode(f, fits.Picture{W: size, H: size, Channels: 1, Row: func(_, y int, dst []float32) error {
		rng := rand.New(rand.NewPCG(1, uint64(y)))
		for x := range dst {
			dx, dy := float64(x-size/2), float64(y-size/2)
			inside := min(max(0.5+(r-math.Hypot(dx, dy))/4, 0), 1)
			pattern := 0.03 * float64(x/3%2+y/5%2)
			dst[x] = float32(0.01 + inside*(0.45+0.3*dx/r+pattern) + 0.004*rng.Float64())
		}
		return nil
	}}); err != nil {
		t.Fatal(err)
	}
}

// heldWithin runs a manifest with a budget of memory and looks at the most that it held.
func heldWithin(t *testing.T, budget int64, manifest string) {
	t.Helper()
	dir := filepath.Dir(manifest)
	// A shell stands between: what Linux counts for a process begins with the peak of the one that started it, which is these tests.
	cmd := exec.Command("sh", "-c", `plenilune run "$@"; exit $?`, "sh", manifest, "-o", filepath.Join(dir, "out"),
		"--cache", filepath.Join(dir, "cache"), "--memory", fmt.Sprintf("%dMiB", budget>>20), "-j", "4", "--json")
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
	if peak < 50<<20 || float64(peak) > 1.2*float64(budget) {
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
