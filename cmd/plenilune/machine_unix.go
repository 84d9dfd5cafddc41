//go:build unix

package main

import (
	"bufio"
	"os"
	"runtime"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// peakBytes is the most memory that the process has held so far.
func peakBytes() int64 {
	var u unix.Rusage
	if unix.Getrusage(unix.RUSAGE_SELF, &u) != nil {
		return 0
	}
	if runtime.GOOS == "darwin" {
		return int64(u.Maxrss)
	}
	return int64(u.Maxrss) * 1024
}

// freeBytes is the memory that can be had without swapping, 0 if not known.
func freeBytes() int64 {
	f, err := os.Open("/proc/meminfo")
	if err != nil {
		return 0
	}
	defer f.Close()
	for s := bufio.NewScanner(f); s.Scan(); {
		if rest, ok := strings.CutPrefix(s.Text(), "MemAvailable:"); ok {
			kb, err := strconv.ParseInt(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(rest), "kB")), 10, 64)
			if err == nil {
				return kb * 1024
			}
		}
	}
	return 0
}
