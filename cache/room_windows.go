package cache

import "golang.org/x/sys/windows"

// freeBytes is how many bytes may still be written to the disk of a folder; ok is false where that cannot be known.
func freeBytes(dir string) (free int64, ok bool) {
	p, err := windows.UTF16PtrFromString(dir)
	if err != nil {
		return 0, false
	}
	var mine, total, all uint64
	if windows.GetDiskFreeSpaceEx(p, &mine, &total, &all) != nil {
		return 0, false
	}
	return int64(mine), true
}
