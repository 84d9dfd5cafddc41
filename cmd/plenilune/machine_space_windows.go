package main

import "golang.org/x/sys/windows"

// volumeOf tells which file system a folder is on and how many bytes a user may
// still write there; ok is false where that cannot be known.
func volumeOf(dir string) (name string, free int64, ok bool) {
	p, err := windows.UTF16PtrFromString(dir)
	if err != nil {
		return "", 0, false
	}
	var mine, total, all uint64
	if windows.GetDiskFreeSpaceEx(p, &mine, &total, &all) != nil {
		return "", 0, false
	}
	var volume [windows.MAX_PATH + 1]uint16
	if windows.GetVolumePathName(p, &volume[0], uint32(len(volume))) != nil {
		return "", 0, false
	}
	return windows.UTF16ToString(volume[:]), int64(mine), true
}
