package ser

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"plenilune/steps/format/outsidetest"
	"plenilune/steps/format/raw"
)

// TestFFmpegReadsTheSame compares every sample with the reading of FFmpeg, which
// takes the byte-order flag literally (libavformat/serdec.c) and passes depths of
// 9 to 15 bits unscaled.
func TestFFmpegReadsTheSame(t *testing.T) {
	ffmpeg := outsidetest.Program(t, "ffmpeg")
	formats := map[ColorID][2]string{ // of 8 and 16 bits; Bayer as such, so that nothing is interpolated
		Mono: {"gray", "gray16le"}, RGB: {"rgb24", "rgb48le"}, BGR: {"bgr24", "bgr48le"},
		BayerRGGB: {"bayer_rggb8", "bayer_rggb16le"}, BayerGRBG: {"bayer_grbg8", "bayer_grbg16le"},
		BayerGBRG: {"bayer_gbrg8", "bayer_gbrg16le"}, BayerBGGR: {"bayer_bggr8", "bayer_bggr16le"},
	}
	dir := t.TempDir()
	for _, p := range patterns {
		format, ok := formats[p.id]
		if !ok {
			continue // the four complementary patterns, which FFmpeg refuses
		}
		for _, depth := range []int{8, 12, 16} {
			for flag := range int32(2) {
				name := fmt.Sprintf("%s-%d-%d.ser", p.pattern, depth, flag)
				h := Header{Color: p.id, LittleFlag: flag, Width: 22, Height: 14, Depth: int32(depth)}
				b := file(t, h, scene(22, 14, 3, h.Layout().Planes, 1<<depth-1, 5, 13), nil)
				path := filepath.Join(dir, name)
				if err := os.WriteFile(path, b, 0o600); err != nil {
					t.Fatal(err)
				}
				pix, order := format[h.Layout().SampleBytes-1], binary.AppendByteOrder(binary.LittleEndian)
				if stem, ok := strings.CutSuffix(pix, "16le"); ok && flag == 0 && strings.HasPrefix(pix, "bayer") {
					pix, order = stem+"16be", binary.BigEndian // FFmpeg does not swap filtered samples
				}
				cmd := exec.Command(ffmpeg, "-v", "error", "-i", path, "-f", "rawvideo", "-pix_fmt", pix, "-")
				var complaint strings.Builder
				cmd.Stderr = &complaint
				theirs, err := cmd.Output()
				if err != nil {
					t.Errorf("%s: ffmpeg: %v: %s", name, err, complaint.String())
					continue
				}
				f, e := measure(t, b)
				f.Layout.BigEndian, _ = e.Order(depth, f.Layout.BigEndian)
				if ours := allSamples(t, b, f, order); !bytes.Equal(ours, theirs) {
					t.Errorf("%s: our %d bytes and ffmpeg's %d as %s differ", name, len(ours), len(theirs), pix)
				}
			}
		}
	}
}

// allSamples gives every frame in words of the given order, or bytes.
func allSamples(t *testing.T, b []byte, f *File, order binary.AppendByteOrder) []byte {
	var out []byte
	for i := range f.Frames {
		for _, v := range readBack(t, b, f.Layout, i) {
			if f.Layout.SampleBytes == 1 {
				out = append(out, byte(v))
			} else {
				out = order.AppendUint16(out, v)
			}
		}
	}
	return out
}

// TestFFmpegAgreesOnFaults: FFmpeg takes or refuses the same odd files.
func TestFFmpegAgreesOnFaults(t *testing.T) {
	ffmpeg := outsidetest.Program(t, "ffmpeg")
	h := Header{Width: 16, Height: 8, Depth: 8, LittleFlag: 1}
	whole := file(t, h, scene(16, 8, 3, 1, 255, 5, 17), nil)
	wide := bytes.Clone(whole)
	copy(wide[atWidth:], []byte{255, 255, 255, 255})
	for name, b := range map[string][]byte{"cut": whole[:len(whole)-50], "whole": whole, "width -1": wide} {
		path := filepath.Join(t.TempDir(), "x.ser")
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		theirs, _ := exec.Command(ffmpeg, "-v", "quiet", "-i", path, "-f", "rawvideo", "-pix_fmt", "gray", "-").Output()
		f, err := Open(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			f = &File{Layout: raw.Layout{SampleBytes: 1}}
		}
		if ours := allSamples(t, b, f, binary.LittleEndian); !bytes.Equal(ours, theirs) {
			t.Errorf("%s: we read %d bytes (%v), ffmpeg %d", name, len(ours), err, len(theirs))
		}
	}
}
