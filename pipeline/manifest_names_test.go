package pipeline

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// TestPatternsAndNames: what a pattern matches in a folder of names that file
// systems and people make.
func TestPatternsAndNames(t *testing.T) {
	dir := t.TempDir()
	const composed, apart = "caf\u00e9.ser", "cafe\u0301s.ser"
	for _, n := range []string{"a.ser", "._a.ser", ".hidden.ser", composed, apart, "[b].ser", "sub/c.ser", ".trash/d.ser", "sub/._c.ser"} {
		p := filepath.Join(dir, filepath.FromSlash(n))
		if err := os.MkdirAll(filepath.Dir(p), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(p, []byte("x"), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	m := &Manifest{Dir: dir}
	for pattern, want := range map[string]string{
		"*.ser":            "[b].ser a.ser " + apart + " " + composed, // nothing hidden
		"._*":              "._a.ser",
		".hidden.ser":      ".hidden.ser",
		"caf\u00e9s.ser":   apart, // whichever way the accent is written
		"caf\u00e9.ser":    composed,
		"[[]b].ser":        "[b].ser",
		"**/*.ser":         "[b].ser a.ser " + apart + " " + composed + " sub/c.ser",
		"sub/../a.ser":     "a.ser",
		".trash/*.ser":     ".trash/d.ser",
		"nothing/here.ser": "",
	} {
		found, err := m.expand(pattern, "")
		if err != nil {
			t.Errorf("%s: %v", pattern, err)
		}
		var got []string
		for _, p := range found {
			rel, err := filepath.Rel(dir, p)
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, filepath.ToSlash(rel))
		}
		slices.Sort(got)
		if s := strings.Join(got, " "); s != want {
			t.Errorf("%s matches %q, want %q", pattern, s, want)
		}
	}
}
