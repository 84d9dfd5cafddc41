package main

import (
	"runtime"
	"unsafe"

	"golang.org/x/sys/windows"
)

var globalMemoryStatusEx = windows.NewLazySystemDLL("kernel32.dll").NewProc("GlobalMemoryStatusEx")

// memoryStatus is the MEMORYSTATUSEX of the Windows API.
type memoryStatus struct {
	length, load                                                 uint32
	totalPhys, availPhys, totalPage, availPage, totalVirt, avail uint64
	availExtended                                                uint64
}

// freeBytes is the memory that can be had without swapping, 0 if not known.
func freeBytes() int64 {
	m := memoryStatus{length: uint32(unsafe.Sizeof(memoryStatus{}))}
	if ok, _, _ := globalMemoryStatusEx.Call(uintptr(unsafe.Pointer(&m))); ok == 0 {
		return 0
	}
	return int64(m.availPhys)
}

// peakBytes is what the runtime has taken from the system.
func peakBytes() int64 {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.Sys)
}
