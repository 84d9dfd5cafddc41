package picture

import (
	"crypto/sha256"
	"encoding/hex"
	"os"
	"testing"
)

// TestJPEGStays: decoders may differ in the last digit of a sample, and the one of Go's library is used: if another release
// of it gives other samples, this fails, and the versions of the parts that decode pictures must be raised. The files were
// written by Pillow 9.4.0 (45×35 px, quality 85, colours thinned 4:2:0); the digests are of their samples, a byte each.
func TestJPEGStays(t *testing.T) {
	for name, want := range map[string]string{
		"quartered.jpg":   "a92b7eea39cdd2faf529c9edc59e3f213e703eee25ee65d847e3a55ad44f3bce",
		"progressive.jpg": "a92b7eea39cdd2faf529c9edc59e3f213e703eee25ee65d847e3a55ad44f3bce",
	} {
		file, err := os.ReadFile("testdata/" + name)
		if err != nil {
			t.Fatal(err)
		}
		got, err := samples(file)
		if err != nil || len(got) != 45*35*3 {
			t.Errorf("%s: %d samples (%v)", name, len(got), err)
			continue
		}
		b := make([]byte, len(got))
		for i, v := range got {
			b[i] = byte(v)
		}
		sum := sha256.Sum256(b)
		if got := hex.EncodeToString(sum[:]); got != want {
			t.Errorf("%s: the samples' digest is %s, want %s", name, got, want)
		}
	}
}
