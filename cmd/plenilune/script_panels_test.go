package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"

	"github.com/rogpeppe/go-internal/testscript"

	"plenilune/steps/format/outsidetest"
)

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
