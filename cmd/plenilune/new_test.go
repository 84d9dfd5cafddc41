package main

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"plenilune/pipeline"
	"plenilune/steps"
	"plenilune/steps/format/ser"
)

// recordingOf makes a capture of two small frames.
func recordingOf(width int, begun time.Time) ([]byte, error) {
	h := ser.Header{LittleFlag: 1, Width: int32(width), Height: 8, Depth: 16, Frames: 2}
	if !begun.IsZero() {
		h.UTC = ser.TicksOf(begun)
	}
	var b bytes.Buffer
	w, err := ser.NewWriter(&b, h)
	if err != nil {
		return nil, err
	}
	f := make([]uint16, width*8)
	for i := range f {
		f[i] = uint16(i * 37)
	}
	err = errors.Join(w.AddFrame(f), w.AddFrame(f), w.Close(nil))
	return b.Bytes(), err
}

func recording(t testing.TB, width int, begun time.Time) []byte {
	t.Helper()
	b, err := recordingOf(width, begun)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func put(t testing.TB, path string, b []byte) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b, 0o666); err != nil {
		t.Fatal(err)
	}
}

// nastyName makes a name that a file system takes and that means something else
// to a manifest, a pattern, a shell or a terminal.
func nastyName(r *rand.Rand) string {
	bits := []string{"a", "Mond", " ", "  ", `"`, "'", "`", "$", "${x}", "%{if}", "$${", "%%{", "{", "}", "[", "]", "[a-z]", "*", "**", "?", `\`, `\n`,
		"#", "//", "/*", "<<EOT", "\n", "\t", "\r", "\x01", "\x1b[31m", "\x7f", "\u00e9", "e\u0301", "\u0301", "\u212b", "\u200b", "\u202e", "\u2028", "\ufeff",
		"\U0001f315", "\U000e0001", "\ufffd", "\xff", "\xc3", "~", "-", "..", ".", ",", ";", ":", "=\u0338", "dark", "flat", "C:", "&", "|", "!"}
	var b strings.Builder
	for range 1 + r.IntN(6) {
		b.WriteString(bits[r.IntN(len(bits))])
	}
	s := strings.ReplaceAll(b.String(), "/", "\u2044")
	return s[:min(len(s), 100)]
}

// TestManifestHoldsOfAnyNames: whatever folders and clips are called, the
// manifest that new writes has no fault and takes what new says that it takes.
func TestManifestHoldsOfAnyNames(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("many folders")
	}
	clip, other := recording(t, 16, time.Time{}), recording(t, 20, time.Time{})
	checked := 0
	for seed := range uint64(150) {
		r := rand.New(rand.NewPCG(seed, 7))
		dir := t.TempDir()
		root := filepath.Join(dir, "in "+nastyName(r))
		if os.MkdirAll(root, 0o777) != nil {
			continue // a name that this system does not take
		}
		for range 2 + r.IntN(8) {
			path := root
			for range r.IntN(3) {
				path = filepath.Join(path, "d"+nastyName(r))
			}
			path = filepath.Join(path, nastyName(r)+[]string{".ser", ".SER", ".Ser"}[r.IntN(3)])
			b := clip
			if r.IntN(4) == 0 {
				b = [][]byte{other, nil, []byte("no clip")}[r.IntN(3)]
			}
			if os.MkdirAll(filepath.Dir(path), 0o777) == nil {
				_ = os.WriteFile(path, b, 0o666) // a name that this system does not take
			}
		}
		n, err := surveyFolder(root, givenFrames{})
		if err != nil {
			continue // all are hidden, or named dark, or the odd ones
		}
		name := filepath.Join(dir, nastyName(r)+".hcl")
		text, err := n.manifest(name)
		if err != nil {
			if strings.Contains(err.Error(), "cannot be told from another file") {
				continue // said, and what to do
			}
			t.Fatalf("seed %d: %v\n%s", seed, err, text)
		}
		if !utf8.Valid(text) {
			t.Errorf("seed %d: the manifest is no text", seed)
		}
		m, diags := pipeline.LoadManifest(name, text, steps.All(), nil)
		if diags.Append(m.ResolveFiles("")); diags.Len() > 0 {
			t.Fatalf("seed %d: %v\n%s", seed, diags, text)
		}
		checked++
		var want []string
		for _, c := range n.clips {
			want = append(want, c.path)
		}
		slices.Sort(want)
		if got := m.Block(pipeline.Ref{Kind: "clips", Name: "disk"}).Paths; !slices.Equal(got, want) {
			t.Fatalf("seed %d: the manifest takes %q, want %q\n%s", seed, got, want, text)
		}
		var told bytes.Buffer
		n.tell(&told)
		if i := strings.IndexFunc(told.String(), func(c rune) bool { return c < ' ' && c != '\n' || c == 0x7f || c == 0x202e }); i >= 0 {
			t.Errorf("seed %d: a control character reaches the terminal in %q", seed, told.String())
		}
	}
	if checked < 30 {
		t.Errorf("only %d manifests were checked", checked)
	}
	t.Logf("%d manifests checked", checked)
}

// TestCommonestNight: of several sizes and nights, most clips win; of as many,
// most bytes; those without a time go with any night.
func TestCommonestNight(t *testing.T) {
	first := time.Date(2025, 3, 6, 19, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name string
		put  map[string][]byte
		want string
	}{
		{"size", map[string][]byte{"a": recording(t, 16, first), "b": recording(t, 16, first), "c": recording(t, 99, first)}, "a b"},
		{"as many, more bytes", map[string][]byte{"a": recording(t, 16, first), "c": recording(t, 99, first)}, "c"},
		{"night over midnight", map[string][]byte{"a": recording(t, 16, first), "b": recording(t, 16, first.Add(8*time.Hour)), "c": recording(t, 16, first.Add(24*time.Hour))}, "a b"},
		{"latest of as many", map[string][]byte{"a": recording(t, 16, first), "c": recording(t, 16, first.Add(24*time.Hour))}, "c"},
		{"no time", map[string][]byte{"a": recording(t, 16, first), "b": recording(t, 16, first), "c": recording(t, 16, first.Add(24*time.Hour)), "d": recording(t, 16, time.Time{})}, "a b d"},
		{"kind and night together", map[string][]byte{
			"a": recording(t, 16, first), "b": recording(t, 16, first.Add(24*time.Hour)), "c": recording(t, 16, first.Add(48*time.Hour)),
			"d": recording(t, 20, first), "e": recording(t, 20, first)}, "d e"},
	} {
		dir := t.TempDir()
		for n, b := range c.put {
			put(t, filepath.Join(dir, "clips", n+".ser"), b)
		}
		n, err := surveyFolder(filepath.Join(dir, "clips"), givenFrames{})
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, f := range n.clips {
			got = append(got, strings.TrimSuffix(filepath.Base(f.path), ".ser"))
		}
		if s := strings.Join(got, " "); s != c.want {
			t.Errorf("%s: took %s, want %s", c.name, s, c.want)
		}
		if len(n.leftOut)+len(n.clips) != len(c.put) {
			t.Errorf("%s: %d of %d clips are told", c.name, len(n.leftOut)+len(n.clips), len(c.put))
		}
	}
}

// TestThousandsOfClips: what is told stays short, what is written whole.
func TestThousandsOfClips(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	good, broken := recording(t, 16, time.Time{}), []byte("broken")
	for i := range 3000 {
		b := good
		if i%10 == 0 {
			b = broken
		}
		put(t, filepath.Join(dir, "clips", fmt.Sprintf("%04d.ser", i)), b)
	}
	n, err := surveyFolder(filepath.Join(dir, "clips"), givenFrames{})
	if err != nil {
		t.Fatal(err)
	}
	text, err := n.manifest(filepath.Join(dir, "night.hcl"))
	if err != nil {
		t.Fatal(err)
	}
	if c := strings.Count(string(text), "/0010.ser"); c != 1 {
		t.Errorf("a broken clip is excepted %d times", c)
	}
	var told bytes.Buffer
	n.tell(&told)
	if lines := strings.Count(told.String(), "\n"); lines > 20 || !strings.Contains(told.String(), "292 more") {
		t.Errorf("told in %d lines:\n%s", lines, told.String())
	}
}
