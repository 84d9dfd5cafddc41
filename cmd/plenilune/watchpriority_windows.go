package main

import "golang.org/x/sys/windows"

// lowerPriority puts this program behind all others; a system that refuses goes on as it is.
func lowerPriority() {
	_ = windows.SetPriorityClass(windows.CurrentProcess(), windows.BELOW_NORMAL_PRIORITY_CLASS)
}
