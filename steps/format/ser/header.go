// Package ser reads and writes SER version 3, a published layout for raw video:
// a header of 178 bytes, frames back to back, and an optional trailer with the
// time of each frame.
//
// Source of offsets and meanings: "SER format description version 3",
// H. Wilkens and G. Hahn, 2014-02-06.
package ser

import (
	"encoding/binary"
	"errors"
	"fmt"
	"strings"

	"plenilune/steps/format/raw"
)

// HeaderSize is the length of the header in bytes; frame 0 follows it.
const HeaderSize = 178

// fileID is what the file begins with, as the format description prints it.
var fileID = [14]byte{0x4c, 0x55, 0x43, 0x41, 0x4d, 0x2d, 0x52, 0x45, 0x43, 0x4f, 0x52, 0x44, 0x45, 0x52}

// maxSide bounds width and height in pixels; no sensor comes near it, and no
// product of sizes below overflows.
const maxSide = 1 << 20

// Header is the head of a file, every field of it.
type Header struct {
	LuID       int32   // unused by writers of today
	Color      ColorID // what a sample stands for
	LittleFlag int32   // the byte-order flag as published: 0 big-endian, 1 little-endian samples; files differ, see raw.Evidence.Order
	Width      int32   // px
	Height     int32   // px, first row uppermost
	Depth      int32   // true bits a sample, 1…16
	Frames     int32   // as declared; the file may hold fewer
	Observer   string  // at most 40 bytes, like the next two
	Instrument string
	Telescope  string
	Local      Ticks // start of the recording by the clock on the wall
	UTC        Ticks // the same moment in UTC
}

// Offsets of the fields that error messages name.
const (
	atColor = 18
	atFlag  = 22
	atWidth = 26
	atDepth = 34
	atCount = 38
	atText  = 42
	atTimes = 162
)

// ParseHeader reads the first HeaderSize bytes of a file and checks them. Errors
// name the byte at fault.
func ParseHeader(b []byte) (Header, error) {
	var h Header
	if !Begins(b) {
		return h, errors.New("byte 0: the file does not begin with the mark of a SER video; leave it out")
	}
	if len(b) < HeaderSize {
		return h, fmt.Errorf("byte %d: the file ends inside its header of %d bytes; copy it again or leave it out", len(b), HeaderSize)
	}
	i32 := func(at int) int32 { return int32(binary.LittleEndian.Uint32(b[at:])) }
	text := func(i int) string {
		s, _, _ := strings.Cut(string(b[atText+40*i:atText+40*i+40]), "\x00")
		return strings.TrimRight(strings.ToValidUTF8(s, "\uFFFD"), " ")
	}
	h = Header{
		LuID: i32(14), Color: ColorID(i32(atColor)), LittleFlag: i32(atFlag),
		Width: i32(atWidth), Height: i32(atWidth + 4), Depth: i32(atDepth), Frames: i32(atCount),
		Observer: text(0), Instrument: text(1), Telescope: text(2),
		Local: Ticks(binary.LittleEndian.Uint64(b[atTimes:])), UTC: Ticks(binary.LittleEndian.Uint64(b[atTimes+8:])),
	}
	return h, h.check()
}

func (h Header) check() error {
	if h.Color.Pattern() == "" {
		return fmt.Errorf("byte %d: colour ID %d is none of the published ones (%s); leave the file out", atColor, h.Color, knownColors())
	}
	for i, side := range []int32{h.Width, h.Height} {
		if side < 1 || side > maxSide {
			return fmt.Errorf("byte %d: %s of %d px, must lie in 1…%d; the header is damaged, leave the file out",
				atWidth+4*i, [2]string{"a width", "a height"}[i], side, maxSide)
		}
	}
	if h.Depth < 1 || h.Depth > 16 {
		return fmt.Errorf("byte %d: a depth of %d bits, must lie in 1…16; the header is damaged, leave the file out", atDepth, h.Depth)
	}
	return nil
}

// bytes lays the header out as it stands in a file.
func (h Header) bytes() []byte {
	b := make([]byte, HeaderSize)
	copy(b, fileID[:])
	for i, v := range []int32{h.LuID, int32(h.Color), h.LittleFlag, h.Width, h.Height, h.Depth, h.Frames} {
		binary.LittleEndian.PutUint32(b[14+4*i:], uint32(v))
	}
	for i, s := range []string{h.Observer, h.Instrument, h.Telescope} {
		copy(b[atText+40*i:atText+40*i+40], s)
	}
	binary.LittleEndian.PutUint64(b[atTimes:], uint64(h.Local))
	binary.LittleEndian.PutUint64(b[atTimes+8:], uint64(h.UTC))
	return b
}

// Layout returns where the frames lie, with the byte order that the flag states.
func (h Header) Layout() raw.Layout {
	l := raw.Layout{
		Width: int(h.Width), Height: int(h.Height), Planes: 1, SampleBytes: 1,
		Pattern: h.Color.Pattern(), Offset: HeaderSize,
	}
	if h.Color == RGB || h.Color == BGR {
		l.Planes = 3
	}
	if h.Depth > 8 {
		l.SampleBytes = 2
		l.BigEndian = h.LittleFlag == 0
	}
	l.Stride = l.FrameBytes()
	return l
}
