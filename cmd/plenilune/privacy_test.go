//go:build unix

package main

import (
	"bytes"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"plenilune/steps/publish"
)

// home is how a place near home may be spelled: in degrees, cut or rounded, in radians, in minutes and seconds of arc.
var home = regexp.MustCompile(`46\.87\d|46\.88|7\.543|7\.54\d\d|0\.8181|0\.8182|0\.13165|46[°: ]+52|7[°: ]+32[′': ]+35|1234\.5|latitude_deg|longitude_deg|elevation_m`)

// No published byte tells where the observer stood, where the files lay, on which machine, or what the clips were called.
func TestNothingPublishedTellsWhereOrWho(t *testing.T) {
	t.Parallel()
	dir, manifest := nightIn(t, "plenilune")
	b, err := os.ReadFile(manifest)
	if err != nil {
		t.Fatal(err)
	}
	site := "night {\n  site {\n    latitude_deg  = 46.87654\n    longitude_deg = 7.54321\n    elevation_m   = 1234.5\n  }\n"
	text := strings.Replace(string(b), "night {\n", site, 1)
	kept := strings.Replace(text, "publish \"out\" {\n", "publish \"out\" {\n  panels {\n    stack  = stack.panels\n    folder = \"panels\"\n  }\n", 1)
	if text == string(b) || kept == text {
		t.Fatal("the manifest has no night block, or none called publish")
	}
	text = kept
	if err := os.WriteFile(manifest, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	clips, err := filepath.Glob(filepath.Join(dir, "clips", "*.ser"))
	if err != nil || len(clips) < 2 {
		t.Fatalf("%v, %v", clips, err)
	}
	for i, name := range []string{"grandmothers garden.ser", "balcony of aunt.ser"} {
		if err := os.Rename(clips[i], filepath.Join(dir, "clips", name)); err != nil {
			t.Fatal(err)
		}
	}
	out := filepath.Join(dir, "out")
	if b, err := exec.Command("plenilune", "run", manifest, "-o", out, "--cache", filepath.Join(dir, "cache")).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, b)
	}
	secrets := []string{dir, filepath.Base(filepath.Dir(dir)), "grandmothers", "balcony", "night.hcl"}
	if host, err := os.Hostname(); err == nil && len(host) > 4 {
		secrets = append(secrets, host)
	}
	if user := os.Getenv("USER"); len(user) > 4 {
		secrets = append(secrets, user)
	}
	records, panels := 0, 0
	err = filepath.WalkDir(out, func(p string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		b, err := os.ReadFile(p)
		if err != nil {
			return err
		}
		name, _ := filepath.Rel(out, p)
		all := [][]byte{b, []byte(name)}
		if strings.HasPrefix(filepath.ToSlash(name), "panels/") {
			panels++
		}
		if record, _, err := publish.ReadRecord(bytes.NewReader(b), int64(len(b))); err == nil && record != nil {
			records++
			all = append(all, record) // packed in the file
		}
		for i, b := range all {
			for _, s := range secrets {
				if bytes.Contains(b, []byte(s)) {
					t.Errorf("%s tells %q", name, s)
				}
			}
			if isText(name) || i > 0 {
				if m := home.Find(b); m != nil {
					t.Errorf("%s tells %q", name, m)
				}
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if records < 3+panels || panels < len(clips) {
		t.Errorf("only %d records and %d panels were found: the test looks at little", records, panels)
	}
}

// isText tells files in which digits that look like a place are one: in pixels they can stand by chance.
func isText(name string) bool {
	switch filepath.Ext(name) {
	case ".json", ".txt", ".html", ".js":
		return true
	}
	return false
}
