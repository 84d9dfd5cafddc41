package steps_test

import (
	"bufio"
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"
)

// Results are the same bytes on every architecture only if no product and sum are
// rounded as one. arm64 has instructions for that and the compiler uses them,
// also across statements, wherever no explicit conversion stands between; so the
// proof is in what it makes of our code for arm64.
var fused = regexp.MustCompile(`\t(FN?M(?:ADD|SUB)[SD])\t`)

// Of package math, these have assembly of their own on some architectures, or
// forms that the compiler may fuse; steps/kernel/portable stands in for them.
var unportable = regexp.MustCompile(`\tCALL\tmath\.(?:arch)?(Acosh?|Asinh?|Atan2?|Atanh|Cbrt|Cosh?|Erf\w*|Exp2?|Expm1|Gamma|Hypot|J[01n]|Lgamma|Log|Log10|Log1p|Log2|Pow|Pow10|Sin|Sincos|Sinh|Tan|Tanh|Y[01n]|cos|sin|exp\w*|log\w*|atan2?|pow|hypot|sincos|tan|asin|acos|cbrt)\(`)

var (
	function = regexp.MustCompile(`^(\S+) STEXT `)
	position = regexp.MustCompile(`\(([^()]*:\d+)\)`)
)

func TestNoFusedArithmetic(t *testing.T) {
	listing := arm64Listing(t)
	var name string
	functions := 0
	said := map[string]bool{}
	complain := func(text string) {
		if !said[text] {
			said[text] = true
			t.Error(text)
		}
	}
	at := regexp.MustCompile(`^.*/(steps/)`)
	lines := bufio.NewScanner(bytes.NewReader(listing))
	lines.Buffer(nil, 1<<22)
	for lines.Scan() {
		line := lines.Text()
		if m := function.FindStringSubmatch(line); m != nil {
			name = m[1]
			functions++
			continue
		}
		place := ""
		if m := position.FindStringSubmatch(line); m != nil {
			place = at.ReplaceAllString(m[1], "$1")
		}
		if m := fused.FindStringSubmatch(line); m != nil {
			complain(fmt.Sprintf("%s: in %s a product and a sum are fused (%s): write float32(a*b)+c or float64(a*b)+c", place, name, m[1]))
		}
		if m := unportable.FindStringSubmatch(line); m != nil {
			complain(fmt.Sprintf("%s: %s calls math.%s: use steps/kernel/portable", place, name, m[1]))
		}
	}
	if err := lines.Err(); err != nil {
		t.Fatal(err)
	}
	if functions < 300 {
		t.Fatalf("the listing has only %d functions: did the compiler's format change?", functions)
	}
}

// TestFusedArithmeticIsFound proves that the test above can fail.
func TestFusedArithmeticIsFound(t *testing.T) {
	dir := t.TempDir()
	source := "package p\n\nimport \"math\"\n\nfunc F(a, b, c float32) float32 { return a*b + c }\n\nfunc G(x float64) float64 { return math.Sin(x) }\n"
	for name, text := range map[string]string{"go.mod": "module plenilune\n\ngo 1.26\n", "steps/p.go": source} {
		if err := os.MkdirAll(dir+"/steps", 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(dir+"/"+name, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	listing := listingOf(t, dir)
	if !fused.Match(listing) {
		t.Error("a*b + c was not recognised")
	}
	if !unportable.Match(listing) {
		t.Error("math.Sin was not recognised")
	}
	if !function.MatchString(firstWith(listing, "plenilune/steps.F")) {
		t.Error("the function's name was not recognised")
	}
}

func firstWith(listing []byte, word string) string {
	for line := range strings.SplitSeq(string(listing), "\n") {
		if strings.Contains(line, word) {
			return line
		}
	}
	return ""
}

func arm64Listing(t *testing.T) []byte { return listingOf(t, "..") }

// listingOf compiles all below steps of the module at dir for arm64 and returns
// the compiler's listing.
func listingOf(t *testing.T, dir string) []byte {
	t.Helper()
	cmd := exec.Command("go", "build", "-gcflags=plenilune/steps/...=-S", "-o", os.DevNull, "plenilune/steps/...")
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "GOOS=linux", "GOARCH=arm64", "CGO_ENABLED=0", "GOFLAGS=", "GOWORK=off")
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatal(fmt.Errorf("compile for arm64: %w\n%s", err, tail(out)))
	}
	return out
}

func tail(b []byte) []byte { return b[max(0, len(b)-2000):] }
