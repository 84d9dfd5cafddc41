//go:build unix

package main

import (
	"fmt"

	"golang.org/x/sys/unix"
)

// volumeOf tells which file system a folder is on and how many bytes a user may
// still write there; ok is false where that cannot be known.
func volumeOf(dir string) (name string, free int64, ok bool) {
	var st unix.Stat_t
	var fs unix.Statfs_t
	if unix.Stat(dir, &st) != nil || unix.Statfs(dir, &fs) != nil || fs.Blocks == 0 {
		return "", 0, false
	}
	return fmt.Sprint(st.Dev), int64(fs.Bavail) * int64(fs.Bsize), true
}
