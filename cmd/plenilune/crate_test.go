package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"

	"plenilune/steps/format/outsidetest"
)

// scriptCrate has a pack read by general programs for RDF: crate PACK.
func scriptCrate(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: crate PACK")
	}
	wd, err := os.Getwd()
	ts.Check(err)
	dir := filepath.Join(wd, "testdata", "crate")
	if p := outsidetest.FindPython("rdflib, pyld"); p != "" {
		out, err := exec.Command(p, filepath.Join(dir, "check.py"), ts.MkAbs(args[0]), filepath.Join(dir, "context.json")).CombinedOutput()
		ts.Logf("%s", out)
		if err != nil || !strings.Contains(string(out), " triples") {
			ts.Fatalf("the pack is no crate: %v", err)
		}
		return
	}
	if outsidetest.Required() {
		ts.Fatalf("python3 with rdflib and pyld is not there, and PLENILUNE_REQUIRE_TOOLS asks for it")
	}
	ts.Logf("python3 with rdflib and pyld is not there: the crate was not read by it")
}
