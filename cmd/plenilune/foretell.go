package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"plenilune/cache"
	"plenilune/pipeline"
)

// foretelling says what a run is about to do, and stops it where the disk lacks
// room.
type foretelling struct {
	screen     *screen
	cache, out string // folders
	volume     func(dir string) (name string, free int64, ok bool)
	anyRoom    bool // go on all the same
}

// expect tells the forecast. An error says what room is lacking.
func (t foretelling) expect(f pipeline.Forecast) error {
	lack := t.lacking(f)
	t.screen.expected(f, lack)
	if lack != "" && !t.anyRoom {
		return &roomError{lack}
	}
	if f.OutBytes > 0 {
		if err := writable(t.out); err != nil {
			return &roomError{fmt.Sprintf("the output folder %s cannot be written to: %v; name another with -o DIR", shown(t.out), err)}
		}
	}
	return nil
}

// writable tells, before hours are spent, whether files can be made in a folder that may not be there yet.
func writable(dir string) error {
	at := standing(dir)
	f, err := os.CreateTemp(at, ".plenilune-partial-*") // the name that a run sweeps away, if this is ended here
	if err != nil {
		var path *fs.PathError
		if errors.As(err, &path) {
			err = path.Err
		}
		return fmt.Errorf("%s: %w", filepath.ToSlash(at), err)
	}
	return errors.Join(f.Close(), os.Remove(f.Name()))
}

// roomError says that a run could not write what it would.
type roomError struct{ text string }

func (e *roomError) Error() string { return e.text }

// need is room on one file system.
type need struct {
	what  []string
	where string
	bytes int64
	free  int64
}

// lacking says in one line what room is needed where, if there is less.
func (t foretelling) lacking(f pipeline.Forecast) string {
	needs := map[string]*need{}
	var order []string
	want := func(what, dir string, bytes int64) {
		name, free, ok := t.volume(standing(dir))
		if !ok || bytes == 0 {
			return
		}
		if needs[name] == nil {
			needs[name] = &need{where: dir, free: free}
			order = append(order, name)
		}
		n := needs[name]
		n.bytes += bytes
		n.what = append(n.what, fmt.Sprintf("%s of %s", bytesText(bytes), what))
	}
	if f.CacheBytes > 0 {
		want("cache with its index", t.cache, f.CacheBytes+cache.Floor)
	}
	want("output", t.out, f.OutGrowth)
	var texts []string
	for _, name := range order {
		n := needs[name]
		if n.bytes <= n.free {
			continue
		}
		texts = append(texts, fmt.Sprintf("the disk of %s lacks room: about %s are needed (%s), %s are free",
			shown(n.where), bytesText(n.bytes), strings.Join(n.what, ", "), bytesText(n.free)))
	}
	if len(texts) == 0 {
		return ""
	}
	return strings.Join(texts, "; ") + "; " + roomHint + "; --any-room goes on all the same"
}

// roomHint says what to do where a disk lacks room.
const roomHint = "make room (plenilune cache trim --to SIZE drops what was not used for longest), or take another disk with --cache DIR or -o DIR"

// standing is the folder itself, or the nearest above it that is there.
func standing(dir string) string {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return dir
	}
	for {
		if _, err := os.Stat(abs); err == nil || filepath.Dir(abs) == abs {
			return abs
		}
		abs = filepath.Dir(abs)
	}
}

// expected tells a forecast: what is there already, what will be computed, and
// about how long and how much that will be.
func (s *screen) expected(f pipeline.Forecast, lack string) {
	if s.json {
		s.object(map[string]any{"event": "expected", "run": f.Run, "cached": f.Cached, "exact": f.Exact, "seconds": round3(f.Seconds),
			"cache_bytes": f.CacheBytes, "output_bytes": f.OutBytes, "learned": f.Learned, "room": lack == ""})
		return
	}
	s.line("%s", expectedText(f))
}

func expectedText(f pipeline.Forecast) string {
	writes := ""
	if f.OutBytes > 0 {
		writes = fmt.Sprintf(", %s of output", bytesText(f.OutBytes))
	}
	if f.Run == 0 {
		return fmt.Sprintf("expected: all %d parts are in the cache, nothing to compute%s", f.Cached, writes)
	}
	about := ""
	if !f.Exact {
		about = "about "
	}
	text := fmt.Sprintf("expected: %d parts are in the cache, %s%d will run, about %s, %s of cache", f.Cached, about, f.Run,
		durationText(f.Seconds), bytesText(f.CacheBytes)) + writes
	if !f.Learned {
		text += " (a first guess: later ones learn from this run)"
	}
	return text
}
