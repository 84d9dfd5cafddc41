package pipeline

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A pack that is stopped, or fails, leaves nothing; what a kill left of an earlier one goes.
func TestPackWholeOrNothing(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha"})
	m := b.load(fakeManifest)
	dir := t.TempDir()
	file := filepath.Join(dir, "x.zip")
	old := time.Now().Add(-2 * partialKept)
	left := filepath.Join(dir, partialPrefix+"x.zip-1234")
	others := []string{partialPrefix + "x.zip-2-1234", partialPrefix + "x.zip-77"} // of x.zip-2, and of another at work now
	for _, d := range append([]string{left}, filepath.Join(dir, others[0]), filepath.Join(dir, others[1])) {
		if err := os.MkdirAll(d, 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(d, old, old); err != nil && !strings.HasSuffix(d, "-77") {
			t.Fatal(err)
		}
	}
	if err := os.Chtimes(filepath.Join(dir, others[1]), time.Time{}, time.Now()); err != nil {
		t.Fatal(err)
	}
	var request *RequestError
	if _, err := PackTo(t.Context(), file, m, b.c, b.packOptions()); !errors.As(err, &request) || !strings.Contains(err.Error(), "has not been run") {
		t.Errorf("before a run it says %v", err)
	}
	b.must(fakeManifest, Options{})
	ctx, stop := context.WithCancel(t.Context())
	o := b.packOptions()
	o.Clips = true
	o.Look = func(string) ([]byte, string, error) { stop(); return nil, "", nil }
	if _, err := PackTo(ctx, file, b.load(fakeManifest), b.c, o); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped, it says %v", err)
	}
	if names, err := os.ReadDir(dir); err != nil || len(names) != 2 || names[0].Name() != others[0] || names[1].Name() != others[1] {
		t.Errorf("%v is left", names)
	}
	if err := os.WriteFile(file, []byte("my own"), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := PackTo(t.Context(), file, b.load(fakeManifest), b.c, b.packOptions()); !errors.As(err, &request) || !strings.Contains(err.Error(), "no pack") {
		t.Errorf("over a file of the user's it says %v", err)
	}
}
