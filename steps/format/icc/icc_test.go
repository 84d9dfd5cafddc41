package icc

import (
	"encoding/binary"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"plenilune/steps/format/outsidetest"
)

// The matrix of IEC 61966-2-1:1999 from its primaries.
func TestPrimaries(t *testing.T) {
	want := matrix{{.4123908, .3575843, .1804808}, {.2126390, .7151687, .0721923}, {.0193308, .1191948, .9505322}}
	got := primaries()
	for i := range 3 {
		for j := range 3 {
			if math.Abs(got[i][j]-want[i][j]) > 1e-7 {
				t.Errorf("row %d, column %d is %.7f, want %.7f", i, j, got[i][j], want[i][j])
			}
		}
	}
}

// White stays white: what the three primaries add up to under D50 is its white.
func TestAdaptedWhite(t *testing.T) {
	m := times(adaptation(), primaries())
	for i, w := range whiteD50 {
		if s := m[i][0] + m[i][1] + m[i][2]; math.Abs(s-w) > 1e-9 {
			t.Errorf("component %d of white is %.9f, want %g", i, s, w)
		}
	}
}

func TestLayout(t *testing.T) {
	for _, k := range []Kind{{}, {Grey: true}, {Linear: true}, {true, true}} {
		b := Profile(k)
		if n := binary.BigEndian.Uint32(b); int(n) != len(b) || string(b[36:40]) != "acsp" {
			t.Errorf("%+v: %d bytes, says %d", k, len(b), n)
		}
		n := int(binary.BigEndian.Uint32(b[128:]))
		for i := range n {
			e := b[132+12*i:]
			at, long := binary.BigEndian.Uint32(e[4:]), binary.BigEndian.Uint32(e[8:])
			if at%4 != 0 || int(at+long) > len(b) {
				t.Errorf("%+v: tag %q lies at %d, %d bytes", k, e[:4], at, long)
			}
		}
	}
}

// exiftool reads the profile, and Little CMS, through Pillow, turns sRGB of it into sRGB of its own without change, and linear light as
// the curve of IEC 61966-2-1 has it.
func TestOutside(t *testing.T) {
	dir := t.TempDir()
	for name, k := range map[string]Kind{"srgb": {}, "linear": {Linear: true}, "grey": {Grey: true}} {
		if err := os.WriteFile(filepath.Join(dir, name+".icc"), Profile(k), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	exiftool := outsidetest.Program(t, "exiftool")
	out, err := exec.Command(exiftool, "-s", "-validate", "-warning", "-ProfileDescription", "-ProfileVersion", filepath.Join(dir, "srgb.icc")).CombinedOutput()
	if err != nil || !strings.Contains(string(out), ": sRGB") || !strings.Contains(string(out), "4.3.0") || strings.Contains(string(out), "Warning") {
		t.Errorf("exiftool says (%v)\n%s", err, out)
	}
	const script = `
import sys
from PIL import Image, ImageCms
d = sys.argv[1]
own = ImageCms.createProfile("sRGB")
px = [(0, 0, 0), (11, 64, 128), (188, 128, 64), (255, 128, 0), (255, 255, 255)]
im = Image.new("RGB", (len(px), 1)); im.putdata(px)
for name in ("srgb", "linear"):
    out = ImageCms.profileToProfile(im, d + "/" + name + ".icc", own)
    print(name, list(out.getdata()))
`
	python := outsidetest.Python(t, "PIL.ImageCms")
	got, err := exec.Command(python, "-c", script, dir).CombinedOutput()
	// 11, 64, 128, 188 of 255 of light are 58.6, 137.1, 187.9, 222.9 in sRGB (IEC 61966-2-1).
	want := "srgb [(0, 0, 0), (11, 64, 128), (188, 128, 64), (255, 128, 0), (255, 255, 255)]\n" +
		"linear [(0, 0, 0), (59, 137, 188), (223, 188, 137), (255, 188, 0), (255, 255, 255)]\n"
	if err != nil || string(got) != want {
		t.Errorf("%v\n%s want\n%s", err, got, want)
	}
}
