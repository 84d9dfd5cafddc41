package picture

import (
	"bytes"
	"encoding/binary"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"plenilune/steps/format/outsidetest"
)

// others has Python's libraries write pictures of every kind that is read, each with its samples beside it as float32.
const others = `
import sys, subprocess, numpy as np, tifffile
from PIL import Image
out = sys.argv[1]
r = np.random.default_rng(7)
def ramp(h, w, c, top):
    y, x = np.mgrid[0:h, 0:w]
    a = (x * 37 + y * 11) % (top + 1)
    a = np.stack([(a + 5 * i) % (top + 1) for i in range(c)], -1) if c > 1 else a
    return np.where(r.random(a.shape) < 0.2, r.integers(0, top + 1, a.shape), a)
def keep(name, a):
    a.astype('<f4').tofile(out + '/' + name + '.raw')
n = 0
for c in (1, 3):
    for kind, top in (('uint8', 255), ('uint16', 65535), ('float32', 65535)):
        a = ramp(61, 83, c, top).astype(kind)
        for comp in ((None, 'zlib', 'lzw', 'packbits') if kind != 'float32' else (None, 'zlib')):
            for order in '<>':
                for opts in ({}, {'rowsperstrip': 7}, {'tile': (32, 48)}, {'bigtiff': True}, {'predictor': True}, {'planarconfig': 'separate'}):
                    if 'planarconfig' in opts and c == 1 or 'predictor' in opts and comp in (None, 'packbits'):
                        continue
                    b = np.moveaxis(a, -1, 0) if 'planarconfig' in opts else a
                    name = 't%03d.tif' % n
                    try:
                        tifffile.imwrite(out + '/' + name, b, byteorder=order, compression=comp, photometric='rgb' if c == 3 else 'minisblack', metadata=None, **opts)
                    except (ValueError, KeyError, ImportError, RuntimeError) as e: # codecs of another package
                        continue
                    keep(name, a)
                    n += 1
for c, mode in ((1, 'L'), (3, 'RGB')):
    a = ramp(61, 83, c, 255).astype('uint8')
    for comp in ('tiff_lzw', 'tiff_adobe_deflate', 'packbits', 'raw'):
        Image.fromarray(a, mode).save(out + '/p%d%s.tif' % (c, comp), compression=comp)
        keep('p%d%s.tif' % (c, comp), a)
    Image.fromarray(a, mode).save(out + '/p%d.png' % c)
    keep('p%d.png' % c, a)
    y, x = np.mgrid[0:64, 0:88]
    smooth = np.repeat(np.repeat(ramp(8, 11, c, 255), 8, 0), 8, 1).astype('uint8')
    for sub in (0, 2):
        for progressive in (False, True):
            name = 'p%d%d%d.jpg' % (c, sub, progressive)
            if sub and c == 3: # colours that change slowly: how thinned ones are drawn up is each decoder's own
                smooth = np.stack([x * 2, y * 3, 128 + 0 * x], -1).astype('uint8')
            Image.fromarray(smooth, mode).save(out + '/' + name, quality=95, subsampling=sub, progressive=progressive)
            keep(name, np.asarray(Image.open(out + '/' + name)))
for kind, top, pack in (('float32', 1, 'zip:3'), ('float32', 1, 'lzw:3'), ('uint16', 65535, 'lzw:2'), ('uint8', 255, 'zip:2')):
    a = (ramp(61, 83, 3, 65535) / 65535 * top).astype(kind)
    tifffile.imwrite(out + '/plain', a, photometric='rgb', metadata=None)
    name = 'c%s%s.tif' % (kind, pack.replace(':', ''))
    subprocess.run(['tiffcp', '-c', pack, '-r', '9', out + '/plain', out + '/' + name], check=True)
    keep(name, a)
a = ramp(61, 83, 1, 65535).astype('uint16')
Image.fromarray(a).save(out + '/p16.png'); keep('p16.png', a)
a = ramp(61, 83, 1, 255).astype('uint8')
Image.fromarray(a).convert('RGB').quantize(16).save(out + '/palette.png'); keep('palette.png', np.asarray(Image.open(out + '/palette.png').convert('RGB')))
`

// TestAgainstOthers: every picture that Pillow and tifffile write is read as they have it, JPEG within what decoders may
// differ by.
func TestAgainstOthers(t *testing.T) {
	dir := t.TempDir()
	outsidetest.Program(t, "tiffcp")
	python := outsidetest.Python(t, "tifffile, PIL")
	if out, err := exec.Command(python, "-c", others, dir).CombinedOutput(); err != nil {
		t.Fatalf("write pictures: %v\n%s", err, out)
	}
	files, err := filepath.Glob(filepath.Join(dir, "*.raw"))
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]int{}
	for _, raw := range files {
		name := strings.TrimSuffix(raw, ".raw")
		want, err := os.ReadFile(raw)
		if err != nil {
			t.Fatal(err)
		}
		file, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		got, err := samples(file)
		if err != nil {
			t.Errorf("%s: %v", filepath.Base(name), err)
			continue
		}
		tolerance := float32(0)
		if filepath.Ext(name) == ".jpg" {
			tolerance = 4 // of 255: decoders may differ by a count in each step, ITU-T T.83
		}
		seen[filepath.Ext(name)]++
		if d := farthest(got, want); d > tolerance {
			t.Errorf("%s: samples differ by %g, %d of %d there", filepath.Base(name), d, len(got), len(want)/4)
		}
	}
	if seen[".tif"] < 40 || seen[".png"] < 4 || seen[".jpg"] < 8 {
		t.Errorf("only %v were compared", seen)
	}
}

// samples reads a picture whole.
func samples(file []byte) ([]float32, error) {
	p, err := Open(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		return nil, err
	}
	if err := p.Load(); err != nil {
		return nil, err
	}
	out := make([]float32, p.Width*p.Height*p.Channels)
	for y := range p.Height {
		p.Row(y, out[y*p.Width*p.Channels:][:p.Width*p.Channels])
	}
	return out, nil
}

// farthest is the greatest difference between samples and their bytes as float32, or a great number where their count differs.
func farthest(got []float32, want []byte) (most float32) {
	if 4*len(got) != len(want) {
		return 1e9
	}
	for i, v := range got {
		var w float32
		if _, err := binary.Decode(want[4*i:], binary.LittleEndian, &w); err != nil {
			return 1e9
		}
		most = max(most, v-w, w-v)
	}
	return most
}
