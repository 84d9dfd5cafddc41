package main

import (
	"bytes"
	"fmt"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"slices"

	"github.com/rogpeppe/go-internal/testscript"

	"plenilune/steps/format/outsidetest"
	"plenilune/steps/format/tiff"
)

// scriptSameSamples fails if two pictures, TIFF or PNG, differ in any sample or in their size: samesamples A B.
func scriptSameSamples(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: samesamples A B")
	}
	samples := func(name string) any {
		b, err := os.ReadFile(ts.MkAbs(name))
		ts.Check(err)
		if filepath.Ext(name) == ".png" {
			m, err := png.Decode(bytes.NewReader(b))
			ts.Check(err)
			return m
		}
		f, err := tiff.Open(bytes.NewReader(b), int64(len(b)))
		ts.Check(err)
		all := make([][]byte, f.Header.Height)
		for y := range all {
			all[y] = make([]byte, f.Header.RowBytes())
			ts.Check(f.Row(y, all[y]))
		}
		return all
	}
	if a, b := samples(args[0]), samples(args[1]); !reflect.DeepEqual(a, b) {
		ts.Fatalf("the samples of %s and %s differ", args[0], args[1])
	}
}

// rewrite has tifffile write pictures anew: plain float32, as most programs do, and nothing else said.
const rewrite = `
import sys, tifffile
for i, path in enumerate(sys.argv[2:]):
    tifffile.imwrite("%s/p%d.tif" % (sys.argv[1], i), tifffile.imread(path), metadata=None)
`

// scriptByOthers has another program write float32 TIFF pictures anew, as p0.tif, p1.tif, … in the order of their names:
// byothers DIR PATTERN. Without that program they are copied.
func scriptByOthers(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: byothers DIR PATTERN")
	}
	found, err := filepath.Glob(ts.MkAbs(args[1]))
	ts.Check(err)
	slices.Sort(found)
	dir := ts.MkAbs(args[0])
	ts.Check(os.MkdirAll(dir, 0o777))
	if python := outsidetest.FindPython("tifffile"); python != "" {
		out, err := exec.Command(python, append([]string{"-c", rewrite, dir}, found...)...).CombinedOutput()
		if err != nil {
			ts.Fatalf("%v: %s", err, out)
		}
		return
	}
	if outsidetest.Required() {
		ts.Fatalf("python3 with tifffile is required here and absent")
	}
	ts.Logf("python3 with tifffile is absent: panels are those that this program wrote")
	for i, path := range found {
		b, err := os.ReadFile(path)
		ts.Check(err)
		ts.Check(os.WriteFile(filepath.Join(dir, fmt.Sprintf("p%d.tif", i)), b, 0o666))
	}
}
