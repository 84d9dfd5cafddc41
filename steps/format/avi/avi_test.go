package avi

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plenilune/steps/format/formattest"
	"plenilune/steps/format/outsidetest"
	"plenilune/steps/format/raw"
)

func written(t testing.TB, f formattest.Film, o formattest.AVIOptions) []byte {
	t.Helper()
	b, err := formattest.AVI(f, o)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func opened(t testing.TB, b []byte) *raw.Clip {
	t.Helper()
	c, err := Open(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// A file laid out byte by byte, of two frames of 3×2 px from the bottom, as the sources have it.
func TestByHand(t *testing.T) {
	u32 := func(v ...uint32) (s string) {
		for _, v := range v {
			s += string(binary.LittleEndian.AppendUint32(nil, v))
		}
		return s
	}
	strh := "vidsDIB " + u32(0, 0, 0, 1, 25, 0, 2, 0, 0, 0, 0, 0)
	strf := u32(40, 3, 2) + "\x01\x00\x08\x00" + u32(0, 8, 0, 0, 0, 0)
	strl := "strl" + "strh" + u32(uint32(len(strh))) + strh + "strf" + u32(40) + strf
	hdrl := "hdrl" + "avih" + u32(20) + u32(40000, 0, 0, 0, 2) + "LIST" + u32(uint32(len(strl))) + strl
	movi := "movi" + "00db" + u32(8) + "\x01\x02\x03-\x04\x05\x06-" + "00db" + u32(8) + "\x07\x08\x09-\x0a\x0b\x0c-"
	body := "AVI " + "LIST" + u32(uint32(len(hdrl))) + hdrl + "LIST" + u32(uint32(len(movi))) + movi
	b := []byte("RIFF" + u32(uint32(len(body))) + body)
	c := opened(t, b)
	f, err := formattest.Read(b, c)
	if err != nil {
		t.Fatal(err)
	}
	if got := fmt.Sprint(f.Frames); got != "[[4 5 6 1 2 3] [10 11 12 7 8 9]]" {
		t.Errorf("frames %s", got)
	}
	if c.Declared != 2 || c.CutShort || c.Unclosed || c.Depth != 8 || c.Layout.RowStride != 4 || c.TimeSource != "" {
		t.Errorf("%+v", c)
	}
}

// The frames are found by the indexes where those are right, and by a search where they are not.
func TestIndexesMustBearACheck(t *testing.T) {
	film := formattest.Scene(8, 6, 20, 8, raw.Mono)
	spoil := func(b []byte, name string, at int, v byte) []byte {
		b = bytes.Clone(b)
		b[bytes.LastIndex(b, []byte(name))+8+at] = v
		return b
	}
	old, dml := written(t, film, formattest.AVIOptions{Code: "Y800"}), written(t, film, formattest.AVIOptions{Code: "Y800", OpenDML: 5})
	for _, c := range []struct {
		name string
		b    []byte
		by   string
	}{
		{"idx1", old, "its index"},
		{"idx1 from the beginning", written(t, film, formattest.AVIOptions{Code: "Y800", FromFile: true}), "its index"},
		{"OpenDML", dml, "its indexes"},
		{"idx1, first place wrong", spoil(old, "idx1", 8, 9), "a search"},
		{"idx1, a place wrong in the middle", spoil(old, "idx1", 16*9+8, 1), "a search"},
		{"idx1, last length wrong", spoil(old, "idx1", 16*19+12, 1), "a search"},
		{"idx1, another stream", spoil(old, "idx1", 16*3+1, '7'), "a search"},
		{"OpenDML, base wrong", spoil(dml, "ix00", 12, 1), "a search"},
		{"OpenDML, too many entries", spoil(dml, "ix00", 5, 1), "a search"},
		{"OpenDML, index of fields", spoil(dml, "ix00", 2, 1), "a search"},
		{"OpenDML, place of an index wrong", spoil(dml, "indx", 24, 1), "a search"},
	} {
		clip := opened(t, c.b)
		if clip.Frames != 20 || !strings.HasSuffix(clip.Format, "found by "+c.by) {
			t.Errorf("%s: %d frames, %s", c.name, clip.Frames, clip.Format)
		}
		f, err := formattest.Read(c.b, clip)
		if err != nil || fmt.Sprint(f.Frames) != fmt.Sprint(film.Frames) {
			t.Errorf("%s: frames differ (%v)", c.name, err)
		}
	}
}

// An index that is named again and again, of frames said to be lost, takes no frames away, nor time.
func TestIndexesAreReadOnce(t *testing.T) {
	b := written(t, formattest.Scene(8, 6, 200, 8, raw.Mono), formattest.AVIOptions{Code: "Y800", OpenDML: 10})
	super, first := bytes.Index(b, []byte("indx"))+32, bytes.Index(b, []byte("ix00"))
	for i := range 20 {
		copy(b[super+16*i:], b[super:super+16])
	}
	for i := range 10 {
		copy(b[first+32+8*i+4:], []byte{0, 0, 0, 0})
	}
	if c := opened(t, b); c.Frames != 200 || !strings.HasSuffix(c.Format, "a search") {
		t.Errorf("%d frames, %s", c.Frames, c.Format)
	}
}

// Frames at equal distances need no list, however many there are.
func TestFewRuns(t *testing.T) {
	for want, o := range map[int]formattest.AVIOptions{
		0: {Code: "Y800"}, 2: {Code: "Y800", OpenDML: 500}, 500: {Code: "Y800", Sound: 2},
	} {
		c := opened(t, written(t, formattest.Scene(8, 2, 1000, 8, raw.Mono), o))
		if len(c.Layout.Runs) != want || c.Frames != 1000 {
			t.Errorf("%+v: %d runs of %d frames, want %d", o, len(c.Layout.Runs), c.Frames, want)
		}
	}
}

func TestLostFrames(t *testing.T) {
	b := written(t, formattest.Scene(8, 6, 9, 8, raw.Mono), formattest.AVIOptions{Code: "Y800", Dropped: 3})
	c := opened(t, b)
	if c.Frames != 9 || c.Declared != 12 || c.CutShort || len(c.Remarks) != 1 || c.Remarks[0].Code != "clip-dropped-frames" || !strings.Contains(c.Remarks[0].Text, "3 places") {
		t.Errorf("%+v", c)
	}
	// A frame that lost half its bytes.
	film := formattest.Scene(8, 6, 4, 8, raw.Mono)
	b = written(t, film, formattest.AVIOptions{Code: "Y800", NoIndex: true})
	at := bytes.LastIndex(b, []byte("00db"))
	binary.LittleEndian.PutUint32(b[at+4:], 24)
	c = opened(t, b[:at+8+24])
	if c.Frames != 3 || c.CutShort || len(c.Remarks) != 1 || c.Remarks[0].Code != "clip-damaged-frames" {
		t.Errorf("%+v", c)
	}
}

// Each fault is told in one line, with the byte and what to do.
func TestFaults(t *testing.T) {
	good := written(t, formattest.Scene(8, 6, 2, 8, raw.Mono), formattest.AVIOptions{})
	strf := bytes.Index(good, []byte("strf")) + 8
	change := func(at int, s string) []byte {
		b := bytes.Clone(good)
		copy(b[at:], s)
		return b
	}
	for _, c := range []struct {
		b    []byte
		want string
	}{
		{good[:12], "byte 12: the file ends before its headers"},
		{change(bytes.Index(good, []byte("vids")), "auds"), "no stream of pictures"},
		{change(strf-8, "junk"), "the pictures' format is not described"},
		{change(strf+16, "MJPG"), fmt.Sprintf(`byte %d: the video is packed as "MJPG"; of AVI, uncompressed video is read as it is (8 bit grey, 24 bit colour, Y800, GREY, Y16, a filter mosaic of 8 bits), other video by way of FFmpeg`, strf+16)},
		{change(strf+16, "\x1b[2J"), `the video is packed as "\x1b[2J"`},
		{change(strf+14, "\x10"), "the video has 16 bits a pixel"},
		{change(strf+4, "\x00"), "a frame of 0×6 px"},
		{change(strf+4, "\xff\xff\xff\xff"), "a frame of -1×6 px"},
		{change(strf+8, "\x00\x00\x00\x80"), "a frame of 8×2147483648 px"},
		{change(strf+40+4*7, "\x01"), fmt.Sprintf("byte %d: colour 7 of the palette is no grey (red 7, green 7, blue 1)", strf+40+4*7)},
	} {
		_, err := Open(bytes.NewReader(c.b), int64(len(c.b)))
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.HasPrefix(err.Error(), "byte ") || strings.Contains(err.Error(), "\n") {
			t.Errorf("error %v, want one line with %q", err, c.want)
		}
	}
	var packed *Compressed
	b := change(strf+16, "H264")
	if _, err := Open(bytes.NewReader(b), int64(len(b))); !errors.As(err, &packed) || packed.Code != "H264" {
		t.Errorf("error %v is no Compressed of H264", err)
	}
}

// Files beyond 2 and 4 GiB: with OpenDML's indexes, with none, and as one RIFF whose length does
// not fit its field. They are sparse: only headers and the last frame's samples are written.
func TestLargeFiles(t *testing.T) {
	const side, frames, per = 4096, 330, 60 // 16 MiB a frame
	for _, o := range []formattest.AVIOptions{{OpenDML: per}, {OpenDML: per, NoIndex: true}, {NoIndex: true}, {}} {
		f, err := os.Create(filepath.Join(t.TempDir(), "large.avi"))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		size := sparse(t, f, side, frames, o)
		if size < 5<<30 {
			t.Fatalf("%d bytes are no large file", size)
		}
		c, err := Open(f, size)
		if err != nil {
			t.Fatal(err)
		}
		if c.Frames != frames || c.CutShort || (o.OpenDML > 0 && !o.NoIndex) != strings.Contains(c.Format, "its indexes") {
			t.Errorf("%+v: %d of %d frames, %s", o, c.Frames, frames, c.Format)
		}
		r, err := raw.NewReader(f, size, c.Layout)
		if err != nil {
			t.Fatal(err)
		}
		b := make([]byte, side*side)
		if err := r.Bytes(frames-1, b); err != nil || b[0] != 42 || b[len(b)-1] != 43 {
			t.Errorf("%+v: the last frame is %d … %d (%v)", o, b[0], b[len(b)-1], err)
		}
	}
}

// sparse writes what stands between the frames of a large file, by writing a film of small ones
// and moving its pieces apart.
func sparse(t *testing.T, f *os.File, side, frames int, o formattest.AVIOptions) int64 {
	t.Helper()
	o.Code = "Y800"
	small := written(t, formattest.Scene(2, 2, frames, 8, raw.Mono), o)
	strf := bytes.Index(small, []byte("strf")) + 8
	binary.LittleEndian.PutUint32(small[strf+4:], uint32(side))
	binary.LittleEndian.PutUint32(small[strf+8:], uint32(side))
	grow := int64(side)*int64(side) - 8 // of each frame: rows of two samples were filled up
	var moved []int64                   // by place in small of each frame's data
	place := func(at int64) int64 {     // where what stood at a byte of the small file stands
		n := int64(0)
		for n < int64(len(moved)) && moved[n] < at {
			n++
		}
		return at + n*grow
	}
	for at := bytes.Index(small, []byte("movi")); ; {
		k := bytes.Index(small[at:], []byte("00db\x08\x00\x00\x00"))
		if k < 0 {
			break
		}
		at += k + 8
		moved = append(moved, int64(at))
	}
	if len(moved) != frames {
		t.Fatalf("%d frames in the small file", len(moved))
	}
	moveLengths(small, int64(side)*int64(side), place)
	at := int64(0)
	for i, m := range moved {
		binary.LittleEndian.PutUint32(small[m-4:], uint32(side*side))
		if _, err := f.WriteAt(small[at:m], at+int64(i)*grow); err != nil {
			if outsidetest.Required() {
				t.Fatalf("sparse files are required here: %v", err)
			}
			t.Skipf("no room for sparse files here: %v", err)
		}
		at = m + 8
	}
	end := at + int64(frames)*grow
	for p, v := range map[int64]byte{end - int64(side)*int64(side): 42, end - 1: 43} {
		if _, err := f.WriteAt([]byte{v}, p); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := f.WriteAt(small[at:], end); err != nil {
		t.Fatal(err)
	}
	return end + int64(len(small)) - at
}

// moveLengths corrects, in a small file whose pieces will be moved apart, what says where they are.
func moveLengths(small []byte, frame int64, place func(int64) int64) {
	fix := func(at, by int, v int64) {
		if by == 8 {
			binary.LittleEndian.PutUint64(small[at:], uint64(v))
		} else {
			binary.LittleEndian.PutUint32(small[at:], uint32(v))
		}
	}
	for _, name := range []string{"RIFF", "movi", "indx", "ix00", "idx1"} {
		for from := 0; ; {
			k := bytes.Index(small[from:], []byte(name))
			if k < 0 {
				break
			}
			k += from
			from = k + 4
			switch name {
			case "RIFF":
				fix(k+4, 4, place(int64(k)+8+int64(binary.LittleEndian.Uint32(small[k+4:])))-place(int64(k))-8)
			case "movi":
				fix(k-4, 4, place(int64(k)+int64(binary.LittleEndian.Uint32(small[k-4:])))-place(int64(k)))
			case "indx":
				for i := range int(binary.LittleEndian.Uint32(small[k+12:])) {
					e := k + 32 + 16*i
					fix(e, 8, place(int64(binary.LittleEndian.Uint64(small[e:]))))
				}
			case "ix00":
				base := int64(binary.LittleEndian.Uint64(small[k+20:]))
				for i := range int(binary.LittleEndian.Uint32(small[k+12:])) {
					e := k + 32 + 8*i
					fix(e, 4, place(base+int64(binary.LittleEndian.Uint32(small[e:])))-place(base))
					fix(e+4, 4, frame)
				}
				fix(k+20, 8, place(base))
			case "idx1": // places of a file beyond 4 GiB do not fit: they stay wrong
			}
		}
	}
}
