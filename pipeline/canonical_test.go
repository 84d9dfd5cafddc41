package pipeline

import (
	"math"
	"slices"
	"strings"
	"testing"
)

type canonicalInner struct {
	Boost float64 `json:"boost"`
	Names []string
}

type canonicalCase struct {
	Keep   float64 `hcl:"keep,optional"`
	N      int
	On     bool
	Word   string
	Inner  []canonicalInner
	Maybe  *canonicalInner
	ByName map[string]int
	FloatX float32
}

func TestCanonicalLines(t *testing.T) {
	got, err := canonicalSettings(&canonicalCase{Keep: 0.3, N: -2, Word: "a\nb \"c\"", Inner: []canonicalInner{{1.5, nil}, {1e-9, []string{"x"}}},
		ByName: map[string]int{"b": 2, "a c": 1}, FloatX: 0.1})
	want := []string{
		`by_name."a\x20c" 1`, `by_name."b" 2`, `float_x 0.1`, `inner.0.boost 1.5`, `inner.0.names none`,
		`inner.1.boost 1e-09`, `inner.1.names.0 "x"`, `keep 0.3`, `maybe none`, `n -2`, `on false`, `word "a\nb \"c\""`,
	}
	if err != nil || !slices.Equal(got, want) {
		t.Errorf("lines are\n%s\nwant\n%s (%v)", strings.Join(got, "\n"), strings.Join(want, "\n"), err)
	}
}

func TestCanonicalRefuses(t *testing.T) {
	for name, v := range map[string]any{
		"NaN":        struct{ X float64 }{math.NaN()},
		"infinity":   struct{ X float64 }{math.Inf(1)},
		"minus zero": struct{ X float64 }{math.Copysign(0, -1)},
		"function":   struct{ X func() }{},
		"hidden":     struct{ x int }{1},
		"no struct":  3,
		"twice": struct {
			A int `hcl:"x"`
			B int `hcl:"x"`
		}{},
	} {
		if lines, err := canonicalSettings(v); err == nil {
			t.Errorf("%s: gave %q, want an error", name, lines)
		}
	}
}

// Settings that differ must differ in their lines, whatever their texts hold.
func FuzzCanonicalDiffers(f *testing.F) {
	f.Add("a", "b", 1.0, 2.0)
	f.Add("x none", "x", 0.1, 0.30000000000000004)
	f.Add("\n", "\\n", 1e300, 1e-300)
	f.Fuzz(func(t *testing.T, a, b string, x, y float64) {
		if strings.ToValidUTF8(a, "") != a || strings.ToValidUTF8(b, "") != b {
			t.Skip("manifests are UTF-8")
		}
		type s struct {
			Word string
			X    float64
			M    map[string]string
		}
		p, err1 := canonicalSettings(s{a, x, map[string]string{a: b}})
		q, err2 := canonicalSettings(s{b, y, map[string]string{b: a}})
		if err1 != nil || err2 != nil {
			return
		}
		if same := a == b && x == y; slices.Equal(p, q) != same {
			t.Errorf("%q and %q: equal lines %v, equal settings %v", p, q, !same, same)
		}
	})
}
