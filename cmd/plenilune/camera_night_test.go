package main

import (
	"context"
	"math"
	"os"
	"strconv"

	"github.com/rogpeppe/go-internal/testscript"

	"plenilune/steps/simulate"
)

// colourNight is the small night through a colour camera, made once for all scripts.
var colourNight = prepared("colour-night", func(dir string) error {
	plan := simulate.Small()
	plan.Title, plan.Workers, plan.Colour = "A small Moon in colour for tests", 2, true
	_, err := plan.Shoot(context.Background(), folderSink{dir}, nil)
	return err
})

// scriptColourNight copies the colour night: colournight DIR.
func scriptColourNight(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: colournight DIR")
	}
	from, err := colourNight()
	ts.Check(err)
	ts.Check(os.CopyFS(ts.MkAbs(args[0]), os.DirFS(from)))
}

// scriptFactRatio holds a fact of one run against that of another, from what --json printed: factratio A B FACT TIMES, to
// within a third of a percent.
func scriptFactRatio(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 4 {
		ts.Fatalf("usage: factratio A B FACT TIMES")
	}
	fact := func(file string) float64 {
		for _, l := range eventLines(ts, file) {
			facts, _ := l["facts"].(map[string]any)
			if f, ok := facts[args[2]].(map[string]any); ok {
				return f["value"].(float64)
			}
		}
		ts.Fatalf("%s: no part states %s", file, args[2])
		return 0
	}
	times, err := strconv.ParseFloat(args[3], 64)
	ts.Check(err)
	a, b := fact(args[0]), fact(args[1])
	if math.Abs(a/b/times-1) > 1.0/300 {
		ts.Fatalf("%s is %g in %s and %g in %s: not %g times as much", args[2], a, args[0], b, args[1], times)
	}
}
