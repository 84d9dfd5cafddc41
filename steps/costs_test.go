package steps

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"math"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"plenilune/pipeline"
	"plenilune/steps/captures"
	"plenilune/steps/stacks"
)

// A finer picture costs as many times more as it has pixels, from the stack on; what works on frames costs the same.
func TestFinerPicturesCostMore(t *testing.T) {
	plain := []pipeline.Size{{Frames: 300, Pixels: 1e6, Channels: 3, Fine: 1}}
	finer := []pipeline.Size{{Frames: 300, Pixels: 1e6, Channels: 3, Fine: 1.5}}
	for kind, times := range map[string]float64{"frames/grade": 1, "stacks/reference": 1, "stacks/even": 1, "stacks/mean": 2.25, "mosaic/join": 2.25, "publish/encode.png": 2.25} {
		a, b := (Costs{}).Cost(kind, plain), (Costs{}).Cost(kind, finer)
		if math.Abs(b.Cache-times*a.Cache) > 1 || math.Abs(b.File-times*a.File) > 1 {
			t.Errorf("%s: %.0f bytes kept and %.0f delivered, finer %.0f and %.0f; want %g times as many", kind, a.Cache, a.File, b.Cache, b.File, times)
		}
	}
}

// Frames that are laid out take what they have in bytes: here 100 frames of 8 bits, of 16, and of three colours of 16.
func TestLaidFramesTakeTheirBytes(t *testing.T) {
	for _, kind := range []string{"captures/lay", "captures/lay-film"} {
		for _, frame := range []float64{1e6, 2e6, 6e6} {
			size, ok := (Costs{}).Size([]pipeline.Fact{{Name: "frames", Value: 100}, {Name: "width", Value: 1000}, {Name: "height", Value: 1000}, {Name: captures.LaidFact, Value: frame}})
			if got := (Costs{}).Cost(kind, []pipeline.Size{size}).Cache; !ok || got != 100*frame {
				t.Errorf("%s: %.0f bytes are forecast for 100 frames of %.0f", kind, got, frame)
			}
		}
	}
}

// How fine a picture is, is what the stack behind it says, however far behind.
func TestFinenessOfABlock(t *testing.T) {
	block := func(kind string, set any, refs ...pipeline.Ref) *pipeline.Block {
		b := &pipeline.Block{Kind: kind, Name: "x", Refs: refs}
		if set != nil {
			b.Steps = []pipeline.BoundStep{{Settings: set}}
		}
		return b
	}
	m := &pipeline.Manifest{Blocks: []*pipeline.Block{
		block("clips", nil),
		block("stack", &stacks.Settings{Scale: 1.5}, pipeline.Ref{Kind: "clips", Name: "x"}),
		block("mosaic", nil, pipeline.Ref{Kind: "stack", Name: "x"}),
		block("detail", nil, pipeline.Ref{Kind: "mosaic", Name: "x"}),
	}}
	for i, want := range []float64{1, 1.5, 1.5, 1.5} {
		if got := (Costs{}).Fine(m, m.Blocks[i]); got != want {
			t.Errorf("%s: %g, want %g", m.Blocks[i].Kind, got, want)
		}
	}
}

// Every part in the source has figures, so that a list of kinds of parts can be read off them, as the comparison of processors
// and the digests of versions do.
func TestEveryPartHasFigures(t *testing.T) {
	known := map[string]bool{}
	for kind := range costs {
		known[kind], known[strings.TrimSuffix(kind, filepath.Ext(kind))] = true, true
	}
	seen := 0
	err := filepath.WalkDir(".", func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() || filepath.Ext(path) != ".go" || strings.HasSuffix(path, "_test.go") {
			return err
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			return err
		}
		stage, _, _ := strings.Cut(filepath.ToSlash(path), "/")
		ast.Inspect(f, func(n ast.Node) bool {
			if name := nameOfPart(n); name != "" {
				seen++
				if !known[stage+"/"+name] {
					t.Errorf("%s: steps/costs.go has no figures for the part %s/%s", path, stage, name)
				}
			}
			return true
		})
		return nil
	})
	if err != nil || seen < 35 {
		t.Errorf("%d parts seen: %v", seen, err)
	}
}

// nameOfPart is the name that a pipeline.Part is written with, "" where n is none or its name is made at run time.
func nameOfPart(n ast.Node) string {
	lit, ok := n.(*ast.CompositeLit)
	if !ok {
		return ""
	}
	if of, ok := lit.Type.(*ast.SelectorExpr); !ok || of.Sel.Name != "Part" {
		return ""
	}
	for _, e := range lit.Elts {
		field, ok := e.(*ast.KeyValueExpr)
		if !ok {
			continue
		}
		if key, ok := field.Key.(*ast.Ident); !ok || key.Name != "Name" {
			continue
		}
		value := field.Value
		if sum, ok := value.(*ast.BinaryExpr); ok { // "look" + suffix
			value = sum.X
		}
		if text, ok := value.(*ast.BasicLit); ok {
			name, _ := strconv.Unquote(text.Value)
			return name
		}
	}
	return ""
}
