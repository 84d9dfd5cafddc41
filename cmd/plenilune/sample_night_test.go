package main

import (
	"os"
	"path/filepath"

	"github.com/rogpeppe/go-internal/testscript"
)

// sampleNight is what demo leaves: the night in one folder, the cache in another.
var sampleNight = prepared("sample-night", func(dir string) error {
	return does("demo", filepath.Join(dir, "night"), "--cache", filepath.Join(dir, "cache"))
})

// scriptSample copies the sample night as demo leaves it, pictures, cache and all: sample DIR.
func scriptSample(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: sample DIR")
	}
	from, err := sampleNight()
	ts.Check(err)
	ts.Check(os.CopyFS(ts.MkAbs(args[0]), os.DirFS(filepath.Join(from, "night"))))
	ts.Check(os.CopyFS(filepath.Join(ts.Getenv("XDG_CACHE_HOME"), "plenilune"), os.DirFS(filepath.Join(from, "cache"))))
}
