//go:build unix

package main

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"errors"
	"html"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// Hostile texts end every kind of place that they could stand in. What turns the direction of writing is refused in a title; a file
// may have it in its name, which is told on the terminal only.
const (
	evilTitle = `</script><script>evil()</script>"'--><img src=x onerror=evil()>&amp;]]> \"evil`
	evilName  = "<script>evil()<img src=x onerror=evil()>\"'&amp;]]>\u202e\u2066evil"
)

// A title stays text in everything that is published; what the files of clips and panels are called is not published at all.
func TestNamesStayText(t *testing.T) {
	t.Parallel()
	dir, manifest := nightIn(t, "plenilune")
	clips, err := filepath.Glob(filepath.Join(dir, "clips", "*.ser"))
	if err != nil || len(clips) < 2 {
		t.Fatalf("%v, %v", clips, err)
	}
	cut := filepath.Join(dir, "clips", evilName+".ser") // a warning names it
	if err := errors.Join(os.Rename(clips[0], cut), os.Truncate(cut, 200000)); err != nil {
		t.Fatal(err)
	}
	titled(t, manifest)
	out, pack := filepath.Join(dir, "out"), filepath.Join(dir, "pack.zip")
	said := plenilune(t, "run", manifest, "-o", out, "--cache", filepath.Join(dir, "cache"))
	if !strings.Contains(said, "(clip-cut-short)") || strings.ContainsRune(said, '\u202e') {
		t.Errorf("the run said\n%s", said)
	}
	plenilune(t, "pack", manifest, "--from", out, "--cache", filepath.Join(dir, "cache"), "-o", pack, "--with-panels", "--with-clips")
	if found := staysText(t, os.DirFS(out)); found < 3 {
		t.Errorf("the title was found in %d files only: this test looks at little", found)
	}
	z, err := zip.OpenReader(pack)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	if found := staysText(t, z); found < 3 {
		t.Errorf("the title was found in %d files of the pack only", found)
	}

	// The same of panels that somebody else stacked.
	panels := filepath.Join(dir, "panels")
	b, err := os.ReadFile(filepath.Join(out, "disk.tif"))
	if err := errors.Join(err, os.Mkdir(panels, 0o777), os.WriteFile(filepath.Join(panels, evilName+".tif"), b, 0o666)); err != nil {
		t.Fatal(err)
	}
	manifest, out = filepath.Join(dir, "panels.hcl"), filepath.Join(dir, "panels-out")
	plenilune(t, "new", panels, "-o", manifest)
	titled(t, manifest)
	plenilune(t, "run", manifest, "-o", out, "--cache", filepath.Join(dir, "cache"))
	if found := staysText(t, os.DirFS(out)); found < 3 {
		t.Errorf("the title was found in %d files only of what was made from panels", found)
	}
}

// titled gives a manifest the hostile title.
func titled(t *testing.T, manifest string) {
	t.Helper()
	b, err := os.ReadFile(manifest)
	if err != nil {
		t.Fatal(err)
	}
	quoted := strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(evilTitle)
	text := strings.Replace(string(b), `title = "A night of the Moon"`, `title = "`+quoted+`"`, 1)
	if text == string(b) {
		t.Fatal("the manifest has no title to change")
	}
	if err := os.WriteFile(manifest, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
}

func plenilune(t *testing.T, args ...string) string {
	t.Helper()
	b, err := exec.Command("plenilune", args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %v\n%s", args, err, b)
	}
	return string(b)
}

// staysText holds that the hostile texts are nothing but text in all files, and returns in how many the title stands.
func staysText(t *testing.T, files fs.FS) (titles int) {
	t.Helper()
	err := fs.WalkDir(files, ".", func(name string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		b, err := fs.ReadFile(files, name)
		if err != nil {
			return err
		}
		told := false
		switch filepath.Ext(name) {
		case ".html", ".svg":
			if strings.Contains(string(b), "<script>evil") || bytes.Contains(b, []byte("<img src=x")) || bytes.Contains(b, []byte(`"'--`)) || bytes.Contains(b, []byte(`"'&`)) {
				t.Errorf("%s holds a hostile text as it is", name)
			}
			told = strings.Contains(html.UnescapeString(string(b)), evilTitle)
		case ".js":
			told = scriptStaysText(t, name, b)
		case ".json":
			var v any
			if err := json.Unmarshal(b, &v); err != nil {
				t.Errorf("%s: %v", name, err)
			}
			told = holdsText(v)
		case ".tif", ".png", ".jpg", ".fits":
			if bytes.Contains(b, []byte("evil")) {
				t.Errorf("%s holds a hostile text: its packet of metadata has no place for one", name)
			}
		}
		if bytes.Contains(b, []byte("\u202e")) {
			t.Errorf("%s tells what a file is called", name)
		}
		if told {
			titles++
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return titles
}

// scriptStaysText looks at a script that is one value.
func scriptStaysText(t *testing.T, name string, b []byte) bool {
	t.Helper()
	if !bytes.Contains(b, []byte("evil")) {
		return false
	}
	if bytes.ContainsAny(b, "<\u2028\u2029") {
		t.Errorf("%s could end the script: %s", name, b)
	}
	from, to := bytes.IndexAny(b, "{["), bytes.LastIndexAny(b, "}]")
	var v any
	if from < 0 || json.Unmarshal(b[from:to+1], &v) != nil {
		t.Errorf("%s is more than a value: %s", name, b)
	}
	return holdsText(v)
}

// holdsText tells whether the title is a text of a JSON value.
func holdsText(v any) bool {
	switch v := v.(type) {
	case string:
		return strings.Contains(v, evilTitle)
	case []any:
		for _, e := range v {
			if holdsText(e) {
				return true
			}
		}
	case map[string]any:
		for _, e := range v {
			if holdsText(e) {
				return true
			}
		}
	}
	return false
}
