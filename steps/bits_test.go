package steps_test

import (
	"bufio"
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// Results are the same bytes on every architecture only if no product and sum are
// rounded as one. arm64 has instructions for that and the compiler uses them,
// also across statements, wherever no explicit conversion stands between; so the
// proof is in what it makes of our code for arm64.
var fused = regexp.MustCompile(`\t(FN?M(?:ADD|SUB)[SD])\t`)

// Of package math, only what is exact may be called: the rest has assembly of its own on some architectures, or forms that the
// compiler may fuse; steps/kernel/portable stands in for it.
var callsMath = regexp.MustCompile(`\t(?:CALL|JMP|B)\tmath\.(?:arch)?(\w+)\(`)

var exact = regexp.MustCompile(`^(?i:abs|ceil|copysign|dim|floor|frexp|inf|isinf|isnan|ldexp|max|min|mod|modf|nan|remainder|round|roundtoeven|signbit|sqrt|trunc|float(32|64)(bits|frombits))$`)

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
	root, err := filepath.Abs("..")
	if err != nil {
		t.Fatal(err)
	}
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
			place = strings.TrimPrefix(m[1], root+"/")
		}
		if m := fused.FindStringSubmatch(line); m != nil {
			complain(fmt.Sprintf("%s: in %s a product and a sum are fused (%s): write float32(a*b)+c or float64(a*b)+c", place, name, m[1]))
		}
		if m := callsMath.FindStringSubmatch(line); m != nil && !exact.MatchString(m[1]) {
			complain(fmt.Sprintf("%s: %s calls math.%s: use steps/kernel/portable", place, name, m[1]))
		}
	}
	if err := lines.Err(); err != nil {
		t.Fatal(err)
	}
	if functions < 5000 {
		t.Fatalf("the listing has only %d functions: did the compiler's format change?", functions)
	}
	for _, p := range []string{"main", "plenilune/cache", "plenilune/pipeline", "plenilune/steps/mosaic"} {
		if !bytes.Contains(listing, []byte("\n"+p+".")) {
			t.Errorf("package %s is not in the listing", p)
		}
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
	if m := callsMath.FindSubmatch(listing); m == nil || exact.Match(m[1]) {
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

// listingOf compiles all packages of the module at dir for arm64 and returns the compiler's listing.
func listingOf(t *testing.T, dir string) []byte {
	t.Helper()
	cmd := exec.Command("go", "build", "-gcflags=plenilune/...=-S", "-o", os.DevNull, "plenilune/...")
	cmd.Dir = dir
	cmd.Env = forARM64()
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatal(fmt.Errorf("compile for arm64: %w\n%s", err, tail(out)))
	}
	return out
}

func forARM64() []string {
	return append(os.Environ(), "GOOS=linux", "GOARCH=arm64", "CGO_ENABLED=0", "GOFLAGS=", "GOWORK=off")
}

func tail(b []byte) []byte { return b[max(0, len(b)-2000):] }
