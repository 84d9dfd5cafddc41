package steps_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strings"
	"testing"
)

// constant are names of package math that are numbers.
var constant = map[string]bool{"E": true, "Pi": true, "Phi": true, "Sqrt2": true, "SqrtE": true, "SqrtPi": true, "SqrtPhi": true,
	"Ln2": true, "Log2E": true, "Ln10": true, "Log10E": true}

// unsteady tells where a file names something of the standard library whose results architectures may round each in their own way.
// Unlike the compiler's listing it also sees functions that are handed on as values.
func unsteady(file string, src any) ([]string, error) {
	set := token.NewFileSet()
	f, err := parser.ParseFile(set, file, src, parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	var said []string
	say := func(n ast.Node, format string, args ...any) {
		p := set.Position(n.Pos())
		said = append(said, fmt.Sprintf("%s:%d: %s", filepath.ToSlash(p.Filename), p.Line, fmt.Sprintf(format, args...)))
	}
	called := "math"
	for _, im := range f.Imports {
		switch path := strings.Trim(im.Path.Value, `"`); {
		case path == "math/cmplx":
			say(im, "math/cmplx rests on functions that some architectures have of their own")
		case path == "math" && im.Name != nil:
			called = im.Name.Name
		}
	}
	ast.Inspect(f, func(n ast.Node) bool {
		s, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		x, _ := s.X.(*ast.Ident)
		name := s.Sel.Name
		switch {
		case x != nil && x.Name == called && !exact.MatchString(name) && !constant[name] && !strings.HasPrefix(name, "Max") && !strings.HasPrefix(name, "Min") && !strings.HasPrefix(name, "Smallest"):
			say(s, "math.%s: use steps/kernel/portable", name)
		case name == "NormFloat64" || name == "ExpFloat64":
			say(s, "%s asks math.Exp and math.Log: draw it from steps/kernel/portable", name)
		}
		return true
	})
	return said, nil
}

func TestNoUnsteadyMathInSource(t *testing.T) {
	files := 0
	err := filepath.WalkDir("..", func(file string, e fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case e.IsDir() && (e.Name() == "testdata" || strings.HasPrefix(e.Name(), ".") && e.Name() != ".."):
			return fs.SkipDir
		case !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go"):
			return nil
		}
		files++
		said, err := unsteady(file, nil)
		for _, s := range said {
			t.Error(s)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if files < 300 {
		t.Fatalf("only %d files were looked at", files)
	}
}

func TestUnsteadyMathIsFound(t *testing.T) {
	for src, want := range map[string]string{
		`package p; import "math"; var f = math.Sin`:                                           "p.go:1: math.Sin:",
		`package p; import m "math"; var x = m.Pow(2, 3)`:                                      "p.go:1: math.Pow:",
		`package p; import "math/cmplx"; var x = cmplx.Abs(1)`:                                 "p.go:1: math/cmplx",
		`package p; import "math/rand/v2"; var x = rand.NormFloat64()`:                         "p.go:1: NormFloat64",
		`package p; import "math"; var x, y = math.Sqrt(2*math.Pi), math.Min(1, math.MaxInt8)`: "",
	} {
		said, err := unsteady("p.go", src)
		if err != nil || strings.Join(said, "\n") != "" != (want != "") || !strings.HasPrefix(strings.Join(said, "\n"), want) {
			t.Errorf("%s: %q, %v; want %q", src, said, err, want)
		}
	}
}
