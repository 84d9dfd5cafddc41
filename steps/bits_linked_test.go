package steps_test

import (
	"bufio"
	"io"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// elsewhere are the beginnings of functions outside our packages that are rounded in their own way on arm64, with why they reach no
// picture, table, page or record.
var elsewhere = map[string]string{
	"runtime.":                                 "when garbage is collected",
	"math.":                                    "who calls it is looked at below",
	"math/rand.":                               "levels of lists in the cache's index",
	"math/big.nat.itoa":                        "a guess at a number of digits, put right afterwards",
	"github.com/dustin/go-humanize.":           "how sizes and times read",
	"github.com/dgraph-io/":                    "the cache's index",
	"github.com/klauspost/compress.":           "how tightly the cache is packed; values go by their content",
	"github.com/zclconf/go-cty/":               "functions, of which a manifest calls none",
	"golang.org/x/image/vector.(*Rasterizer).": "curves, which steps/kernel/lettering cuts itself; that nothing calls them is looked at below",
}

var (
	disassembled = regexp.MustCompile(`^TEXT (\S+)\(SB\)`)
	fusedCode    = regexp.MustCompile(`\t(FN?M(?:ADD|SUB)[SD]|VFML[AS])\s`)
	callsCurves  = regexp.MustCompile(`\t(?:CALL|JMP|B) golang\.org/x/image/vector\.\(\*Rasterizer\)\.(QuadTo|CubeTo)`)
	callsMathOf  = regexp.MustCompile(`\t(?:CALL|JMP|B) math\.(?:arch)?(\w+)`)
)

// roundedApart lists what in a program's disassembly for arm64 is fused, or calls what architectures have each of their own, outside
// of what is explained.
func roundedApart(code io.Reader) (said []string, functions int, err error) {
	name, seen := "", map[string]bool{}
	lines := bufio.NewScanner(code)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		line := lines.Text()
		if m := disassembled.FindStringSubmatch(line); m != nil {
			name = m[1]
			functions++
			continue
		}
		what := ""
		if m := fusedCode.FindStringSubmatch(line); m != nil {
			what = name + " fuses a product and a sum"
		} else if m := callsMathOf.FindStringSubmatch(line); m != nil && !exact.MatchString(m[1]) {
			what = name + " calls math." + m[1]
		} else if m := callsCurves.FindStringSubmatch(line); m != nil {
			what = name + " calls " + m[1] + " of a rasterizer"
		}
		if what != "" && !seen[what] && !explained(name) {
			seen[what] = true
			said = append(said, what)
		}
	}
	return said, functions, lines.Err()
}

func explained(name string) bool {
	for begins := range elsewhere {
		if strings.HasPrefix(name, begins) {
			return true
		}
	}
	return false
}

// TestNothingFusedIsLinked looks at the whole program, with all that it is built of: what another's package rounds otherwise on arm64
// must not reach a picture either.
func TestNothingFusedIsLinked(t *testing.T) {
	exe := filepath.Join(t.TempDir(), "plenilune-arm64")
	build := exec.Command("go", "build", "-o", exe, "plenilune/cmd/plenilune")
	build.Env = forARM64()
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("build for arm64: %v\n%s", err, tail(out))
	}
	dump := exec.Command("go", "tool", "objdump", exe)
	code, err := dump.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := dump.Start(); err != nil {
		t.Fatal(err)
	}
	said, functions, err := roundedApart(code)
	if err != nil {
		t.Fatal(err)
	}
	if err := dump.Wait(); err != nil {
		t.Fatal(err)
	}
	for _, s := range said {
		t.Errorf("%s: keep it out of the program, or explain in this file why it reaches no picture", s)
	}
	if functions < 10000 {
		t.Errorf("the program has only %d functions: did the format of go tool objdump change?", functions)
	}
}

// The lines are those of go tool objdump of Go 1.26.
func TestFusedCodeIsFound(t *testing.T) {
	const code = "TEXT golang.org/x/image/vector.(*Rasterizer).QuadTo(SB) vector.go\n" + // explained
		"  vector.go:52\t0x31544\t1f420020\tFMADDS F2, F0, F1, F0\t\n" +
		"TEXT plenilune/steps/frames.look(SB) look.go\n" +
		"  look.go:7\t0x31548\t1f608821\tFNMSUBD F0, F2, F1, F1\t\n" +
		"  look.go:8\t0x3154c\t97ffff77\tCALL math.archExp.abi0(SB)\t\n" +
		"  look.go:9\t0x31550\t97ffff78\tCALL math.ldexp(SB)\t\n" +
		"TEXT golang.org/x/image/font/opentype.(*Face).Glyph(SB) opentype.go\n" +
		"  opentype.go:241\t0x31558\t97ffff79\tCALL golang.org/x/image/vector.(*Rasterizer).QuadTo(SB)\t\n" +
		"TEXT runtime.fastexprand(SB) fastlog2.go\n" +
		"  fastlog2.go:26\t0x31554\t1f420020\tFMADDD F2, F0, F1, F0\t\n"
	said, functions, err := roundedApart(strings.NewReader(code))
	want := "plenilune/steps/frames.look fuses a product and a sum\nplenilune/steps/frames.look calls math.Exp\n" +
		"golang.org/x/image/font/opentype.(*Face).Glyph calls QuadTo of a rasterizer"
	if err != nil || functions != 4 || strings.Join(said, "\n") != want {
		t.Errorf("found %q in %d functions, %v", said, functions, err)
	}
}
