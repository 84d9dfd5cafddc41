package main

import (
	"cmp"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"plenilune/steps/simulate"
)

// gridSide is how many panels the grid night has each way.
const gridSide = 3

// gridNight is made once for all scripts: nine panels of a gibbous Moon lit from the right, whose clips are named by
// place: a1 is at the upper left, c3 at the lower right.
var gridNight = prepared("grid-night", func(dir string) error {
	plan := simulate.Small()
	plan.Title, plan.Workers = "A grid of panels for tests", 2
	plan.DiskPx, plan.SmallestCraterKm, plan.CratersAbove20Km = 300, 12, 1500
	plan.Width, plan.Height, plan.TurnDeg = 144, 132, 0.4
	plan.PanelsAcross, plan.PanelsDown, plan.Overlap = gridSide, gridSide, 0.3
	truth, err := plan.Shoot(context.Background(), folderSink{dir}, nil)
	if err != nil {
		return err
	}
	return nameByPlace(filepath.Join(dir, "clips"), truth.Clips)
})

// nameByPlace renames clips to where they were aimed.
func nameByPlace(dir string, clips []simulate.ClipTruth) error {
	rank := func(at func(simulate.ClipTruth) float64) map[string]int {
		sorted := slices.SortedFunc(slices.Values(clips), func(a, b simulate.ClipTruth) int { return cmp.Compare(at(a), at(b)) })
		of := map[string]int{}
		for i, c := range sorted {
			of[c.Name] = i / gridSide
		}
		return of
	}
	row := rank(func(c simulate.ClipTruth) float64 { return c.Y })
	column := rank(func(c simulate.ClipTruth) float64 { return c.X })
	for _, c := range clips {
		name := fmt.Sprintf("%c%d", 'a'+rune(row[c.Name]), 1+column[c.Name])
		if err := os.Rename(filepath.Join(dir, c.Name+".ser"), filepath.Join(dir, name+".ser")); err != nil {
			return err
		}
	}
	return nil
}

var gridCache = cacheOf("grid", gridNight)

// scriptGrid copies the grid night, or some of its clips: grid [known] DIR [CLIP…], where known says that the cache has seen all of it.
func scriptGrid(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) > 0 && args[0] == "known" {
		knows(ts, gridCache)
		args = args[1:]
	}
	if neg || len(args) < 1 {
		ts.Fatalf("usage: grid [known] DIR [CLIP…]")
	}
	from, err := gridNight()
	ts.Check(err)
	dir := ts.MkAbs(args[0])
	ts.Check(os.CopyFS(dir, os.DirFS(from)))
	clips, err := filepath.Glob(filepath.Join(dir, "clips", "*.ser"))
	ts.Check(err)
	old := time.Now().Add(-time.Hour)
	left := len(args) - 1
	for _, c := range clips {
		name := filepath.Base(c)
		if len(args) > 1 && !slices.Contains(args[1:], name[:len(name)-len(".ser")]) {
			ts.Check(os.Remove(c))
			continue
		}
		ts.Check(os.Chtimes(c, old, old))
		left--
	}
	if left > 0 {
		ts.Fatalf("%v names a clip that the grid night has not", args[1:])
	}
}
