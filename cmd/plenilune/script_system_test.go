package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"time"

	"strconv"

	"github.com/rogpeppe/go-internal/testscript"
)

// scriptCondition answers what scripts ask of the system: [superuser], and
// [mount], whether a small disk in memory can be had.
func scriptCondition(cond string) (bool, error) {
	switch cond {
	case "superuser":
		return os.Geteuid() == 0, nil
	case "mount":
		dir, err := os.MkdirTemp("", "plenilune-mount-*")
		if err != nil {
			return false, err
		}
		defer os.Remove(dir)
		return mountSmall(dir, "1m") == nil && exec.Command("umount", dir).Run() == nil, nil
	}
	return false, fmt.Errorf("unknown condition %q", cond)
}

func mountSmall(dir, size string) error {
	return exec.Command("mount", "-t", "tmpfs", "-o", "size="+size, "plenilune-test", dir).Run()
}

// scriptSmallDisk makes a folder that is a disk of its own: smalldisk DIR SIZE.
func scriptSmallDisk(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: smalldisk DIR SIZE")
	}
	dir := ts.MkAbs(args[0])
	ts.Check(os.MkdirAll(dir, 0o777))
	ts.Check(mountSmall(dir, args[1]))
	ts.Defer(func() {
		if err := exec.Command("umount", dir).Run(); err != nil {
			ts.Logf("umount %s: %v", dir, err)
		}
	})
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

// scriptForetold holds what a run did against what it said first, in a file of
// --json lines: foretold FILE [MOST] where at most MOST parts fewer ran than
// were expected, and none more.
func scriptForetold(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 1 || len(args) > 2 {
		ts.Fatalf("usage: foretold FILE [MOST]")
	}
	most := 0
	if len(args) == 2 {
		var err error
		most, err = strconv.Atoi(args[1])
		ts.Check(err)
	}
	type line struct {
		Event            string
		Run, Ran, Cached int
		Seconds          float64
	}
	var lines []line
	s := bufio.NewScanner(strings.NewReader(ts.ReadFile(args[0])))
	s.Buffer(nil, 1<<20)
	for s.Scan() {
		var l line
		ts.Check(json.Unmarshal(s.Bytes(), &l))
		if l.Event == "step" && len(lines) == 0 {
			ts.Fatalf("a step ends before anything was foretold")
		}
		if l.Event == "expected" || l.Event == "summary" {
			lines = append(lines, l)
		}
	}
	if len(lines) != 2 || lines[0].Event != "expected" {
		ts.Fatalf("want one expected line, then one summary: %+v", lines)
	}
	said, did := lines[0], lines[1]
	if less := said.Run - did.Ran; less < 0 || less > most {
		ts.Fatalf("%d parts were expected to run and %d from the cache; %d ran and %d were there", said.Run, said.Cached, did.Ran, did.Cached)
	}
	if did.Ran > 0 && said.Seconds <= 0 || said.Run == 0 && said.Seconds != 0 {
		ts.Fatalf("%d parts were expected to take %g s", said.Run, said.Seconds)
	}
}
