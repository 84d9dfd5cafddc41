package main

import (
	"flag"
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"plenilune/cache"
)

var update = flag.Bool("update", false, "write the digests as they are now")

const goldenFile = "../../testdata/golden/versions.txt"

// TestVersions guards old caches: for every kind of part it holds the version, a digest of what it is asked on the nights
// that need all kinds (settings and inputs) and one of what it makes. Another digest under an old version would let
// a newer program take results of an older one for its own.
func TestVersions(t *testing.T) {
	t.Parallel()
	exe := program(t)
	kinds := kindsSeen{}
	made := map[string][]string{}       // part and version → outputs
	carried := regexp.MustCompile(`^$`) // lines that cannot be made here
	for _, n := range everyKind {
		if n.turning {
			continue
		}
		done, ok := n.natively(t, exe, kinds)
		if !ok {
			carried = ofFFmpeg
			continue
		}
		for _, manifest := range n.manifests {
			for _, p := range done.works[manifest].steps {
				key := p.Key
				if n.film { // it names the FFmpeg that is here, and what follows is asked of a film of its making
					key = "of any FFmpeg"
				}
				if !n.film || ofFFmpeg.Match(p.text) {
					p.noteIn(t, made, key)
				}
			}
		}
	}
	kinds.complete(t)
	var lines []string
	for name, outs := range made {
		slices.Sort(outs)
		var keys, ids []string
		for _, o := range outs {
			key, id, _ := strings.Cut(o, "\x00")
			keys, ids = append(keys, key), append(ids, id)
		}
		lines = append(lines, fmt.Sprintf("%s asked %s made %s", name, digest(keys), digest(ids)))
	}
	want, err := os.ReadFile(goldenFile)
	if err != nil {
		t.Fatal(err)
	}
	old, other := strings.Split(strings.TrimSpace(string(want)), "\n"), false
	for _, l := range old {
		if carried.MatchString("part " + l) {
			lines = append(lines, l)
		}
	}
	slices.Sort(lines)
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

var versionOfAction = regexp.MustCompile(`(?m)^part (\S+) ([0-9]+)$`)

// ofFFmpeg tells the parts that give a program of the machine's own work, of any version alike.
var ofFFmpeg = regexp.MustCompile(`(?m)^part captures/(lay-)?film `)

// noteIn adds what a part was asked, by its key, and made under its name and version.
func (p partDone) noteIn(t *testing.T, made map[string][]string, key string) {
	t.Helper()
	m := versionOfAction.FindSubmatch(p.text)
	if m == nil {
		t.Fatalf("%s: no part and version in %q", p.Step, p.text)
	}
	name := string(m[1]) + " " + string(m[2])
	for _, o := range p.outputs {
		line := key + "\x00" + o.Port + " " + o.ID.String()
		if !slices.Contains(made[name], line) {
			made[name] = append(made[name], line)
		}
	}
}

func digest(s []string) string { return cache.Sum([]byte(strings.Join(s, "\n"))).Short() }
