package pipeline

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plenilune/cache"
)

// verify makes the bench's night anew from a manifest and compares it.
func (b *bench) verify(text string) Proof {
	b.t.Helper()
	c, err := cache.Open(b.t.Context(), b.t.TempDir(), cache.Options{})
	if err != nil {
		b.t.Fatal(err)
	}
	defer c.Close()
	read := func(path string) ([]byte, error) {
		whole, err := os.ReadFile(path)
		if err != nil {
			return nil, err
		}
		at := bytes.LastIndexByte(whole, '\n')
		if at < 0 {
			return nil, errors.New("there is no record in it")
		}
		return whole[at+1:], nil
	}
	o := Options{OutDir: filepath.Join(b.dir, "out"), Jobs: 2, Memory: 1 << 20}
	proofs, _, err := Verify(b.t.Context(), b.load(text), c, o, read)
	if err != nil && !errors.Is(err, ErrIncomplete) {
		b.t.Fatal(err)
	}
	if len(proofs) != 1 || proofs[0].File != "sum.txt" {
		b.t.Fatalf("proofs %+v, want one of sum.txt", proofs)
	}
	return proofs[0]
}

func TestVerify(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha"})
	b.must(fakeManifest, Options{})
	out := filepath.Join(b.dir, "out", "sum.txt")
	good, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	if p := b.verify(fakeManifest); p.State != Proven || p.ID != cache.Sum(good) {
		t.Errorf("right after the run: %+v", p)
	}

	// Glue between one letter and nothing glues nothing: another recipe, the same picture.
	p := b.verify(strings.Replace(fakeManifest, "clips = clips.all", "clips = clips.all\n  glue = \"+\"", 1))
	if want := (Change{"setting glue", `"-"`, `"+"`}); p.State != Lineage || p.Step != "sum.s/join" || len(p.Change) != 1 || p.Change[0] != want {
		t.Errorf("with other glue: %+v, want %q at sum.s/join and %+v", p, Lineage, want)
	}

	// Another clip.
	b.clip("b", "beta")
	if p := b.verify(fakeManifest); p.State != Differs || p.Step != "sum.s/join" || p.Reason != "inputs differ" {
		t.Errorf("with another clip: %+v", p)
	}
	if err := os.Remove(filepath.Join(b.dir, "clips", "b")); err != nil {
		t.Fatal(err)
	}

	// The clip that it was made from is another one now.
	b.clip("a", "omega")
	p = b.verify(fakeManifest)
	if p.State != Differs || !strings.HasPrefix(p.Step, "clips.all:") || p.Reason != "inputs differ" || len(p.Change) != 1 {
		t.Errorf("with the clip replaced: %+v", p)
	}
	b.clip("a", "alpha")

	// A file touched afterwards, one without a record, one that is gone.
	for name, bad := range map[string][]byte{"touched": append([]byte("A"), good[1:]...), "without record": []byte("a")} {
		if err := os.WriteFile(out, bad, 0o666); err != nil {
			t.Fatal(err)
		}
		if p := b.verify(fakeManifest); p.State != Differs || p.Reason == "" {
			t.Errorf("%s: %+v", name, p)
		}
		if stands, err := os.ReadFile(out); err != nil || !bytes.Equal(stands, bad) {
			t.Errorf("%s: verify changed the file", name)
		}
	}
	if err := os.Remove(out); err != nil {
		t.Fatal(err)
	}
	if p := b.verify(fakeManifest); p.State != Absent {
		t.Errorf("gone: %+v", p)
	}
}

// A record whose part gave another result from equal settings and inputs is told apart from one of another recipe.
func TestVerifyNamesAResultThatDiffers(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha"})
	b.must(fakeManifest, Options{})
	out := filepath.Join(b.dir, "out", "sum.txt")
	whole, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	r, err := ParseRecord(b.record())
	if err != nil {
		t.Fatal(err)
	}
	r.Parts[0].Outputs["word"] = cache.Sum([]byte("another"))
	rec, err := r.encode()
	if err != nil {
		t.Fatal(err)
	}
	head := whole[:bytes.LastIndexByte(whole, '\n')+1]
	if err := os.WriteFile(out, append(head, rec...), 0o666); err != nil {
		t.Fatal(err)
	}
	p := b.verify(fakeManifest)
	if !strings.HasPrefix(p.Step, "clips.all:") || !strings.Contains(p.Reason, "equal settings and inputs") {
		t.Errorf("%+v", p)
	}
}
