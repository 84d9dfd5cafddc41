package cache

import (
	"fmt"
	"os"
	"path/filepath"
	"time"
)

// Stamp is what a file system tells of a file without reading it. Times are Unix
// nanoseconds. Inode and CTime are 0 where the file system does not keep them.
type Stamp struct {
	Path    string // absolute
	Size    int64
	ModTime int64
	Inode   uint64
	CTime   uint64

	taken int64 // when StampOf looked
}

// stampResolution is the coarsest step of modification times, that of FAT. exFAT
// has 10 ms, but some systems write only its 2 s part.
const stampResolution = 2 * time.Second

// StampOf takes the stamp of a file. Take it before the file is read.
func StampOf(path string) (Stamp, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return Stamp{}, fmt.Errorf("stamp of %s: %w", path, err)
	}
	taken := time.Now().UnixNano()
	info, err := os.Stat(abs)
	if err != nil {
		return Stamp{}, fmt.Errorf("stamp of %s: %w", path, err)
	}
	s := Stamp{Path: abs, Size: info.Size(), ModTime: info.ModTime().UnixNano(), taken: taken}
	s.Inode, s.CTime = extra(abs)
	s.forgetInvented()
	return s, nil
}

// forgetInvented drops inode number and change time where the file system made
// them up. FAT and exFAT keep no change time: their drivers show the modification
// time instead, and a new inode number at each mount (from memory, seen in the
// Linux drivers). On a better file system this loses little, for a later change
// of the file gives a change time that differs, and so a stamp that does.
func (s *Stamp) forgetInvented() {
	if s.CTime == uint64(s.ModTime) {
		s.Inode, s.CTime = 0, 0
	}
}

// Same tells whether two stamps say that the file did not change between them.
func (s Stamp) Same(o Stamp) bool {
	s.taken, o.taken = 0, 0
	return s == o
}

// Remember keeps the content ID of the file that s was taken of. It keeps
// nothing of a file whose modification time was less than 2 s ago when the stamp
// was taken, or lies ahead: it could change again without its stamp changing.
func (c *Cache) Remember(s Stamp, id ID) error {
	if s.taken == 0 {
		s.taken = time.Now().UnixNano()
	}
	if s.taken-s.ModTime < int64(stampResolution) {
		return nil
	}
	if err := c.replace(kindStamp, Sum([]byte(s.Path)), encodeStamp(s, id)); err != nil {
		return fmt.Errorf("remember the stamp of %s: %w", s.Path, err)
	}
	return nil
}

// Recall returns the content ID remembered for a file, if its stamp is still the same.
func (c *Cache) Recall(s Stamp) (ID, bool) {
	b, ok := c.sealed(kindStamp, Sum([]byte(s.Path)))
	if !ok {
		return ID{}, false
	}
	have, id, err := decodeStamp(b)
	return id, err == nil && have.Same(s)
}
