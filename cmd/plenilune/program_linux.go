package main

import "golang.org/x/sys/unix"

// boundMemory bounds a process's address space.
func boundMemory(pid int, most uint64) {
	_ = unix.Prlimit(pid, unix.RLIMIT_AS, &unix.Rlimit{Cur: most, Max: most}, nil) // it has bounds of its own
}
