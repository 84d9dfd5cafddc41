package tiff

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	xtiff "golang.org/x/image/tiff"

	"plenilune/pipeline/boundtest"
	"plenilune/steps/format/icc"
)

// picture makes random rows for a header and keeps what it made.
func picture(h Header, seed uint64) (rows [][]byte, row func(y int, dst []byte) error) {
	r := rand.New(rand.NewPCG(seed, 3))
	rows = make([][]byte, h.Height)
	for y := range rows {
		rows[y] = make([]byte, h.RowBytes())
		for i := range rows[y] {
			rows[y][i] = byte(r.Uint64())
			if h.Sample == Float32 && i%4 == 3 {
				rows[y][i] = 0x3e // keeps every value finite, about 0.1 to 0.5
			}
		}
	}
	return rows, func(y int, dst []byte) error {
		copy(dst, rows[y])
		return nil
	}
}

// sampleAt is sample i of a row as it stands in a file.
func sampleAt(row []byte, s Sample, i int) float32 {
	switch s {
	case Uint8:
		return float32(row[i])
	case Uint16:
		return float32(uint16(row[2*i]) | uint16(row[2*i+1])<<8)
	}
	return math.Float32frombits(binary.LittleEndian.Uint32(row[4*i:]))
}

// loaded reads a file with its pixels.
func loaded(t testing.TB, file []byte) *Picture {
	t.Helper()
	p, err := Open(bytes.NewReader(file), int64(len(file)))
	if err == nil {
		err = p.Load(1 << 30)
	}
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func encode(t testing.TB, h Header, row func(int, []byte) error) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Encode(&b, h, row); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// kinds is every kind of file that Encode writes, with odd sizes and many strips.
func kinds() (out []Header) {
	for _, channels := range []int{1, 3} {
		for _, alpha := range []bool{false, true} {
			for _, s := range []Sample{Uint8, Uint16, Float32} {
				for _, big := range []bool{false, true} {
					for _, tile := range []int{0, 128} {
						out = append(out, Header{Width: 521, Height: 301, Channels: channels, Alpha: alpha, Sample: s, Big: big, Tile: tile,
							Description: "a disk", Software: "plenilune", PxPerCM: 118.11, Profile: icc.Profile(icc.Kind{Grey: channels == 1, Linear: true})})
					}
				}
			}
		}
	}
	return out
}

func (h Header) String() string {
	return fmt.Sprintf("%d channels, alpha %v, sample %d, big %v, tiles of %d", h.Channels, h.Alpha, h.Sample, h.Big, h.Tile)
}

// TestSmallestFile lays one pixel out byte by byte, as TIFF 6.0 section 2 has it.
func TestSmallestFile(t *testing.T) {
	h := Header{Width: 1, Height: 1, Channels: 1, Sample: Uint16}
	got := hex.EncodeToString(encode(t, h, func(_ int, dst []byte) error { dst[0], dst[1] = 0x34, 0x12; return nil }))
	want := "49492a00 1a000000" + // little-endian, 42, directory at 26
		"3412" + // the pixel
		"e8030000e8030000 e8030000e8030000" + // resolutions 1000/1000
		"0e00" + // 14 entries: tag, type, count, value
		"0001 0400 01000000 01000000" + "0101 0400 01000000 01000000" + "0201 0300 01000000 10000000" + "0301 0300 01000000 01000000" +
		"0601 0300 01000000 01000000" + "1101 0400 01000000 08000000" + "1501 0300 01000000 01000000" + "1601 0400 01000000 01000000" +
		"1701 0400 01000000 02000000" + "1a01 0500 01000000 0a000000" + "1b01 0500 01000000 12000000" + "1c01 0300 01000000 01000000" +
		"2801 0300 01000000 01000000" + "5301 0300 01000000 01000000" + "00000000"
	if want = strings.ReplaceAll(want, " ", ""); got != want {
		t.Errorf("file is\n%s, want\n%s", got, want)
	}
	h.Big = true // BigTIFF: 43, offsets of 8 bytes
	b := encode(t, h, func(int, []byte) error { return nil })
	if want := "49492b0008000000" + "1200000000000000"; hex.EncodeToString(b[:16]) != want {
		t.Errorf("head of BigTIFF is %x, want %s", b[:16], want)
	}
}

// TestRoundTrip reads every kind back, before and after a text was put in twice.
func TestRoundTrip(t *testing.T) {
	for _, h := range kinds() {
		rows, row := picture(h, 4)
		file := encode(t, h, row)
		if !bytes.Equal(file, encode(t, h, row)) {
			t.Errorf("%v: two writings differ", h)
		}
		check := func(file []byte, xmp string) {
			t.Helper()
			p := loaded(t, file)
			if p.Width != h.Width || p.Height != h.Height || p.Channels != h.Channels || p.Sample != h.Sample || !bytes.Equal(p.Profile, h.Profile) {
				t.Errorf("%v: read as %d×%d px, %d channels, sample %d", h, p.Width, p.Height, p.Channels, p.Sample)
			}
			if !bytes.Equal(p.pix, bytes.Join(rows, nil)) {
				t.Fatalf("%v: pixels differ", h)
			}
			row := make([]float32, h.Width*h.Channels)
			p.Row(h.Height-1, row)
			for i, v := range row {
				at := i/h.Channels*h.samples() + i%h.Channels
				if want := sampleAt(rows[h.Height-1], h.Sample, at); v != want {
					t.Fatalf("%v: sample %d of the last row is %g, want %g", h, i, v, want)
				}
			}
			if x, err := ReadXMP(bytes.NewReader(file), int64(len(file))); err != nil || string(x) != xmp {
				t.Errorf("%v: XMP read as %q, %v", h, x, err)
			}
		}
		check(file, "")
		for _, xmp := range []string{strings.Repeat("a longer one ", 9999), "<odd>"} {
			var err error
			if file, err = WithXMP(file, []byte(xmp)); err != nil {
				t.Fatal(err)
			}
			check(file, xmp)
		}
		h.XMP = []byte("<odd>")
		if !bytes.Equal(file, encode(t, h, row)) {
			t.Errorf("%v: a text put in later gives other bytes than one written at once", h)
		}
	}
}

// TestBigWhereNeeded: beyond 4 GiB classic offsets do not reach. No pixel is made.
func TestBigWhereNeeded(t *testing.T) {
	small := Header{Width: 30000, Height: 30000, Channels: 1, Sample: Float32}
	large := Header{Width: 30000, Height: 12000, Channels: 3, Sample: Float32}
	if small.big() || !large.big() {
		t.Errorf("%d bytes: big %v; %d bytes: big %v", small.RowBytes()*30000, small.big(), large.RowBytes()*12000, large.big())
	}
	offsets := large.strips(16)[0].value
	last := int64(binary.LittleEndian.Uint64(offsets[len(offsets)-8:]))
	rows := large.rowsPerStrip()
	if want := 16 + int64((large.Height-1)/rows*rows)*int64(large.RowBytes()); last != want || last < 1<<32 {
		t.Errorf("the last strip begins at byte %d, want %d", last, want)
	}
}

// TestAgainstXImage compares samples with golang.org/x/image/tiff, a reader that
// is not ours; it knows 8 and 16 bits.
func TestAgainstXImage(t *testing.T) {
	for _, h := range kinds() {
		if h.Sample == Float32 || h.Big || h.Alpha && h.Channels == 1 {
			continue
		}
		rows, row := picture(h, 5)
		img, err := xtiff.Decode(bytes.NewReader(encode(t, h, row)))
		if err != nil {
			t.Errorf("%v: %v", h, err)
			continue
		}
		n := h.samples()
		for y := 0; y < h.Height; y += 7 {
			for x := range h.Width {
				want := func(k int) uint32 {
					i := x*n + k
					if h.Sample == Uint8 {
						return uint32(rows[y][i]) * 0x101
					}
					return uint32(rows[y][2*i]) | uint32(rows[y][2*i+1])<<8
				}
				r, g, b, a := img.At(x, y).RGBA()
				got := []uint32{r, g, b}[:h.Channels]
				for k := range got {
					w := want(k)
					if h.Alpha { // At gives colours times alpha
						w = w * want(h.Channels) / 0xffff
						if a != want(h.Channels) {
							t.Fatalf("%v: alpha at %d,%d is %d, want %d", h, x, y, a, want(h.Channels))
						}
					}
					if got[k] != w {
						t.Fatalf("%v: sample %d,%d,%d is %d, want %d", h, x, y, k, got[k], w)
					}
				}
			}
		}
	}
}

func TestFaults(t *testing.T) {
	h := Header{Width: 40, Height: 30, Channels: 3, Sample: Uint8, Software: "plenilune"}
	_, row := picture(h, 6)
	for _, big := range []bool{false, true} {
		h.Big = big
		file := encode(t, h, row)
		for n := range file {
			_, err := Open(bytes.NewReader(file[:n]), int64(n))
			if next := map[bool]int{false: 4, true: 8}[big]; err == nil && n < len(file)-next { // where a next directory stands
				t.Fatalf("big %v: %d of %d bytes were read", big, n, len(file))
			}
			if _, err := WithXMP(file[:n:n], []byte("<x/>")); err == nil {
				t.Fatalf("big %v: %d of %d bytes were taken for a whole file", big, n, len(file))
			}
		}
	}
	bad := map[string]Header{"0×5 px": {Height: 5, Channels: 1}, "2 channels": {Width: 1, Height: 1, Channels: 2}, "tiles of 40 px": {Width: 1, Height: 1, Channels: 1, Tile: 40}, "sample type 9": {Width: 1, Height: 1, Channels: 1, Sample: 9}}
	for want, h := range bad {
		if err := Encode(&bytes.Buffer{}, h, row); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want one with %q", err, want)
		}
	}
	broken := errors.New("no more rows")
	if err := Encode(&bytes.Buffer{}, h, func(int, []byte) error { return broken }); !errors.Is(err, broken) {
		t.Errorf("error %v, want the row's", err)
	}
}

// TestOnlyOwnFiles: a text is put into no file that differs from what Encode writes, since what differs would be lost.
func TestOnlyOwnFiles(t *testing.T) {
	_, row := picture(Header{Width: 40, Height: 30, Channels: 1, Sample: Uint8}, 6)
	own := encode(t, Header{Width: 40, Height: 30, Channels: 1, Sample: Uint8}, row)
	changed := func(tag uint16, to byte) []byte { // the number of an entry
		b := bytes.Clone(own)
		b[bytes.LastIndex(b, binary.LittleEndian.AppendUint16(nil, tag))+8] = to
		return b
	}
	files := map[string][]byte{
		"longer":                append(bytes.Clone(own), 0),
		"strips of 15 rows":     changed(tagStripRows, 15),
		"pixels elsewhere":      changed(tagOffsets, 9),
		"inches":                changed(tagUnit, 2),
		"0 is white":            changed(tagPhotometric, 0),
		"compressed":            changed(tagCompression, 8),
		"more rows than it has": changed(tagHeight, 250),
	}
	for _, k := range strangers {
		files[k.mark] = pagesFile(k.order, k.mark, k.big, 0)
	}
	for name, b := range files {
		if _, err := WithXMP(bytes.Clone(b), []byte("<x/>")); err == nil {
			t.Errorf("%q was taken for a file that Encode wrote", name)
		}
	}
	if _, err := WithXMP(own, []byte("<x/>")); err != nil {
		t.Error(err)
	}
}

func FuzzOpen(f *testing.F) {
	for i, big := range []bool{false, true, true} {
		h := Header{Width: 3, Height: 2, Channels: 3, Sample: Uint16, Big: big, Tile: i / 2 * 16, Description: "d", XMP: []byte("<x/>"), PxPerCM: 10}
		_, row := picture(h, 7)
		f.Add(encode(f, h, row))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		var held []byte
		boundtest.Reading(t, b, func(r io.ReaderAt, size int64) {
			held, _ = ReadXMP(r, size)
			_, _ = Open(r, size)
		})
		if len(held) > len(b) {
			t.Fatalf("%d bytes of text in a file of %d", len(held), len(b))
		}
		var out []byte
		var refused error
		boundtest.Memory(t, len(b), boundtest.MemoryEach, func() { out, refused = WithXMP(bytes.Clone(b), []byte("<y/>")) })
		if refused != nil {
			return
		}
		if !bytes.Equal(loaded(t, b).pix, loaded(t, out).pix) {
			t.Fatal("the pixels are others after a text was put in")
		}
		if x, err := ReadXMP(bytes.NewReader(out), int64(len(out))); err != nil || string(x) != "<y/>" {
			t.Fatalf("the text that was put in is read as %q (%v)", x, err)
		}
		if back, err := WithXMP(out, held); err != nil || !bytes.Equal(back, b) {
			t.Fatalf("the text that it held put in again gives another file (%v)", err)
		}
	})
}

func BenchmarkEncode(b *testing.B) {
	h := Header{Width: 4000, Height: 1000, Channels: 1, Sample: Float32}
	b.SetBytes(int64(h.RowBytes()) * int64(h.Height))
	for b.Loop() {
		if err := Encode(&bytes.Buffer{}, h, func(int, []byte) error { return nil }); err != nil {
			b.Fatal(err)
		}
	}
}
