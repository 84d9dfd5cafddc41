package main

import (
	"fmt"
	"os"
	"strconv"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// scriptCondition answers what scripts ask of the system: [superuser].
func scriptCondition(cond string) (bool, error) {
	if cond == "superuser" {
		return os.Geteuid() == 0, nil
	}
	return false, fmt.Errorf("unknown condition %q", cond)
}

// scriptRecording writes a small capture of another kind: recording FILE WIDTH.
func scriptRecording(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: recording FILE WIDTH")
	}
	width, err := strconv.Atoi(args[1])
	ts.Check(err)
	b, err := recordingOf(width, time.Time{})
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), b, 0o666))
}
