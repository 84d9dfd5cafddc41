package cache

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"github.com/gofrs/flock"
)

// lockPoll is how often a waiting process looks whether the lock is free.
const lockPoll = 100 * time.Millisecond

// processLock keeps a second process out of a cache folder. The system lets go
// of it when the process ends in whatever way.
type processLock struct {
	file   *flock.Flock
	holder string // path of the text that says who holds it
}

// takeLock takes the lock, or waits for it, or returns an error that matches ErrBusy.
func takeLock(ctx context.Context, dir string, o Options) (*processLock, error) {
	l := &processLock{
		file:   flock.New(filepath.Join(dir, lockFile)),
		holder: filepath.Join(dir, holderFile),
	}
	ok, err := l.file.TryLock()
	if err == nil && !ok {
		if o.NoWait {
			return nil, fmt.Errorf("%w: %s is held by %s; wait for it to end, or name another cache folder", ErrBusy, dir, l.who())
		}
		if o.OnWait != nil {
			o.OnWait(l.who())
		}
		_, err = l.file.TryLockContext(ctx, lockPoll)
	}
	if err != nil {
		_ = l.file.Close()
		return nil, fmt.Errorf("lock cache %s: %w", dir, err)
	}
	host, err := os.Hostname()
	if err != nil {
		host = "this computer"
	}
	text := fmt.Sprintf("process %d on %s since %s\n", os.Getpid(), host, time.Now().Format("2006-01-02 15:04:05 -07:00"))
	// On a full disk nobody is told who holds it: Open says what is the matter.
	if err := os.WriteFile(l.holder, []byte(text), 0o666); err != nil && !errors.Is(err, syscall.ENOSPC) {
		l.release()
		return nil, fmt.Errorf("lock cache %s: %w", dir, err)
	}
	return l, nil
}

func (l *processLock) who() string {
	b, err := os.ReadFile(l.holder)
	if text := strings.TrimSpace(string(b)); err == nil && text != "" {
		return text
	}
	return "a process that has not yet said its name"
}

// release empties the holder text before it lets go, so that nobody reads an old name.
func (l *processLock) release() {
	_ = os.Truncate(l.holder, 0)
	_ = l.file.Close()
}
