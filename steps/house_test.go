package steps_test

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// allowed says which packages of the module, beside the standard library and what
// stands in outside, each part of the house may import. A name ending in / stands
// for all below it; SELF for the importing package's own folder and below.
var allowed = []struct{ who, may string }{
	{"steps/kernel/", "steps/kernel/"},
	{"steps/format/", "steps/format/ steps/kernel/plane steps/kernel/lanes"},
	{"steps", "steps/ pipeline"},
	{"steps/", "SELF steps/kernel/ steps/format/ pipeline"},
	{"pipeline/pipelinetest", "pipeline cache"},
	{"pipeline", "cache"},
	{"cache", "SELF"},
	{"examples", ""},
	{"cmd/", "cmd/ pipeline cache examples steps steps/"},
}

// outside says which modules may be imported where.
var outside = map[string][]string{
	"cache":    {"github.com/dgraph-io/badger/v4", "github.com/gofrs/flock", "github.com/klauspost/compress", "golang.org/x/sys", "golang.org/x/sync"},
	"pipeline": {"github.com/hashicorp/hcl/v2", "github.com/zclconf/go-cty", "golang.org/x/sync", "golang.org/x/text"},
	"steps":    {"golang.org/x/sys/cpu", "github.com/mmcloughlin/avo"}, // steps/kernel/lanes alone, see judge
	// the typeface, and what fills its outlines
	"steps/kernel/lettering": {"golang.org/x/image/font", "golang.org/x/image/math/fixed", "golang.org/x/image/vector"},
	"cmd":                    {"github.com/spf13/cobra", "github.com/vbauerster/mpb/v8", "github.com/dustin/go-humanize", "golang.org/x/term", "golang.org/x/sys", "golang.org/x/sync"},
}

// forbidden names packages of the standard library that would let the world in.
var forbidden = map[string][]string{
	"steps/kernel/": {"os", "os/exec", "time", "net", "net/http", "io/ioutil", "runtime", "math/rand"},
	"steps/":        {"os", "os/exec", "net", "net/http", "runtime", "math/rand", "path/filepath"},
	"pipeline":      {"os/exec", "net", "net/http", "math/rand"},
}

// TestImports holds the direction in which the house is built: cmd → pipeline,
// steps, cache; steps → pipeline, kernel, format; pipeline → cache; a stage never
// imports another.
func TestImports(t *testing.T) {
	seen := 0
	err := filepath.WalkDir("..", func(file string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if e.IsDir() && (e.Name() == "testdata" || strings.HasPrefix(e.Name(), ".") && e.Name() != "..") {
			return fs.SkipDir
		}
		if !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go") {
			return nil
		}
		f, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel("..", filepath.Dir(file))
		if err != nil {
			return err
		}
		seen++
		for _, im := range f.Imports {
			p, err := strconv.Unquote(im.Path.Value)
			if err != nil {
				return err
			}
			if why := judge(filepath.ToSlash(rel), p); why != "" {
				t.Errorf("%s imports %s: %s", filepath.ToSlash(file), p, why)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if seen < 50 {
		t.Fatalf("only %d files were looked at: this test looks in the wrong place", seen)
	}
}

// testsOnly serve tests alone: one finds programs of the machine, the other makes files and measures what opens them.
var testsOnly = []string{"steps/format/outsidetest", "steps/format/formattest"}

func judge(who, what string) string {
	own, inside := strings.CutPrefix(what, "plenilune/")
	switch {
	case inside:
		return judgeInside(who, own)
	case strings.Contains(strings.SplitN(what, "/", 2)[0], "."):
		top, _, _ := strings.Cut(who, "/")
		for _, m := range outside[who] {
			if what == m || strings.HasPrefix(what, m+"/") {
				return ""
			}
		}
		if top == "steps" && !strings.HasPrefix(who, "steps/kernel/lanes") {
			return "only steps/kernel/lanes asks what the processor can do"
		}
		for _, m := range outside[top] {
			if what == m || strings.HasPrefix(what, m+"/") {
				return ""
			}
		}
		return "no such module is agreed on for " + top
	}
	if slices.Contains(testsOnly, who) {
		return ""
	}
	for prefix, list := range forbidden {
		if strings.HasPrefix(who+"/", prefix) || who == prefix {
			for _, f := range list {
				if what == f {
					return "steps see no path, clock, environment or number of cores"
				}
			}
		}
	}
	return ""
}

func judgeInside(who, what string) string {
	if slices.Contains(testsOnly, what) {
		return "it serves tests alone"
	}
	for _, rule := range allowed {
		if who != rule.who && !(strings.HasSuffix(rule.who, "/") && strings.HasPrefix(who, rule.who)) {
			continue
		}
		for _, may := range strings.Fields(rule.may) {
			if may == "SELF" {
				may = path.Join(strings.SplitN(who, "/", 3)[:min(2, strings.Count(who, "/")+1)]...) + "/"
			}
			if what == may || strings.HasSuffix(may, "/") && strings.HasPrefix(what+"/", may) {
				return ""
			}
		}
		return "the house allows " + who + " only: " + rule.may
	}
	return "there is no rule for " + who
}

// The rules must be able to say no.
func TestImportRulesBite(t *testing.T) {
	for who, what := range map[string]string{
		"steps/mosaic":       "plenilune/steps/stacks",
		"steps/stacks":       "plenilune/cache",
		"pipeline":           "plenilune/steps/mosaic",
		"steps/kernel/warp":  "plenilune/pipeline",
		"steps/kernel/plane": "os",
		"steps/format/tiff":  "plenilune/" + testsOnly[0],
		"steps/format/fits":  "plenilune/" + testsOnly[1],
		"steps/format/ser":   "plenilune/steps/captures",
		"cache":              "plenilune/pipeline",
		"steps/frames":       "os",
		"steps/kernel/warp2": "golang.org/x/sys/cpu",
		"steps/finish":       "golang.org/x/image/font",
		"cmd/plenilune":      "example.org/anything",
	} {
		if judge(who, what) == "" {
			t.Errorf("%s may import %s", who, what)
		}
	}
	if _, err := os.Stat("house_test.go"); err != nil {
		t.Fatal("this test runs in another folder than steps/")
	}
}
