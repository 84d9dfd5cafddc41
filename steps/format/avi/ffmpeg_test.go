package avi

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"plenilune/steps/format/formattest"
	"plenilune/steps/format/outsidetest"
	"plenilune/steps/format/raw"
)

// decoded gives all frames as ffmpeg reads them, none invented for those that are lost.
func decoded(t *testing.T, b []byte, pix string) []byte {
	t.Helper()
	path := filepath.Join(t.TempDir(), "x.avi")
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(outsidetest.Program(t, "ffmpeg"), "-v", "error", "-i", path, "-map", "0:v", "-vsync", "passthrough", "-f", "rawvideo", "-pix_fmt", pix, "-")
	var complaint strings.Builder
	cmd.Stderr = &complaint
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("ffmpeg: %v: %s", err, complaint.String())
	}
	return out
}

// ours gives all frames as we read them: red, green, blue, or one sample a pixel, or, of greys,
// the same sample three times.
func ours(t *testing.T, b []byte, thrice bool) (out []byte) {
	t.Helper()
	c, err := Open(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	f, err := formattest.Read(b, c)
	if err != nil {
		t.Fatal(err)
	}
	for _, pix := range f.Frames {
		for _, v := range pix {
			switch {
			case f.Bits > 8:
				out = binary.LittleEndian.AppendUint16(out, v)
			case thrice:
				out = append(out, byte(v), byte(v), byte(v))
			default:
				out = append(out, byte(v))
			}
		}
	}
	return out
}

// What we and ffmpeg read of files laid out by the published texts is the same. Of Y16 ffmpeg knows no AVI.
func TestFFmpegReadsTheSame(t *testing.T) {
	grey := make([]byte, 256)
	for i := range grey {
		grey[i] = byte(i*7 + 3)
	}
	for _, c := range []struct {
		name, pix, pattern string
		bits               int
		o                  formattest.AVIOptions
	}{
		{"DIB of 8 bits", "rgb24", raw.Mono, 8, formattest.AVIOptions{}},
		{"DIB of 8 bits from the top", "rgb24", raw.Mono, 8, formattest.AVIOptions{TopDown: true}},
		{"DIB of 8 bits, shuffled greys", "rgb24", raw.Mono, 8, formattest.AVIOptions{Palette: grey}},
		{"DIB of 24 bits", "rgb24", raw.RGB, 8, formattest.AVIOptions{}},
		{"DIB of 24 bits from the top", "rgb24", raw.RGB, 8, formattest.AVIOptions{TopDown: true}},
		{"Y800", "gray", raw.Mono, 8, formattest.AVIOptions{Code: "Y800", Tight: true}},
		{"Y800, filled rows", "gray", raw.Mono, 8, formattest.AVIOptions{Code: "Y800"}},
		{"GREY", "gray", raw.Mono, 8, formattest.AVIOptions{Code: "GREY", Tight: true}},
		{"Y8", "gray", raw.Mono, 8, formattest.AVIOptions{Code: "Y8  ", Tight: true}},
		{"no index", "gray", raw.Mono, 8, formattest.AVIOptions{Code: "Y800", NoIndex: true}},
		{"sound and lost frames", "rgb24", raw.RGB, 8, formattest.AVIOptions{Sound: 2, Dropped: 3}},
		{"OpenDML", "rgb24", raw.RGB, 8, formattest.AVIOptions{OpenDML: 3}},
		{"OpenDML, sound", "gray", raw.Mono, 8, formattest.AVIOptions{Code: "Y800", OpenDML: 2, Sound: 1}},
		{"OpenDML, no index", "gray", raw.Mono, 8, formattest.AVIOptions{Code: "Y800", OpenDML: 2, NoIndex: true}},
	} {
		for _, size := range [][2]int{{22, 15}, {23, 14}} {
			b, err := formattest.AVI(formattest.Scene(size[0], size[1], 7, c.bits, c.pattern), c.o)
			if err != nil {
				t.Fatal(err)
			}
			theirs := decoded(t, b, c.pix)
			if got := ours(t, b, c.pix == "rgb24" && c.pattern == raw.Mono); !bytes.Equal(got, theirs) {
				t.Errorf("%s, %v px: our %d bytes and ffmpeg's %d differ", c.name, size, len(got), len(theirs))
			}
		}
	}
}

// What ffmpeg writes we read as it was.
func TestFFmpegWritesTheSame(t *testing.T) {
	program, dir := outsidetest.Program(t, "ffmpeg"), t.TempDir()
	for pix, planes := range map[string]int{"gray": 1, "bgr24": 3} {
		for _, size := range [][2]int{{22, 14}, {23, 15}} {
			var in bytes.Buffer
			pattern := raw.Mono
			if planes == 3 {
				pattern = raw.RGB
			}
			for _, f := range formattest.Scene(size[0], size[1], 9, 8, pattern).Frames {
				for i := range f {
					if planes == 3 {
						i = i/3*3 + 2 - i%3
					}
					in.WriteByte(byte(f[i]))
				}
			}
			path := filepath.Join(dir, pix+".avi")
			cmd := exec.Command(program, "-v", "error", "-y", "-f", "rawvideo", "-pix_fmt", pix, "-s", fmt.Sprintf("%dx%d", size[0], size[1]), "-i", "-", "-c:v", "rawvideo", path)
			cmd.Stdin = bytes.NewReader(in.Bytes())
			if out, err := cmd.CombinedOutput(); err != nil {
				t.Fatalf("ffmpeg: %v: %s", err, out)
			}
			b, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			got := ours(t, b, false)
			for i := 0; planes == 3 && i < len(got); i += 3 {
				got[i], got[i+2] = got[i+2], got[i]
			}
			if !bytes.Equal(got, in.Bytes()) {
				t.Errorf("%s, %v px: %d bytes came back as %d, or others", pix, size, in.Len(), len(got))
			}
		}
	}
}

// TestFFmpegWritesLargeFiles reads a file of 2.5 GB in ffmpeg's own parts of OpenDML, which
// takes a minute; only where PLENILUNE_LONG is set.
func TestFFmpegWritesLargeFiles(t *testing.T) {
	if os.Getenv("PLENILUNE_LONG") == "" {
		t.Skip("PLENILUNE_LONG is not set")
	}
	const side, frames = 1024, 2400
	path := filepath.Join(t.TempDir(), "large.avi")
	out, err := exec.Command(outsidetest.Program(t, "ffmpeg"), "-v", "error", "-f", "lavfi", "-i", fmt.Sprintf("testsrc2=size=%dx%d:rate=50", side, side), "-frames:v", fmt.Sprint(frames),
		"-pix_fmt", "gray", "-c:v", "rawvideo", path).CombinedOutput()
	if err != nil {
		t.Fatalf("ffmpeg: %v: %s", err, out)
	}
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		t.Fatal(err)
	}
	c, err := Open(f, st.Size())
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d bytes, %s, %d runs", st.Size(), c.Format, len(c.Layout.Runs))
	if st.Size() < 2<<30 || c.Frames != frames || len(c.Layout.Runs) < 3 || !strings.Contains(c.Format, "OpenDML") {
		t.Fatalf("%d bytes, %d frames, %d runs, %s", st.Size(), c.Frames, len(c.Layout.Runs), c.Format)
	}
	r, err := raw.NewReader(f, st.Size(), c.Layout)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(outsidetest.Program(t, "ffmpeg"), "-v", "error", "-i", path, "-vsync", "passthrough", "-f", "rawvideo", "-pix_fmt", "gray", "-")
	theirs, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	a, b := make([]byte, side*side), make([]byte, side*side)
	for i := range frames {
		if _, err := io.ReadFull(theirs, a); err != nil {
			t.Fatalf("frame %d of ffmpeg: %v", i, err)
		}
		if err := r.Bytes(i, b); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(a, b) {
			t.Fatalf("frame %d differs", i)
		}
	}
	if err := cmd.Wait(); err != nil {
		t.Fatal(err)
	}
}
