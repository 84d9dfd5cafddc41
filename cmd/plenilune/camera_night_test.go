package main

import (
	"context"
	"image/png"
	"math"
	"os"
	"strconv"
	"sync"

	"github.com/rogpeppe/go-internal/testscript"

	"plenilune/steps/simulate"
)

// colourNight is the small night through a colour camera, made once for all scripts.
var colourNight = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "plenilune-colour-night-*")
	if err != nil {
		return "", err
	}
	plan := simulate.Small()
	plan.Title, plan.Workers, plan.Colour = "A small Moon in colour for tests", 2, true
	_, err = plan.Shoot(context.Background(), folderSink{dir}, nil)
	return dir, err
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

// scriptWider holds the sides of one PNG against another's: wider A B TIMES, to within a pixel and a half.
func scriptWider(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: wider A B TIMES")
	}
	sides := func(name string) (w, h float64) {
		f, err := os.Open(ts.MkAbs(name))
		ts.Check(err)
		defer f.Close()
		c, err := png.DecodeConfig(f)
		ts.Check(err)
		return float64(c.Width), float64(c.Height)
	}
	times, err := strconv.ParseFloat(args[2], 64)
	ts.Check(err)
	aw, ah := sides(args[0])
	bw, bh := sides(args[1])
	if d := max(math.Abs(aw-times*bw), math.Abs(ah-times*bh)); d > 1.5+times {
		ts.Fatalf("%s has %g×%g px, %s %g×%g px: not %g times as many a side", args[0], aw, ah, args[1], bw, bh, times)
	}
}
