package cache

import (
	"fmt"
	"hash/crc32"
	"os"
	"path/filepath"
	"sync"
	"time"
)

const (
	// syncDelay is the longest that a record waits for the disk. One sync then
	// serves all the records of that time, however many they are.
	syncDelay = 250 * time.Millisecond

	segmentLimit = 16 << 20 // a segment past this is followed by a new one
	segmentHead  = 32
	segmentWords = "plenilune journal 1\n"
	flagBase     = 1 // segments of lower number are superseded
)

// position is a place in the journal.
type position struct {
	segment uint64
	offset  int64
}

// journal is the append-only log of everything that is not a blob file.
type journal struct {
	dir string

	mu    sync.Mutex
	f     *os.File
	at    position
	total int64 // bytes of all segments
	timer *time.Timer
	dirty bool
	err   error // of a sync in the background; told by the next append
}

// openJournal goes on at the end of the last segment.
func openJournal(dir string) (*journal, error) {
	j := &journal{dir: dir}
	segs, err := segments(dir)
	if err != nil {
		return nil, err
	}
	for _, s := range segs {
		info, err := os.Stat(segmentPath(dir, s))
		if err != nil {
			return nil, err
		}
		j.total += info.Size()
		j.at = position{s, info.Size()}
	}
	if len(segs) == 0 || j.at.offset >= segmentLimit || j.at.offset < segmentHead {
		return j, j.next()
	}
	j.f, err = os.OpenFile(segmentPath(dir, j.at.segment), os.O_RDWR, 0)
	return j, err
}

func segmentPath(dir string, n uint64) string {
	return filepath.Join(dir, fmt.Sprintf("%08d.log", n))
}

// segments lists the numbers of the segments in order.
func segments(dir string) ([]uint64, error) {
	list, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	var out []uint64
	for _, e := range list { // sorted by name, which is by number
		var n uint64
		if _, err := fmt.Sscanf(e.Name(), "%d.log", &n); err == nil && e.Name() == filepath.Base(segmentPath(dir, n)) {
			out = append(out, n)
		}
	}
	return out, nil
}

func segmentHeader(flags uint32) []byte {
	b := make([]byte, segmentHead-8, segmentHead)
	copy(b, segmentWords)
	b = le.AppendUint32(b, flags)
	return le.AppendUint32(b, crc32.Checksum(b, castagnoli))
}

// parseSegmentHeader returns the flags; ok is false if the header is damaged.
func parseSegmentHeader(b []byte) (flags uint32, ok bool) {
	if len(b) < segmentHead || string(b[:len(segmentWords)]) != segmentWords {
		return 0, false
	}
	return le.Uint32(b[24:]), le.Uint32(b[28:]) == crc32.Checksum(b[:28], castagnoli)
}

// next begins a new segment. The old one is synced first, so that only the
// newest can ever lack its end.
func (j *journal) next() error {
	if j.f != nil {
		if err := j.f.Sync(); err != nil {
			return err
		}
		if err := j.f.Close(); err != nil {
			return err
		}
		j.f = nil
	}
	n := j.at.segment + 1
	f, err := os.OpenFile(segmentPath(j.dir, n), os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return err
	}
	if _, err := f.WriteAt(segmentHeader(0), 0); err != nil {
		_ = f.Close()
		return err
	}
	j.f, j.at = f, position{n, segmentHead}
	j.total += segmentHead
	return syncDir(j.dir)
}

// append hands one record to the operating system, and to the disk soon after.
func (j *journal) append(kind byte, t int64, payload []byte) error {
	b := appendRecord(make([]byte, 0, recordSize(int64(len(payload)))), record{kind, t, payload})
	j.mu.Lock()
	defer j.mu.Unlock()
	if err := j.err; err != nil {
		j.err = nil
		return fmt.Errorf("sync the journal: %w", err)
	}
	if j.f == nil || j.at.offset >= segmentLimit {
		if err := j.next(); err != nil {
			return fmt.Errorf("begin a journal segment: %w", err)
		}
	}
	if _, err := j.f.WriteAt(b, j.at.offset); err != nil {
		_ = j.f.Truncate(j.at.offset) // if that fails too, readers step over the rest
		return fmt.Errorf("write to the journal: %w", err)
	}
	j.at.offset += int64(len(b))
	j.total += int64(len(b))
	if !j.dirty {
		j.dirty = true
		j.timer = time.AfterFunc(syncDelay, j.syncSoon)
	}
	return nil
}

// syncSoon syncs without keeping appends waiting.
func (j *journal) syncSoon() {
	j.mu.Lock()
	f := j.f
	j.dirty = false
	j.mu.Unlock()
	if f == nil {
		return
	}
	if err := f.Sync(); err != nil {
		j.mu.Lock()
		if j.f == f { // else it was closed meanwhile, after a sync of its own
			j.err = err
		}
		j.mu.Unlock()
	}
}

func (j *journal) position() position {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.at
}

func (j *journal) close() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.timer != nil {
		j.timer.Stop()
	}
	if j.f == nil {
		return nil
	}
	err := j.f.Sync()
	if e := j.f.Close(); err == nil {
		err = e
	}
	j.f = nil
	return err
}

// scanJournal calls fn for every sound record, and bad for every stretch that is none. It returns where the last sound record ends.
func scanJournal(dir string, fn func(p position, r record) error, bad func(p position, n int64)) (position, error) {
	segs, err := segments(dir)
	if err != nil {
		return position{}, err
	}
	var end position
	for _, s := range segs {
		b, err := os.ReadFile(segmentPath(dir, s))
		if err != nil {
			return end, err
		}
		report := func(a, z int) {
			if bad != nil && z > a {
				bad(position{s, int64(a)}, int64(z-a))
			}
		}
		at := min(segmentHead, len(b))
		if _, ok := parseSegmentHeader(b); !ok {
			report(0, at)
		}
		n, err := scanRecords(b, at, func(at int, r record) error { return fn(position{s, int64(at)}, r) }, report)
		if err != nil {
			return end, err
		}
		end = position{s, int64(n)}
	}
	return end, nil
}

// dropSuperseded removes the segments that a compaction replaced but had no time
// to remove.
func dropSuperseded(dir string) error {
	segs, err := segments(dir)
	if err != nil {
		return err
	}
	for i := len(segs) - 1; i > 0; i-- {
		head := make([]byte, segmentHead)
		f, err := os.Open(segmentPath(dir, segs[i]))
		if err != nil {
			return err
		}
		n, _ := f.ReadAt(head, 0)
		_ = f.Close()
		if flags, ok := parseSegmentHeader(head[:n]); !ok || flags&flagBase == 0 {
			continue
		}
		for _, s := range segs[:i] {
			if err := os.Remove(segmentPath(dir, s)); err != nil {
				return err
			}
		}
		return nil
	}
	return nil
}

// cutTornEnd removes an unfinished record that a kill left behind the last sound one.
func cutTornEnd(dir string, end position) error {
	if end.offset < segmentHead {
		return nil
	}
	path := segmentPath(dir, end.segment)
	info, err := os.Stat(path)
	if err != nil || info.Size() <= end.offset {
		return nil // nothing there to cut
	}
	return os.Truncate(path, end.offset)
}
