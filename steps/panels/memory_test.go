package panels

import "runtime"

// allocated is how many bytes were taken from the heap so far.
func allocated() uint64 {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.TotalAlloc
}
