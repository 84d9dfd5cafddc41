package picture

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"plenilune/steps/format/outsidetest"
	"plenilune/steps/format/tiff"
)

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
