package picture

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"plenilune/steps/format/outsidetest"
	"plenilune/steps/format/tiff"
)

// dated is a JPEG picture with a segment that says when it was taken.
func dated(jpeg []byte) []byte {
	const exif = "Exif\x00\x00MM\x00*\x00\x00\x00\x08" +
		"\x00\x01\x87\x69\x00\x04\x00\x00\x00\x01\x00\x00\x00\x1a\x00\x00\x00\x00" + // the directory, at byte 8
		"\x00\x01\x90\x03\x00\x02\x00\x00\x00\x14\x00\x00\x00\x2c\x00\x00\x00\x00" + // that of Exif, at byte 26
		"2024:03:19 21:04:05\x00" // at byte 44
	return slices.Concat(jpeg[:2], []byte{0xff, 0xe1, 0, byte(len(exif) + 2)}, []byte(exif), jpeg[2:])
}

// TestTakenOfJPEG: Exif stands in the segment that is marked so, and in no other.
func TestTakenOfJPEG(t *testing.T) {
	b := dated(made(t, JPEG, 9, 7))
	other := bytes.Replace(b, []byte("Exif"), []byte("Exis"), 1)
	for name, c := range map[string]struct {
		file []byte
		want int64
	}{"Exif": {b, time.Date(2024, 3, 19, 21, 4, 5, 0, time.UTC).UnixNano()}, "another segment": {other, 0}} {
		p, err := Open(bytes.NewReader(c.file), int64(len(c.file)))
		if err != nil {
			t.Fatal(err)
		}
		if got := p.Taken(); got != (tiff.Moment{UnixNS: c.want}) {
			t.Errorf("%s: %+v, want %d", name, got, c.want)
		}
	}
}

// TestTakenAsExiftoolWrites reads what exiftool writes into pictures of every kind, and nothing from those that say nothing.
func TestTakenAsExiftoolWrites(t *testing.T) {
	exiftool := outsidetest.Program(t, "exiftool")
	shown := time.Date(2024, 3, 19, 21, 4, 5, 250e6, time.UTC).UnixNano()
	for _, kind := range []string{PNG, TIFF, JPEG} {
		plain := made(t, kind, 9, 7)
		for _, c := range []struct {
			tags []string
			want tiff.Moment
		}{
			{nil, tiff.Moment{}},
			{[]string{"-CreateDate=2024:03:19 21:04:05"}, tiff.Moment{}}, // when it was stored
			{[]string{"-DateTimeOriginal=2024:03:19 21:04:05", "-SubSecTimeOriginal=25"}, tiff.Moment{UnixNS: shown}},
			{[]string{"-DateTimeOriginal=2024:03:19 21:04:05", "-SubSecTimeOriginal=25", "-OffsetTimeOriginal=+02:00"},
				tiff.Moment{UnixNS: shown - 2*int64(time.Hour), Zoned: true}},
		} {
			path := filepath.Join(t.TempDir(), "p")
			if err := os.WriteFile(path, plain, 0o600); err != nil {
				t.Fatal(err)
			}
			for i, tag := range c.tags {
				c.tags[i] = "-EXIF:" + tag[1:]
			}
			if len(c.tags) > 0 {
				if out, err := exec.Command(exiftool, append(c.tags, "-q", "-overwrite_original", path)...).CombinedOutput(); err != nil {
					t.Fatalf("%s: exiftool: %v\n%s", kind, err, out)
				}
			}
			b, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			p, err := Open(bytes.NewReader(b), int64(len(b)))
			if err != nil {
				t.Fatalf("%s with %v: %v", kind, c.tags, err)
			}
			if got := p.Taken(); got != c.want {
				t.Errorf("%s with %v: %+v, want %+v", kind, c.tags, got, c.want)
			}
		}
	}
}
