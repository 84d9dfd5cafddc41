package main

import (
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"plenilune/cache"
	"plenilune/pipeline"
)

var update = flag.Bool("update", false, "write the digests as they are now")

const goldenFile = "../../testdata/golden/versions.txt"

// TestVersions guards old caches: for every part it holds the version, a digest of
// what it is asked on the small night (settings and inputs) and one of what it makes. Another digest under an old version would let
// a newer program take results of an older one for its own.
func TestVersions(t *testing.T) {
	exe := program(t)
	dir, manifest := nightIn(t, exe)
	out := filepath.Join(dir, "out")
	if b, err := exec.Command(exe, "run", manifest, "-o", out, "--cache", filepath.Join(dir, "cache")).CombinedOutput(); err != nil {
		t.Fatalf("run: %v\n%s", err, b)
	}
	files := []string{"disk.png", "disk-linear.tif", "disk-small.jpg", "disk"}
	for i := range files {
		files[i] = filepath.Join(out, files[i])
	}
	files = append(files, panelsOf(t, exe, dir, manifest)...)
	made := map[string][]string{} // part and version → outputs
	for _, file := range files {
		b, err := recordOf(file)
		if err != nil {
			t.Fatal(err)
		}
		r, err := pipeline.ParseRecord(b)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range r.Parts {
			l, err := p.Line()
			if err != nil {
				t.Fatal(err)
			}
			for port, id := range p.Outputs {
				line := p.Key.String() + " " + port + " " + id.String()
				if name := l.Part + " " + l.Version; !slices.Contains(made[name], line) {
					made[name] = append(made[name], line)
				}
			}
		}
	}
	var lines []string
	for name, outs := range made {
		slices.Sort(outs)
		var keys, ids []string
		for _, o := range outs {
			key, id, _ := strings.Cut(o, " ")
			keys, ids = append(keys, key), append(ids, id)
		}
		lines = append(lines, fmt.Sprintf("%s asked %s made %s", name, digest(keys), digest(ids)))
	}
	slices.Sort(lines)
	if len(lines) < 12 {
		t.Fatalf("only %d parts: %v", len(lines), lines)
	}
	want, err := os.ReadFile(goldenFile)
	if err != nil {
		t.Fatal(err)
	}
	old, other := strings.Split(strings.TrimSpace(string(want)), "\n"), false
	for _, l := range lines {
		asked, _, _ := strings.Cut(l, " made ")
		switch {
		case slices.Contains(old, l):
		case slices.ContainsFunc(old, func(o string) bool { return strings.HasPrefix(o, asked+" made ") }):
			t.Errorf("%s\nmakes other bytes of equal settings and inputs under an old version: raise its Version, or old caches give wrong pictures", l)
			other = true
		case !*update:
			t.Errorf("%s\nis asked other things than before, since something before it changed: run this test with -update if that was meant", l)
		}
	}
	if len(old) != len(lines) && !*update {
		t.Errorf("%d parts of a night, %d before: run this test with -update if that was meant", len(lines), len(old))
	}
	if *update && !other { // no update makes up for a Version that was not raised
		if err := os.WriteFile(goldenFile, []byte(strings.Join(lines, "\n")+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// panelsOf keeps the panels of a night that was run as files, starts from them, and returns what was made.
func panelsOf(t *testing.T, exe, dir, manifest string) []string {
	t.Helper()
	night, err := os.ReadFile(manifest)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range [][2]string{{"keep", strings.Replace(string(night), "publish \"out\" {", `publish "out" {
  panels {
    stack  = stack.panels
    folder = "panels"
  }
  picture {
    image = stack.panels
    file  = "panel.tif"
    depth = "float32"
  }`, 1)}, {"start", `
panels "own" {
  files = ["keep-out/panels/*.fits"]
  filter {
    wavelength_nm = 807
  }
}
panels "other" {
  files = ["keep-out/panel-*.tif"]
}
publish "p" {
  panels {
    stack  = panels.own
    folder = "own"
  }
  panels {
    stack  = panels.other
    folder = "other"
  }
}
`}} {
		path := filepath.Join(filepath.Dir(manifest), m[0]+".hcl")
		if err := os.WriteFile(path, []byte(m[1]), 0o600); err != nil {
			t.Fatal(err)
		}
		if b, err := exec.Command(exe, "run", path, "--cache", filepath.Join(dir, "cache")).CombinedOutput(); err != nil {
			t.Fatalf("run: %v\n%s", err, b)
		}
	}
	var out []string
	for _, of := range []string{"own", "other"} {
		found, err := filepath.Glob(filepath.Join(filepath.Dir(manifest), "start-out", of, "*.fits"))
		if err != nil || len(found) < 2 {
			t.Fatalf("panels %v: %v", found, err)
		}
		out = append(out, found...)
	}
	return out
}

func digest(s []string) string { return cache.Sum([]byte(strings.Join(s, "\n"))).Short() }
