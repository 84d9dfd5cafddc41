//go:build unix

package main

import (
	"os"
	"strconv"

	"golang.org/x/sys/unix"
)

// lowNice is how far behind others the work stands, of 19.
const lowNice = 10

// lowerPriority puts this program behind all others; a system that refuses goes on as it is. Linux counts niceness by thread: threads that
// are there are told one by one, later ones inherit it.
func lowerPriority() {
	_ = unix.Setpriority(unix.PRIO_PROCESS, os.Getpid(), lowNice)
	threads, err := os.ReadDir("/proc/self/task")
	if err != nil {
		return
	}
	for _, t := range threads {
		if id, err := strconv.Atoi(t.Name()); err == nil {
			_ = unix.Setpriority(unix.PRIO_PROCESS, id, lowNice)
		}
	}
}
