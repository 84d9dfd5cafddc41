package pipeline

import (
	"bytes"
	"errors"
	"os"
	"testing"

	"plenilune/cache"
)

// A pack with its clips proves itself; of one whose clips are gone it is said which.
func TestVerifyPack(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha", "b": "beta"})
	b.must(fakeManifest, Options{})
	o := b.packOptions()
	o.Clips = true
	if p, missing := verifyBytes(t, b, b.mustPack(fakeManifest, o)); len(missing) != 0 || len(p) != 1 || p[0].State != Proven {
		t.Errorf("with its clips: %+v, missing %v", p, missing)
	}
	if p, missing := verifyBytes(t, b, b.mustPack(fakeManifest, b.packOptions())); len(missing) != 2 || missing[0].Label() == "" || len(p) != 1 || p[0].State != Unmade {
		t.Errorf("without clips: %+v, missing %v", p, missing)
	}
	// The manifest says another thing than what was run.
	es := entries(t, b.mustPack(fakeManifest, o))
	es = altered(es, "night.hcl", func(m []byte) []byte {
		return bytes.Replace(m, []byte("clips = clips.all"), []byte("clips = clips.all\n  glue = \"+\""), 1)
	})
	body := inner(t, archive(t, es), "night.hcl")
	es = altered(es, "pack.json", func(x []byte) []byte { return relisted(t, x, "night.hcl", body) })
	p, _ := verifyBytes(t, b, archive(t, es))
	if want := (Change{"setting glue", `"-"`, `"+"`}); len(p) != 1 || p[0].State != Differs || p[0].Step != "sum.s/join" || len(p[0].Change) != 1 || p[0].Change[0] != want {
		t.Errorf("with other glue: %+v, want it to differ first at sum.s/join, by %+v", p, want)
	}
}

func verifyBytes(t *testing.T, b *bench, pack []byte) ([]Proof, []PackInput) {
	t.Helper()
	p, err := openPacked(pack)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	u, err := p.LayOutToVerify(t.Context(), dir, b.steps)
	if err != nil {
		t.Fatal(err)
	}
	src, err := os.ReadFile(u.Manifest)
	if err != nil {
		t.Fatal(err)
	}
	m, d := LoadManifest(u.Manifest, src, b.steps, nil)
	if d.HasErrors() {
		t.Fatal(d)
	}
	_ = m.ResolveFiles("")
	c, err := cache.Open(t.Context(), t.TempDir(), cache.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	proofs, missing, err := VerifyPack(t.Context(), p, m, nil, c, Options{Jobs: 2, Memory: 1 << 20})
	if err != nil && !errors.Is(err, ErrIncomplete) {
		t.Fatal(err)
	}
	return proofs, missing
}
