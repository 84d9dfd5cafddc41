package main

import (
	"bytes"
	"image/png"
	"os"
	"path/filepath"
	"reflect"

	"github.com/rogpeppe/go-internal/testscript"

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
