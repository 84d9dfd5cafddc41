package main

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"plenilune/cache"
	"plenilune/steps/simulate"
)

// TestScripts holds every promise of README and help, a script each.
func TestScripts(t *testing.T) {
	t.Parallel()
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(e *testscript.Env) error {
			e.Setenv("XDG_CACHE_HOME", filepath.Join(e.WorkDir, ".cachehome"))
			e.Setenv("NO_COLOR", "1")
			root, err := filepath.Abs("../..")
			if err != nil {
				return err
			}
			e.Setenv("EXAMPLES", filepath.Join(root, "examples"))
			return nil
		},
		Condition: scriptCondition,
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"night":       scriptNight,
			"factratio":   scriptFactRatio,
			"sample":      scriptSample,
			"colournight": scriptColourNight,
			"grid":        scriptGrid,
			"recording":   scriptRecording,
			"foretold":    scriptForetold,
			"smalldisk":   scriptSmallDisk,
			"edit":        scriptEdit,
			"events":      scriptEvents,
			"absent":      scriptAbsent,
			"textkeys":    scriptTextKeys,
			"nobytes":     scriptNoBytes,
			"cut":         scriptCut,
			"touch":       scriptTouch,
			"samples":     scriptSamples,
			"slope":       scriptSlope,
			"soft":        scriptSoft,
			"numbers":     scriptNumbers,
			"turning":     scriptTurning,
			"damage":      scriptDamage,
			"flip":        scriptFlip,
			"ends":        scriptEnds,
			"binned":      scriptBinned,
			"turned":      scriptTurned,
			"flown":       scriptFlown,
			"private":     scriptPrivate,
			"repack":      scriptRepack,
			"crate":       scriptCrate,
			"byothers":    scriptByOthers,
			"rewrap":      scriptRewrap,
			"pictures":    scriptPictures,
			"samepixels":  scriptSamePixels,
		},
	})
}

// smallNight is made once for all scripts.
var smallNight = prepared("small-night", func(dir string) error {
	plan := simulate.Small()
	plan.Workers = 2
	_, err := plan.Shoot(context.Background(), folderSink{dir}, nil)
	return err
})

var smallCache = cacheOf("small", smallNight)

// scriptNight copies the small night: night [known] DIR, where known says that the cache has seen it. $CLIP0, $CLIP1, … are the
// names of its clips without ending, $PANEL0, $PANEL1, … those of their panels' files.
func scriptNight(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) > 0 && args[0] == "known" {
		knows(ts, smallCache)
		args = args[1:]
	}
	if neg || len(args) != 1 {
		ts.Fatalf("usage: night [known] DIR")
	}
	from, err := smallNight()
	ts.Check(err)
	ts.Check(os.CopyFS(ts.MkAbs(args[0]), os.DirFS(from)))
	// Files older than the resolution of time stamps, as on a real night.
	old := time.Now().Add(-time.Hour)
	ts.Check(filepath.WalkDir(ts.MkAbs(args[0]), func(p string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		return os.Chtimes(p, old, old)
	}))
	clips, err := filepath.Glob(filepath.Join(ts.MkAbs(args[0]), "clips", "*.ser"))
	ts.Check(err)
	for i, c := range clips {
		ts.Setenv(fmt.Sprintf("CLIP%d", i), strings.TrimSuffix(filepath.Base(c), ".ser"))
		b, err := os.ReadFile(c)
		ts.Check(err)
		ts.Setenv(fmt.Sprintf("PANEL%d", i), "panel-"+cache.Sum(b).Short())
	}
}

// scriptEdit replaces a text in a file: edit FILE OLD NEW.
func scriptEdit(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: edit FILE OLD NEW")
	}
	b, err := os.ReadFile(ts.MkAbs(args[0]))
	ts.Check(err)
	old, with := strings.ReplaceAll(args[1], `\n`, "\n"), strings.ReplaceAll(args[2], `\n`, "\n")
	if !bytes.Contains(b, []byte(old)) {
		ts.Fatalf("%s does not hold %q", args[0], old)
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), bytes.ReplaceAll(b, []byte(old), []byte(with)), 0o666))
}

// scriptEvents looks at a file of --json lines: events FILE CONDITION… where a
// condition is ran=N, cached=N, failed=N (of the summary; > and < too),
// step:REGEXP=STATE (some step's state), nostep:REGEXP=STATE, warning:CODE,
// nowarning:CODE (nowarning: forbids all), or onlywarning:CODE (no other, nor need there be that).
func scriptEvents(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: events FILE CONDITION…")
	}
	lines := eventLines(ts, args[0])
	for _, c := range args[1:] {
		if why := holds(lines, c); why != "" {
			ts.Fatalf("%s: %s", c, why)
		}
	}
}

// eventLines reads what --json printed.
func eventLines(ts *testscript.TestScript, file string) (lines []map[string]any) {
	s := bufio.NewScanner(strings.NewReader(ts.ReadFile(file)))
	s.Buffer(nil, 1<<20)
	for s.Scan() {
		var o map[string]any
		if err := json.Unmarshal(s.Bytes(), &o); err != nil {
			ts.Fatalf("not a JSON object: %q: %v", s.Text(), err)
		}
		lines = append(lines, o)
	}
	return lines
}

var summaryCondition = regexp.MustCompile(`^(ran|cached|failed|skipped)([=<>])(\d+)$`)

func holds(lines []map[string]any, c string) string {
	if m := summaryCondition.FindStringSubmatch(c); m != nil {
		last := lines[len(lines)-1]
		if last["event"] != "summary" {
			return fmt.Sprintf("the last line is %v, not a summary", last)
		}
		got, _ := last[m[1]].(float64)
		want, _ := strconv.ParseFloat(m[3], 64)
		if ok := map[string]bool{"=": got == want, "<": got < want, ">": got > want}[m[2]]; !ok {
			return fmt.Sprintf("it is %v", got)
		}
		return ""
	}
	if code, ok := strings.CutPrefix(c, "warning:"); ok {
		for _, l := range lines {
			if l["event"] == "warning" && l["code"] == code {
				return ""
			}
		}
		return "there is no such warning"
	}
	if code, ok := strings.CutPrefix(c, "nowarning:"); ok {
		for _, l := range lines {
			if l["event"] == "warning" && (code == "" || l["code"] == code) {
				return fmt.Sprintf("it warns: %v", l["text"])
			}
		}
		return ""
	}
	if code, ok := strings.CutPrefix(c, "onlywarning:"); ok {
		for _, l := range lines {
			if l["event"] == "warning" && l["code"] != code {
				return fmt.Sprintf("it warns: %v", l["text"])
			}
		}
		return ""
	}
	rest, no := strings.CutPrefix(c, "no")
	pattern, state, ok := strings.Cut(strings.TrimPrefix(rest, "step:"), "=")
	re, err := regexp.Compile(pattern)
	if !ok || err != nil {
		return "cannot be read"
	}
	found := ""
	for _, l := range lines {
		if name, _ := l["step"].(string); l["event"] == "step" && re.MatchString(name) && l["state"] == state {
			found = name
		}
	}
	if no && found != "" {
		return found + " is"
	}
	if !no && found == "" {
		return "no step is"
	}
	return ""
}

// scriptAbsent fails if a file matches: absent PATTERN….
func scriptAbsent(ts *testscript.TestScript, neg bool, args []string) {
	for _, a := range args {
		found, err := filepath.Glob(ts.MkAbs(a))
		ts.Check(err)
		if len(found) > 0 {
			ts.Fatalf("%v stands there", found)
		}
	}
}

// scriptTextKeys proves with SHA-256 that the text printed under each key of a
// trace has that key: textkeys TRACE IMAGE.
func scriptTextKeys(ts *testscript.TestScript, neg bool, args []string) {
	keys := regexp.MustCompile(`key ([0-9a-f]{64})`).FindAllStringSubmatch(ts.ReadFile(args[0]), -1)
	if len(keys) < 5 {
		ts.Fatalf("only %d keys in %s", len(keys), args[0])
	}
	for _, k := range keys {
		var out, errs bytes.Buffer
		if code := run([]string{"trace", ts.MkAbs(args[1]), "--text", k[1]}, &out, &errs); code != 0 {
			ts.Fatalf("trace --text %s: exit %d: %s", k[1], code, errs.String())
		}
		if got := fmt.Sprintf("%x", sha256.Sum256(out.Bytes())); got != k[1] {
			ts.Fatalf("the text of %s has the SHA-256 %s", k[1], got)
		}
	}
}

// scriptNoBytes fails if a file holds a text: nobytes FILE TEXT….
func scriptNoBytes(ts *testscript.TestScript, neg bool, args []string) {
	b, err := os.ReadFile(ts.MkAbs(args[0]))
	ts.Check(err)
	for _, text := range args[1:] {
		if bytes.Contains(b, []byte(text)) {
			ts.Fatalf("%s holds %q", args[0], text)
		}
	}
}

// scriptCut cuts a file to a share of its length in per cent: cut FILE PCT.
func scriptCut(ts *testscript.TestScript, neg bool, args []string) {
	st, err := os.Stat(ts.MkAbs(args[0]))
	ts.Check(err)
	pct, err := strconv.ParseInt(args[1], 10, 64)
	ts.Check(err)
	ts.Check(os.Truncate(ts.MkAbs(args[0]), st.Size()*pct/100))
}

// scriptTouch gives files another time stamp: touch FILE….
func scriptTouch(ts *testscript.TestScript, neg bool, args []string) {
	when := time.Now().Add(-30 * time.Minute)
	for _, a := range args {
		ts.Check(os.Chtimes(ts.MkAbs(a), when, when))
	}
}

// The manifest that the README shows is the example that a script runs.
func TestReadmeShowsTheExample(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	example, err := os.ReadFile("../../examples/disk.hcl")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, ok := bytes.Cut(readme, []byte("```hcl\n"))
	shown, _, _ := bytes.Cut(rest, []byte("```"))
	_, body, _ := bytes.Cut(example, []byte("\n")) // without its first remark
	if !ok || !bytes.Equal(shown, body) {
		t.Errorf("the README shows\n%s\nthe example is\n%s", shown, body)
	}
}
