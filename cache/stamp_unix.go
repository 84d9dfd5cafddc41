//go:build unix

package cache

import "golang.org/x/sys/unix"

// extra returns inode number and change time of a file, zeros if it cannot.
func extra(path string) (inode, ctime uint64) {
	var st unix.Stat_t // its field names are the same on every system, those of syscall are not
	if err := unix.Stat(path, &st); err != nil {
		return 0, 0
	}
	return uint64(st.Ino), uint64(st.Ctim.Nano())
}
