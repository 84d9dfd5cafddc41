package formattest

import (
	"encoding/binary"
	"fmt"

	"plenilune/steps/format/raw"
)

// AVIOptions say how a film is written as AVI.
type AVIOptions struct {
	Code       string // of four characters; "": DIB
	TopDown    bool   // a DIB from the top
	Tight      bool   // rows are not filled up to four bytes
	Palette    []byte // of a DIB of 8 bits, 256 greys; samples are looked up in it, each of its values once
	NoPalette  bool
	OpenDML    int  // frames in each RIFF, with indexes of indexes; 0: AVI 1.0
	NoIndex    bool // of either kind
	FromFile   bool // idx1 counts from the file's beginning
	Unfinished bool // lengths are zero, as a recorder leaves them that is cut off
	Dropped    int  // a chunk without bytes before each so many frames
	Sound      int  // a chunk of sound before each so many frames
}

var le = binary.LittleEndian

// aviFile is a file being written.
type aviFile struct {
	b     []byte
	f     Film
	o     AVIOptions
	super int // where the index of indexes stands
}

// begin opens a chunk or, with a kind, a list, and returns where its length stands.
func (w *aviFile) begin(name, kind string) int {
	w.b = append(w.b, name...)
	at := len(w.b)
	w.b = append(append(w.b, 0, 0, 0, 0), kind...)
	return at
}

func (w *aviFile) end(at int) {
	n := len(w.b) - at - 4
	le.PutUint32(w.b[at:], uint32(n))
	if n&1 == 1 {
		w.b = append(w.b, 0)
	}
}

func (w *aviFile) u32(v ...int) {
	for _, v := range v {
		w.b = le.AppendUint32(w.b, uint32(v))
	}
}

func (w *aviFile) u16(v ...int) {
	for _, v := range v {
		w.b = le.AppendUint16(w.b, uint16(v))
	}
}

// entry is a chunk in an index.
type entry struct {
	name     string
	at, size int // of the data
}

// AVI writes a film as AVI, as the sources named in package avi lay it out.
func AVI(f Film, o AVIOptions) ([]byte, error) {
	if o.Code == "" && f.Bits != 8 {
		return nil, fmt.Errorf("a DIB has no samples of %d bits", f.Bits)
	}
	w := &aviFile{f: f, o: o}
	top := w.begin("RIFF", "AVI ")
	w.heads()
	per := len(f.Frames)
	if o.OpenDML > 0 {
		per = o.OpenDML
	}
	for from := 0; from == 0 || from < len(f.Frames); from += max(per, 1) {
		if from > 0 {
			top = w.begin("RIFF", "AVIX")
		}
		w.part(from, min(len(f.Frames), from+per), from/max(per, 1))
		w.end(top)
	}
	if o.Unfinished {
		w.unfinish()
	}
	return w.b, nil
}

// unfinish makes of the lengths what they are before a recorder closes its file.
func (w *aviFile) unfinish() {
	le.PutUint32(w.b[4:], 0)
	for i := 12; i+12 < len(w.b); i++ {
		switch {
		case string(w.b[i:i+4]) == "LIST" && string(w.b[i+8:i+12]) == "movi":
			le.PutUint32(w.b[i+4:], 0)
			return
		case string(w.b[i:i+4]) == "avih":
			le.PutUint32(w.b[i+8+16:], 0)
		case string(w.b[i:i+4]) == "strh":
			le.PutUint32(w.b[i+8+32:], 0)
		case string(w.b[i:i+4]) == "dmlh":
			le.PutUint32(w.b[i+8:], 0)
		}
	}
}

// places is how many chunks for frames the stream has.
func (w *aviFile) places(frames int) int {
	if w.o.Dropped > 0 {
		frames += (frames + w.o.Dropped - 1) / w.o.Dropped
	}
	return frames
}

func (w *aviFile) heads() {
	f, o := w.f, w.o
	hdrl := w.begin("LIST", "hdrl")
	c := w.begin("avih", "")
	first := len(f.Frames)
	if o.OpenDML > 0 {
		first = min(first, o.OpenDML) // what players of AVI 1.0 see
	}
	w.u32(20000, 0, 0, 0x10, w.places(first), 0, 1, 0, f.Width, f.Height, 0, 0, 0, 0)
	w.end(c)
	strl := w.begin("LIST", "strl")
	c = w.begin("strh", "vids")
	w.b = append(w.b, "DIB "...)
	w.u32(0, 0, 0, 1, 50, 0, w.places(len(f.Frames)), 0, -1, 0, 0, 0)
	w.end(c)
	w.bitmap()
	if o.OpenDML > 0 && !o.NoIndex {
		w.superIndex()
	}
	w.end(strl)
	if o.Sound > 0 {
		strl = w.begin("LIST", "strl")
		c = w.begin("strh", "auds")
		w.u32(0, 0, 0, 0, 1, 8000, 0, 0, 0, -1, 1, 0, 0)
		w.end(c)
		c = w.begin("strf", "")
		w.u16(1, 1, 8000, 0, 8000, 0, 1, 8)
		w.end(c)
		w.end(strl)
	}
	if o.OpenDML > 0 {
		odml := w.begin("LIST", "odml")
		c = w.begin("dmlh", "")
		w.u32(w.places(len(f.Frames)))
		w.end(c)
		w.end(odml)
	}
	w.end(hdrl)
	if f.Note != "" {
		c = w.begin("JUNK", f.Note)
		w.end(c)
	}
}

func (w *aviFile) bitmap() {
	f, o := w.f, w.o
	c := w.begin("strf", "")
	height, code, n := f.Height, "\x00\x00\x00\x00", 0
	if o.TopDown {
		height = -height
	}
	if o.Code != "" {
		code = o.Code
	} else if f.Planes() == 1 && !o.NoPalette {
		n = 256
	}
	w.u32(40, f.Width, height)
	w.u16(1, f.Bits*f.Planes())
	w.b = append(w.b, code...)
	w.u32(len(w.frame(0)), 0, 0, n, 0)
	for i := range n {
		v := i
		if o.Palette != nil {
			v = int(o.Palette[i])
		}
		w.b = append(w.b, byte(v), byte(v), byte(v), 0)
	}
	w.end(c)
}

// superIndex leaves room for the index of indexes.
func (w *aviFile) superIndex() {
	n := (len(w.f.Frames) + w.o.OpenDML - 1) / w.o.OpenDML
	c := w.begin("indx", "")
	w.u16(4, 0)
	w.super = len(w.b)
	w.u32(0)
	w.b = append(w.b, "00db"...)
	w.u32(0, 0, 0)
	w.b = append(w.b, make([]byte, 16*n)...)
	w.end(c)
}

// part writes some of the frames as one list movi, with its index.
func (w *aviFile) part(from, to, k int) {
	movi := w.begin("LIST", "movi")
	base := movi + 4
	var index []entry
	add := func(name string, data []byte) {
		c := w.begin(name, "")
		index = append(index, entry{name, len(w.b), len(data)})
		w.b = append(w.b, data...)
		w.end(c)
	}
	for i := from; i < to; i++ {
		if w.o.Sound > 0 && i%w.o.Sound == 0 {
			add("01wb", make([]byte, 161))
		}
		if w.o.Dropped > 0 && i%w.o.Dropped == 0 {
			add("00db", nil)
		}
		add("00db", w.frame(i))
	}
	if w.o.OpenDML > 0 && !w.o.NoIndex {
		w.standardIndex(index, base, k)
	}
	w.end(movi)
	if w.o.NoIndex || k > 0 {
		return
	}
	if w.o.FromFile {
		base = 0
	}
	c := w.begin("idx1", "")
	for _, e := range index {
		w.b = append(w.b, e.name...)
		w.u32(0x10, e.at-8-base, e.size)
	}
	w.end(c)
}

// standardIndex writes an index of chunks, and its place into the index of indexes.
func (w *aviFile) standardIndex(index []entry, base, k int) {
	at := len(w.b)
	c := w.begin("ix00", "")
	w.u16(2, 0x100)
	n := len(w.b)
	w.u32(0)
	w.b = append(w.b, "00db"...)
	w.b = le.AppendUint64(w.b, uint64(base))
	w.u32(0)
	frames := 0
	for _, e := range index {
		if e.name == "00db" {
			w.u32(e.at-base, e.size)
			frames++
		}
	}
	le.PutUint32(w.b[n:], uint32(frames))
	w.end(c)
	le.PutUint32(w.b[w.super:], uint32(k+1))
	e := w.b[w.super+20+16*k:]
	le.PutUint64(e, uint64(at))
	le.PutUint32(e[8:], uint32(len(w.b)-at))
	le.PutUint32(e[12:], uint32(frames))
}

// frame lays a frame out.
func (w *aviFile) frame(i int) []byte {
	f, o := w.f, w.o
	if i >= len(f.Frames) {
		return nil
	}
	var find [256]byte
	for k, v := range o.Palette {
		find[v] = byte(k)
	}
	rows := make([][]byte, f.Height)
	each := f.Width * f.Planes()
	for y := range rows {
		var row []byte
		for _, v := range f.Frames[i][y*each : (y+1)*each] {
			switch {
			case f.Bits > 8:
				row = le.AppendUint16(row, v)
			case o.Palette != nil:
				row = append(row, find[v])
			default:
				row = append(row, byte(v))
			}
		}
		if f.Pattern == raw.RGB {
			for k := 0; k < len(row); k += 3 {
				row[k], row[k+2] = row[k+2], row[k]
			}
		}
		for !o.Tight && len(row)%4 != 0 {
			row = append(row, byte(0xA0+y)) // what stands there means nothing
		}
		to := y
		if o.Code == "" && !o.TopDown {
			to = f.Height - 1 - y
		}
		rows[to] = row
	}
	var b []byte
	for _, row := range rows {
		b = append(b, row...)
	}
	return b
}
