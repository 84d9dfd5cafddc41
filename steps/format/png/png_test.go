package png

import (
	"bytes"
	"encoding/hex"
	"errors"
	"fmt"
	"hash/adler32"
	"image/color"
	"image/png"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"plenilune/steps/format/outsidetest"
)

// picture makes rows of random samples and keeps what it made.
func picture(w, h, channels, bits int, seed uint64) (Rows, [][]uint16) {
	r := rand.New(rand.NewPCG(seed, 2))
	made := make([][]uint16, h)
	for y := range made {
		made[y] = make([]uint16, w*channels)
		for i := range made[y] {
			made[y][i] = uint16(r.Uint64()) >> (16 - bits)
		}
	}
	return Rows{W: w, H: h, Channels: channels, Bits: bits, Row: func(y int, dst []uint16) error {
		copy(dst, made[y])
		return nil
	}}, made
}

func encode(t testing.TB, p Rows, chunks ...Chunk) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Encode(&b, p, chunks...); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// TestChunksByHand: layouts and numbers of the PNG specification, third edition:
// clause 5.3 (chunk), table 11 (sRGB's gAMA and cHRM), 11.2.1 (IEND).
func TestChunksByHand(t *testing.T) {
	for _, c := range []struct {
		chunk Chunk
		want  string
	}{
		{Chunk{"IEND", nil}, "00000000 49454e44 ae426082"},
		{SRGB()[0], "00000001 73524742 00 aece1ce9"},
		{SRGB()[1], "00000004 67414d41 0000b18f 0bfc6105"},
		{SRGB()[2], "00000020 6348524d 00007a26 00008084 0000fa00 000080e8 00007530 0000ea60 00003a98 00001770 9cba513c"},
		{Density(11811), "00000009 70485973 00002e23 00002e23 01 78a53f76"},
	} {
		if got, want := hex.EncodeToString(c.chunk.append(nil)), strings.ReplaceAll(c.want, " ", ""); got != want {
			t.Errorf("chunk %s is %s, want %s", c.chunk.Type, got, want)
		}
	}
	text, err := Text("Title", "Mond", false)
	if err != nil || string(text.Data) != "Title\x00\x00\x00\x00\x00Mond" {
		t.Errorf("text is %q, %v", text.Data, err)
	}
}

// TestSamplesSurvive reads every kind back with image/png.
func TestSamplesSurvive(t *testing.T) {
	for _, channels := range []int{1, 3} {
		for _, bits := range []int{8, 16} {
			p, made := picture(37, 23, channels, bits, 5)
			img, err := png.Decode(bytes.NewReader(encode(t, p, SRGB()...)))
			if err != nil {
				t.Fatal(err)
			}
			for y := range p.H {
				for x := range p.W {
					c := color.NRGBA64Model.Convert(img.At(x, y)).(color.NRGBA64)
					for k, got := range []uint16{c.R, c.G, c.B}[:channels] {
						if want := made[y][x*channels+k]; got>>(16-bits) != want {
							t.Fatalf("%d channels of %d bits: sample %d,%d,%d is %d, want %d", channels, bits, x, y, k, got>>(16-bits), want)
						}
					}
				}
			}
		}
	}
}

func TestTextsSurvive(t *testing.T) {
	p, _ := picture(5, 4, 1, 16, 6)
	file := encode(t, p, Linear()...)
	long := strings.Repeat("crater, mare; Krater, Meer. ", 4000)
	var texts []Chunk
	for i, s := range []string{"", "a", "ü → 月", long} {
		c, err := Text(fmt.Sprintf("key %d", i), s, i%2 == 1)
		if err != nil {
			t.Fatal(err)
		}
		texts = append(texts, c)
	}
	got, err := Insert(bytes.Clone(file), texts...)
	if err != nil {
		t.Fatal(err)
	}
	chunks, err := Chunks(bytes.NewReader(got), int64(len(got)), func(string) bool { return true })
	if err != nil {
		t.Fatal(err)
	}
	var kinds []string
	for _, c := range chunks {
		kinds = append(kinds, c.Type)
	}
	if want := "IHDR gAMA cHRM iTXt iTXt iTXt iTXt IDAT IEND"; strings.Join(kinds, " ") != want {
		t.Errorf("chunks are %v, want %s", kinds, want)
	}
	for i, want := range []string{"", "a", "ü → 月", long} {
		c := chunks[3+i]
		if s, err := c.Text(); err != nil || s != want || c.Keyword() != fmt.Sprintf("key %d", i) {
			t.Errorf("text %d under %q: %d bytes, %v; want %d bytes", i, c.Keyword(), len(s), err, len(want))
		}
	}
	if _, err := png.Decode(bytes.NewReader(got)); err != nil {
		t.Errorf("image/png refuses the file with texts: %v", err)
	}
}

func TestDamage(t *testing.T) {
	p, _ := picture(9, 9, 3, 8, 7)
	file := encode(t, p, SRGB()...)
	all := func(string) bool { return true }
	for n := range len(file) {
		if _, err := Chunks(bytes.NewReader(file[:n]), int64(n), all); err == nil {
			t.Fatalf("%d of %d bytes were accepted", n, len(file))
		}
	}
	for at := 8; at < len(file); at++ { // any flipped bit, save where it makes a chunk that is still well formed
		b := bytes.Clone(file)
		b[at] ^= 4
		if _, err := Chunks(bytes.NewReader(b), int64(len(b)), all); err == nil {
			t.Fatalf("a flipped bit in byte %d went unseen", at)
		}
	}
	if _, err := Text("", "x", false); err == nil {
		t.Error("an empty keyword was accepted")
	}
	if _, err := Insert([]byte("GIF89a")); err == nil {
		t.Error("a GIF was taken for a PNG")
	}
	broken := errors.New("no more rows")
	p.Row = func(y int, _ []uint16) error { return map[bool]error{true: broken}[y == 4] }
	if err := Encode(&bytes.Buffer{}, p); !errors.Is(err, broken) {
		t.Errorf("error %v, want the row's", err)
	}
}

// withTexts writes a file with everything that we put into files.
func withTexts(t *testing.T, channels, bits int) string {
	t.Helper()
	p, _ := picture(31, 17, channels, bits, 8)
	xmp, err := Text(XMPKeyword, `<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/"><xmp:CreatorTool>plenilune</xmp:CreatorTool></rdf:Description></rdf:RDF></x:xmpmeta>`, false)
	if err != nil {
		t.Fatal(err)
	}
	text, err := Text("Comment", "Mare Crisium → 危海", true)
	if err != nil {
		t.Fatal(err)
	}
	file, err := Insert(encode(t, p, append(SRGB(), Density(11811))...), xmp, text)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "x.png")
	if err := os.WriteFile(path, file, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestPngcheck asks pngcheck for faults.
func TestPngcheck(t *testing.T) {
	pngcheck := outsidetest.Program(t, "pngcheck")
	for _, channels := range []int{1, 3} {
		for _, bits := range []int{8, 16} {
			out, err := exec.Command(pngcheck, "-v", withTexts(t, channels, bits)).CombinedOutput()
			if err != nil || !strings.Contains(string(out), "No errors detected") {
				t.Errorf("%d channels of %d bits: %v\n%s", channels, bits, err, out)
			}
		}
	}
}

// TestExiftool asks exiftool what it reads in our chunks.
func TestExiftool(t *testing.T) {
	out, err := exec.Command(outsidetest.Program(t, "exiftool"), "-s", "-a", "-G0", withTexts(t, 3, 16)).CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	got := strings.Join(strings.Fields(string(out)), " ")
	for _, want := range []string{"SRGBRendering : Perceptual", "Gamma : 2.2", "CreatorTool : plenilune", "Comment : Mare Crisium → 危海", "PixelsPerUnitX : 11811", "BitDepth : 16", "ColorType : RGB"} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	if strings.Contains(got, "Warning") {
		t.Errorf("exiftool warns:\n%s", out)
	}
}

func FuzzChunks(f *testing.F) {
	p, _ := picture(3, 3, 1, 8, 9)
	text, err := Text("key", "text", true)
	if err != nil {
		f.Fatal(err)
	}
	file, err := Insert(encode(f, p, SRGB()...), text)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(file)
	f.Fuzz(func(t *testing.T, b []byte) {
		chunks, err := Chunks(bytes.NewReader(b), int64(len(b)), func(k string) bool { return k == "iTXt" })
		if err != nil {
			return
		}
		for _, c := range chunks {
			_ = c.Keyword()
			_, _ = c.Text() // must neither panic nor take memory without bound
		}
		if out, err := Insert(bytes.Clone(b), Chunk{"tEXt", []byte("a\x00b")}); err == nil {
			if _, err := Chunks(bytes.NewReader(out), int64(len(out)), func(string) bool { return false }); err != nil {
				t.Fatalf("a file that was read is not after an insertion: %v", err)
			}
		}
	})
}

// A picture of several stripes comes back, and its bytes do not depend on how many
// are compressed at once.
func TestStripes(t *testing.T) {
	for _, c := range []struct{ channels, bits int }{{1, 8}, {1, 16}, {3, 8}, {3, 16}} {
		p, want := picture(700, 5*stripeBytes/(700*c.channels*c.bits/8), c.channels, c.bits, 3)
		alone := encode(t, p)
		p.Each = func(n int, fn func(int) error) error {
			errs := make([]error, n)
			var wg sync.WaitGroup
			for i := range n {
				wg.Go(func() { errs[i] = fn(i) })
			}
			wg.Wait()
			return errors.Join(errs...)
		}
		if together := encode(t, p); !bytes.Equal(alone, together) {
			t.Errorf("%+v: the bytes depend on how many stripes are made at once", c)
		}
		img, err := png.Decode(bytes.NewReader(alone))
		if err != nil {
			t.Fatalf("%+v: %v", c, err)
		}
		for y := range p.H {
			for x := range p.W {
				r, g, b, _ := img.At(x, y).RGBA()
				for k, got := range []uint32{r, g, b}[:c.channels] {
					if v := uint32(want[y][x*c.channels+k]); c.bits == 8 && got != v*257 || c.bits == 16 && got != v {
						t.Fatalf("%+v: (%d, %d) is %d, want %d", c, x, y, got, v)
					}
				}
			}
		}
	}
}

// Sums of stretches join to the sum of all, as hash/adler32 has it.
func TestAdlerJoins(t *testing.T) {
	b := make([]byte, 300000)
	for i := range b {
		b[i] = byte(i*i>>3) | 0x80
	}
	for _, cut := range []int{0, 1, 65520, 65521, 65522, 200000, len(b)} {
		got := joinAdler(adler32.Checksum(b[:cut]), adler32.Checksum(b[cut:]), len(b)-cut)
		if want := adler32.Checksum(b); got != want {
			t.Errorf("cut at %d: %08x, want %08x", cut, got, want)
		}
	}
}

// The predictor by hand, from its definition in the standard.
func TestPredictor(t *testing.T) {
	for _, c := range []struct{ a, b, c, want byte }{{10, 20, 10, 20}, {20, 10, 10, 20}, {5, 5, 5, 5}, {0, 255, 255, 0}, {100, 50, 200, 50}, {9, 7, 8, 8}, {3, 4, 3, 4}} {
		if got := predict(c.a, c.b, c.c); got != c.want {
			t.Errorf("left %d, upper %d, corner %d: %d, want %d", c.a, c.b, c.c, got, c.want)
		}
	}
}
