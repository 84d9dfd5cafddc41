//go:build unix

package cache

import "golang.org/x/sys/unix"

// freeBytes is how many bytes may still be written to the disk of a folder; ok is false where that cannot be known.
func freeBytes(dir string) (free int64, ok bool) {
	var s unix.Statfs_t
	if unix.Statfs(dir, &s) != nil || s.Blocks == 0 {
		return 0, false
	}
	return int64(s.Bavail) * int64(s.Bsize), true
}
