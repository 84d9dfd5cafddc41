package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// preparedRoot holds what several tests begin with; it goes when the last test has ended.
var preparedRoot string

// tests are those of this package, with a folder for what they share.
type tests struct{ m *testing.M }

func (t tests) Run() int {
	dir, err := os.MkdirTemp("", "plenilune-tests-*")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	defer os.RemoveAll(dir)
	preparedRoot = dir
	return t.m.Run()
}

func TestMain(m *testing.M) {
	testscript.Main(tests{m}, map[string]func(){
		"plenilune": func() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) },
	})
}

// prepared is a folder that is filled once, by the first test that asks for it.
func prepared(name string, fill func(dir string) error) func() (string, error) {
	return sync.OnceValues(func() (string, error) {
		dir := filepath.Join(preparedRoot, name)
		if err := os.Mkdir(dir, 0o777); err != nil {
			return "", err
		}
		if err := fill(dir); err != nil {
			return "", fmt.Errorf("prepare %s: %w", name, err)
		}
		return dir, nil
	})
}

// does works as the program does, in this process.
func does(args ...string) error {
	var out, errs bytes.Buffer
	if code := run(args, &out, &errs); code != exitDone {
		return fmt.Errorf("%v: exit code %d: %s", args, code, errs.String())
	}
	return nil
}

// cacheOf prepares the cache that the run of a night leaves, by the manifest that new writes.
func cacheOf(name string, night func() (string, error)) func() (string, error) {
	return prepared(name+"-cache", func(dir string) error {
		from, err := night()
		if err != nil {
			return err
		}
		manifest := filepath.Join(preparedRoot, name+".hcl")
		if err := does("new", filepath.Join(from, "clips"), "-o", manifest); err != nil {
			return err
		}
		return does("run", manifest, "-o", filepath.Join(preparedRoot, name+"-out"), "--cache", dir)
	})
}

// knows copies a prepared cache to where the commands of a script look for theirs, so that they find done what the script is not about.
func knows(ts *testscript.TestScript, cache func() (string, error)) {
	from, err := cache()
	ts.Check(err)
	ts.Check(os.CopyFS(filepath.Join(ts.Getenv("XDG_CACHE_HOME"), "plenilune"), os.DirFS(from)))
}
