package main

import (
	"bytes"
	"math"
	"os"
	"strconv"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"

	"plenilune/steps/format/tiff"
)

// scriptNumbers looks at the numbers of a float32 TIFF where a picture beside it shows something: numbers FILE PICTURE CONDITION…, where a
// condition is whole, above=V, least=V or most=V (every number), some=V or differ (at least two).
func scriptNumbers(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 3 {
		ts.Fatalf("usage: numbers FILE PICTURE CONDITION…")
	}
	all, shown := numbersOf(ts, args[0]), numbersOf(ts, args[1])
	if len(all) != len(shown) {
		ts.Fatalf("%s has %d pixels, %s %d", args[0], len(all), args[1], len(shown))
	}
	var seen []float64
	for i, v := range shown {
		if v == v {
			seen = append(seen, all[i])
		}
	}
	if len(seen) == 0 {
		ts.Fatalf("%s shows nothing", args[1])
	}
	for _, c := range args[2:] {
		kind, value, _ := strings.Cut(c, "=")
		limit := 0.0
		if value != "" {
			var err error
			limit, err = strconv.ParseFloat(value, 64)
			ts.Check(err)
		}
		some := false
		for _, v := range seen {
			ok := v == v
			switch kind {
			case "whole":
				ok = v == math.Trunc(v)
			case "above":
				ok = v > limit
			case "least":
				ok = v >= limit
			case "most":
				ok = v <= limit
			case "some":
				some = some || v == limit
			case "differ":
				some = some || v != seen[0]
			default:
				ts.Fatalf("there is no condition %s", c)
			}
			if !ok {
				ts.Fatalf("%s: %g is not %s", args[0], v, c)
			}
		}
		if (kind == "some" || kind == "differ") && !some {
			ts.Fatalf("%s: no number is so: %s", args[0], c)
		}
	}
}

func numbersOf(ts *testscript.TestScript, name string) []float64 {
	b, err := os.ReadFile(ts.MkAbs(name))
	ts.Check(err)
	f, err := tiff.Open(bytes.NewReader(b), int64(len(b)))
	ts.Check(err)
	if f.Sample != tiff.Float32 || f.Channels != 1 {
		ts.Fatalf("%s is not of one channel of float32", name)
	}
	ts.Check(f.Load(1 << 30))
	out := make([]float64, 0, f.Width*f.Height)
	row := make([]float32, f.Width)
	for y := range f.Height {
		f.Row(y, row)
		for _, v := range row {
			out = append(out, float64(v))
		}
	}
	return out
}
