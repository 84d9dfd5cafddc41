package ser

import (
	"encoding/binary"
	"fmt"
	"io"
	"time"

	"plenilune/steps/format/raw"
)

// File is what the head, the length and the trailer of a file tell. Frames are
// not read; see raw.Sample for what only they can tell.
type File struct {
	Header   Header
	Layout   raw.Layout // byte order as the flag states it
	Frames   int        // whole frames in the file that are to be used
	CutShort bool       // fewer frames than declared
	Unclosed bool       // the header declares no frames, yet some are there: the recording was never finished
	Extra    int64      // bytes behind everything that the header explains

	// Times holds the time of each frame in Unix nanoseconds, UTC, 0 where it is
	// not believable; nil when there is no trailer or most of it is not believable.
	Times      []int64
	TimesLocal bool // the trailer held local time; Times is corrected by the header's difference
}

// Open reads all of a file but its frames. Every size is checked against the
// file's length before memory is taken.
func Open(r io.ReaderAt, size int64) (*File, error) {
	b := make([]byte, min(HeaderSize, max(size, 0)))
	if n, err := r.ReadAt(b, 0); n < len(b) {
		return nil, fmt.Errorf("read header at byte %d: %w", n, err)
	}
	h, err := ParseHeader(b)
	if err != nil {
		return nil, err
	}
	f := &File{Header: h, Layout: h.Layout()}
	if err := f.Layout.Check(); err != nil {
		return nil, fmt.Errorf("header: %w", err)
	}
	have := f.Layout.Frames(size)
	declared := int64(h.Frames)
	f.Unclosed = declared <= 0 && have > 0
	if f.Unclosed {
		declared = have
	}
	used := max(0, min(declared, have))
	if used > raw.MaxFrames {
		return nil, fmt.Errorf("byte %d: %d frames, more than the %d that are read; split the file", atCount, used, raw.MaxFrames)
	}
	f.Frames = int(used)
	f.CutShort = have < declared
	if f.CutShort || f.Unclosed {
		return f, nil
	}
	end := HeaderSize + used*f.Layout.Stride
	f.Extra = size - end
	if used == 0 || f.Extra < 8*used {
		return f, nil
	}
	f.Extra -= 8 * used
	return f, f.readTrailer(r, end)
}

func (f *File) readTrailer(r io.ReaderAt, at int64) error {
	b := make([]byte, 8*f.Frames)
	if n, err := r.ReadAt(b, at); n < len(b) {
		return fmt.Errorf("read trailer at byte %d: %w", at+int64(n), err)
	}
	times, good := make([]int64, f.Frames), 0
	for i := range times {
		ns, ok := Ticks(binary.LittleEndian.Uint64(b[8*i:])).UnixNano()
		if ok {
			times[i] = ns
			good++
		}
	}
	if 2*good <= f.Frames {
		return nil
	}
	f.Times = times
	f.fixLocal()
	return nil
}

// fixLocal undoes a trailer in local time: it then agrees with the header's local
// start and differs from its UTC start. The window of a quarter of an hour is
// the smallest step between time zones.
func (f *File) fixLocal() {
	const near = int64(15*time.Minute) / 2
	local, ok1 := f.Header.Local.UnixNano()
	utc, ok2 := f.Header.UTC.UnixNano()
	var first int64
	for _, t := range f.Times {
		if first = t; first != 0 {
			break
		}
	}
	if !ok1 || !ok2 || distance(first, local) > near || distance(first, utc) <= near {
		return
	}
	f.TimesLocal = true
	for i, t := range f.Times {
		if t != 0 {
			f.Times[i] = t + (utc - local)
		}
	}
}

func distance(a, b int64) int64 { return max(a-b, b-a) }

// Start returns when the recording began, in Unix nanoseconds UTC, and where
// that stands: "trailer", "header", or "" with 0 when it is unknown.
func (f *File) Start() (ns int64, source string) {
	for _, t := range f.Times {
		if t != 0 {
			return t, "trailer"
		}
	}
	if t, ok := f.Header.UTC.UnixNano(); ok {
		return t, "header"
	}
	return 0, ""
}

// Begins tells whether a file's first bytes are those of SER, or as many of them as it has.
func Begins(head []byte) bool {
	n := min(len(head), len(fileID))
	return n > 0 && string(head[:n]) == string(fileID[:n])
}

// OpenClip is Open for whoever reads clips of any kind.
func OpenClip(r io.ReaderAt, size int64) (*raw.Clip, error) {
	f, err := Open(r, size)
	if err != nil {
		return nil, err
	}
	c := &raw.Clip{Format: "SER", Layout: f.Layout, Depth: int(f.Header.Depth), Frames: f.Frames, Declared: int64(f.Header.Frames),
		CutShort: f.CutShort, Unclosed: f.Unclosed, Extra: f.Extra, OrderOpen: true, Times: f.Times, TimesLocal: f.TimesLocal}
	c.Start, c.TimeSource = f.Start()
	return c, nil
}
