package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"plenilune/steps/format/clips"
	"plenilune/steps/format/formattest"
	"plenilune/steps/format/raw"
	"plenilune/steps/format/tiff"
)

// scriptPictures writes SER files anew, frame by frame, and removes them: as a folder of PNG or FITS files each, as TIFF files
// beside one another, or as lossless films: pictures png|fits|tiff|film FILE…, patterns too. Contents keep their order.
func scriptPictures(ts *testscript.TestScript, neg bool, args []string) {
	write := map[string]func(*testscript.TestScript, byte, string, formattest.Film){"png": pngFolder, "fits": fitsFolder, "tiff": tiffRun, "film": ffv1}[args[0]]
	if neg || write == nil {
		ts.Fatalf("usage: pictures png|fits|tiff|film FILE…")
	}
	for _, a := range args[1:] {
		found, err := filepath.Glob(ts.MkAbs(a))
		ts.Check(err)
		for _, p := range found {
			b, err := os.ReadFile(p)
			ts.Check(err)
			film, err := filmOf(b)
			ts.Check(err)
			ts.Check(os.Remove(p))
			write(ts, sha256.Sum256(b)[0], strings.TrimSuffix(p, ".ser"), film)
		}
	}
}

// filmOf reads a clip's file.
func filmOf(b []byte) (formattest.Film, error) {
	c, err := clips.Open(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		return formattest.Film{}, err
	}
	seen, err := raw.Sample(bytes.NewReader(b), c.Layout, c.Frames)
	if err != nil {
		return formattest.Film{}, err
	}
	c.Layout.BigEndian, _ = seen.Order(c.Depth, c.Layout.BigEndian)
	return formattest.Read(b, c)
}

// pngFolder writes a folder of PNG files, with a note in the first.
func pngFolder(ts *testscript.TestScript, first byte, stem string, f formattest.Film) {
	ts.Check(os.Mkdir(stem, 0o777))
	var files [][]byte
	for _, pix := range f.Frames {
		var b bytes.Buffer
		if f.Bits == 8 {
			m := image.NewGray(image.Rect(0, 0, f.Width, f.Height))
			for i, v := range pix {
				m.Pix[i] = byte(v)
			}
			ts.Check(png.Encode(&b, m))
		} else {
			m := image.NewGray16(image.Rect(0, 0, f.Width, f.Height))
			for i, v := range pix {
				binary.BigEndian.PutUint16(m.Pix[2*i:], v)
			}
			ts.Check(png.Encode(&b, m))
		}
		files = append(files, b.Bytes())
	}
	plain := files[0]
	orderedSequence(ts, first, files, func(note string) []byte {
		c := binary.BigEndian.AppendUint32(nil, uint32(len(note)+2))
		c = append(append(c, "tEXtn\x00"...), note...)
		c = binary.BigEndian.AppendUint32(c, crc32.ChecksumIEEE(c[4:]))
		return append(append(bytes.Clone(plain[:33]), c...), plain[33:]...)
	})
	for i, b := range files {
		ts.Check(os.WriteFile(filepath.Join(stem, fmt.Sprintf("f%d.png", i)), b, 0o666))
	}
}

// fitsFolder writes a folder of FITS files, each with its frame's time if there is one, and a note in the first.
func fitsFolder(ts *testscript.TestScript, first byte, stem string, f formattest.Film) {
	ts.Check(os.Mkdir(stem, 0o777))
	encode := func(i int, note string) []byte {
		one := f
		one.Frames, one.Note = f.Frames[i:i+1], note
		if len(f.Times) > 0 {
			one.Times = f.Times[i : i+1]
		}
		b, err := formattest.FITS(one, formattest.FITSOptions{Bits: f.Bits})
		ts.Check(err)
		return b
	}
	var files [][]byte
	for i := range f.Frames {
		files = append(files, encode(i, ""))
	}
	orderedSequence(ts, first, files, func(note string) []byte { return encode(0, note) })
	for i, b := range files {
		ts.Check(os.WriteFile(filepath.Join(stem, fmt.Sprintf("f%d.fit", i)), b, 0o666))
	}
}

// tiffFrame is a frame as a TIFF file, with a note.
func tiffFrame(f formattest.Film, i int, note string) ([]byte, error) {
	h := tiff.Header{Width: f.Width, Height: f.Height, Channels: 1, Sample: tiff.Uint16, Description: note}
	if f.Bits == 8 {
		h.Sample = tiff.Uint8
	}
	var b bytes.Buffer
	err := tiff.Encode(&b, h, func(y int, dst []byte) error {
		for x, v := range f.Frames[i][y*f.Width:][:f.Width] {
			if f.Bits == 8 {
				dst[x] = byte(v)
			} else {
				binary.LittleEndian.PutUint16(dst[2*x:], v)
			}
		}
		return nil
	})
	return b.Bytes(), err
}

// tiffRun writes numbered TIFF files, with a note in the first.
func tiffRun(ts *testscript.TestScript, first byte, stem string, f formattest.Film) {
	encode := func(i int, note string) []byte {
		b, err := tiffFrame(f, i, note)
		ts.Check(err)
		return b
	}
	var files [][]byte
	for i := range f.Frames {
		files = append(files, encode(i, ""))
	}
	orderedSequence(ts, first, files, func(note string) []byte { return encode(0, note) })
	for i, b := range files {
		ts.Check(os.WriteFile(fmt.Sprintf("%s_%05d.tif", stem, 7+i), b, 0o666))
	}
}

// orderedSequence gives the first picture a note by which the SHA-256 of the whole begins with a byte.
func orderedSequence(ts *testscript.TestScript, first byte, files [][]byte, with func(note string) []byte) {
	var rest bytes.Buffer
	for _, b := range files[1:] {
		fmt.Fprintf(&rest, "%x\n", sha256.Sum256(b))
	}
	for k := range 10000 {
		files[0] = with(fmt.Sprintf("note %04d", k))
		if sha256.Sum256(fmt.Appendf(nil, "%x\n%s", sha256.Sum256(files[0]), rest.String()))[0] == first {
			return
		}
	}
	ts.Fatalf("no note gives a SHA-256 that begins with %02x", first)
}

// ffv1 writes a film without loss, with a note.
func ffv1(ts *testscript.TestScript, first byte, stem string, f formattest.Film) {
	var pix bytes.Buffer
	format := map[int]string{8: "gray", 16: "gray16le"}[f.Bits]
	for _, frame := range f.Frames {
		for _, v := range frame {
			if f.Bits == 8 {
				pix.WriteByte(byte(v))
			} else {
				pix.Write([]byte{byte(v), byte(v >> 8)})
			}
		}
	}
	path := stem + ".mkv"
	cmd := exec.Command("ffmpeg", "-v", "error", "-f", "rawvideo", "-pix_fmt", format, "-s", fmt.Sprintf("%dx%d", f.Width, f.Height), "-i", "-",
		"-c:v", "ffv1", "-metadata", "title=note 0000", "-write_crc32", "0", "-bitexact", path)
	cmd.Stdin = &pix
	out, err := cmd.CombinedOutput()
	if err != nil {
		ts.Fatalf("ffmpeg: %v\n%s", err, out)
	}
	b, err := os.ReadFile(path)
	ts.Check(err)
	at := bytes.Index(b, []byte("note 0000"))
	for k := range 10000 {
		copy(b[at:], fmt.Sprintf("note %04d", k))
		if sha256.Sum256(b)[0] == first {
			ts.Check(os.WriteFile(path, b, 0o666))
			old := time.Now().Add(-time.Hour)
			ts.Check(os.Chtimes(path, old, old))
			return
		}
	}
	ts.Fatalf("no note gives a SHA-256 that begins with %02x", first)
}
