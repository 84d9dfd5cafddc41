package captures

import (
	"bytes"
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io"
	"math"
	"slices"
	"strings"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/format/tiff"
)

// laidOut runs the parts that lead from pictures to plain frames.
func laidOut(t *testing.T, pics pipelinetest.Pictures, encoding string) (source, laid, []byte, *pipelinetest.Result, error) {
	t.Helper()
	b := pipelinetest.New()
	in := map[string][]any{"pictures": {pics}}
	r, err := b.Run(t, picturesPart(pipeline.Item{}, "pictures", sourceSettings{Encoding: encoding}), in)
	if err != nil {
		return source{}, laid{}, nil, r, err
	}
	var s source
	r.Table("source", &s)
	in["source"] = []any{r.Stored("source")}
	r, err = b.Run(t, layPart(pipeline.Item{}, "pictures", pipeline.Value{}, s), in)
	if err != nil {
		return s, laid{}, nil, r, err
	}
	var l laid
	r.Table("laid", &l)
	return s, l, r.Bytes("file"), r, nil
}

func encoded(t *testing.T, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func grey8(v ...byte) image.Image {
	return &image.Gray{Pix: v, Stride: len(v), Rect: image.Rect(0, 0, len(v), 1)}
}

// TestLayPlain: samples of linear pictures stay what they are, in their order.
func TestLayPlain(t *testing.T) {
	s, l, b, r, err := laidOut(t, pipelinetest.Pictures{encoded(t, grey8(1, 2, 255)), encoded(t, grey8(4, 5, 6))}, encodingAuto)
	if err != nil {
		t.Fatal(err)
	}
	if want := []byte{1, 2, 255, 4, 5, 6}; !bytes.Equal(b, want) || l.Frames != 2 || l.Bits != 8 || l.Layout.Stride != 3 {
		t.Errorf("%v laid out as %v, want %v", l, b, want)
	}
	if s.Encoding.Name != encodingLinear || len(r.Warnings) != 0 {
		t.Errorf("encoding %v, warnings %v", s.Encoding, r.Warnings)
	}
	deep := image.NewGray16(image.Rect(0, 0, 2, 1))
	deep.SetGray16(0, 0, color.Gray16{0x1234})
	deep.SetGray16(1, 0, color.Gray16{0xfffe})
	if _, l, b, _, err = laidOut(t, pipelinetest.Pictures{encoded(t, deep)}, encodingAuto); err != nil || !bytes.Equal(b, []byte{0x34, 0x12, 0xfe, 0xff}) || l.Bits != 16 {
		t.Errorf("16 bits laid out as %x (%v)", b, err)
	}
}

// TestLaySRGB: what is stored for the eye is made linear. IEC 61966-2-1:1999: of 255, 10 is 0.0030353, 128 is 0.2158605.
func TestLaySRGB(t *testing.T) {
	var j bytes.Buffer
	if err := jpeg.Encode(&j, image.NewGray(image.Rect(0, 0, 8, 8)), nil); err != nil {
		t.Fatal(err)
	}
	if s, l, _, _, err := laidOut(t, pipelinetest.Pictures{j.Bytes()}, encodingAuto); err != nil || s.Encoding.Name != encodingSRGB || l.Bits != 16 {
		t.Errorf("a JPEG picture's encoding is %v, of %d bits (%v)", s.Encoding, l.Bits, err)
	}
	if s, _, _, _, err := laidOut(t, pipelinetest.Pictures{j.Bytes()}, encodingLinear); err != nil || s.Encoding != (encoding{encodingLinear, "the setting encoding"}) {
		t.Errorf("the setting is not followed: %v (%v)", s.Encoding, err)
	}
	_, _, b, _, err := laidOut(t, pipelinetest.Pictures{encoded(t, grey8(0, 10, 128, 255))}, encodingSRGB)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{0, 0.0030353 * 65535, 0.2158605 * 65535, 65535} {
		if got := float64(b[2*i]) + 256*float64(b[2*i+1]); math.Abs(got-want) > 0.6 {
			t.Errorf("sample %d is %v of 65535, want %.1f", i, got, want)
		}
	}
}

// Sources: Recommendation ITU-R BT.709-6 item 1.2 (light 0.018 is 0.081, 1 is 1) and BT.2100-2 table 5 (light 1/12 is 0.5, 1 is 1).
func TestCameraCurves(t *testing.T) {
	for _, c := range []struct {
		encoding string
		v, want  float64
	}{{encodingBT709, 0.081, 0.018}, {encodingBT709, 1, 1}, {encodingBT709, 1.099*math.Pow(0.5, 0.45) - 0.099, 0.5}, {encodingBT709, 0.045, 0.01},
		{encodingHLG, 0.5, 1. / 12}, {encodingHLG, 1, 1}, {encodingHLG, 0.25, 0.0625 / 3},
		// 0.5 to the powers 2.2 and 2.8: ITU-T H.273, table 3, values 4 and 5.
		{encodingGamma22, 0.5, 0.2176376}, {encodingGamma28, 0.5, 0.1435873}} {
		if got := light(c.encoding, c.v); math.Abs(got-c.want) > 2e-4 {
			t.Errorf("%s: %v means %v, want %v", c.encoding, c.v, got, c.want)
		}
	}
	for _, e := range []string{encodingLinear, encodingSRGB, encodingBT709, encodingHLG, encodingGamma22, encodingGamma28} {
		if tab := linearTable(e, 16); !slices.IsSorted(tab) || tab[0] != 0 || tab[65535] != 65535 {
			t.Errorf("%s runs from %d to %d, sorted: %v", e, tab[0], tab[65535], slices.IsSorted(tab))
		}
	}
}

func floats(t *testing.T, v ...float32) []byte {
	t.Helper()
	var b bytes.Buffer
	err := tiff.Encode(&b, tiff.Header{Width: len(v), Height: 1, Channels: 1, Sample: tiff.Float32}, func(_ int, dst []byte) error {
		for i, x := range v {
			u := math.Float32bits(x)
			copy(dst[4*i:], []byte{byte(u), byte(u >> 8), byte(u >> 16), byte(u >> 24)})
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// TestLayFloats: shares of white, or counts; what 16 bits cannot hold is clipped, and told.
func TestLayFloats(t *testing.T) {
	nan := float32(math.NaN())
	_, _, b, r, err := laidOut(t, pipelinetest.Pictures{floats(t, 0, 0.5, 1, 0.25), floats(t, -1, 2, nan, 1)}, encodingAuto)
	if err != nil {
		t.Fatal(err)
	}
	if want := []byte{0, 0, 0, 0x80, 0xff, 0xff, 0, 0x40, 0, 0, 0xff, 0xff, 0, 0, 0xff, 0xff}; !bytes.Equal(b, want) {
		t.Errorf("laid out as %x, want %x", b, want)
	}
	if !r.Warned("clip-clipped") {
		t.Errorf("warnings %v", r.Warnings)
	}
	if _, _, b, _, err = laidOut(t, pipelinetest.Pictures{floats(t, 1, 300, 65535)}, encodingAuto); err != nil || !bytes.Equal(b, []byte{1, 0, 44, 1, 255, 255}) {
		t.Errorf("counts laid out as %x (%v)", b, err)
	}
	// The first picture decides, and what is a little beyond 1 is no count: 1.6 is clipped.
	if _, _, b, _, err = laidOut(t, pipelinetest.Pictures{floats(t, 0.5, 1.6, 1)}, encodingAuto); err != nil || !bytes.Equal(b, []byte{0, 128, 255, 255, 255, 255}) {
		t.Errorf("samples up to 1.6: %v (%v)", b, err)
	}
	if _, _, _, _, err = laidOut(t, pipelinetest.Pictures{floats(t, 1, 1e6)}, encodingAuto); err == nil || !strings.Contains(err.Error(), "up to 1e+06") {
		t.Errorf("error %v", err)
	}
}

// TestLayDamaged: a picture that cannot be read is a black frame, told by its number; of a clip that has no other, nothing comes.
func TestLayDamaged(t *testing.T) {
	good, bad := encoded(t, grey8(7, 8)), []byte("no picture")
	_, l, b, r, err := laidOut(t, pipelinetest.Pictures{bad, good, good[:40], good}, encodingAuto)
	if err != nil {
		t.Fatal(err)
	}
	if want := []byte{0, 0, 7, 8, 0, 0, 7, 8}; !bytes.Equal(b, want) || !slices.Equal(l.Damaged, []int{0, 2}) {
		t.Errorf("laid out as %v, damaged %v", b, l.Damaged)
	}
	if len(r.Warnings) != 2 || !strings.Contains(r.Warnings[1].Text, ":2}: frame 2, counted from 0, cannot be read") {
		t.Errorf("warnings %v", r.Warnings)
	}
	if _, _, _, _, err := laidOut(t, pipelinetest.Pictures{bad, bad}, encodingAuto); err == nil {
		t.Error("a clip without a picture is read")
	}
	if _, _, _, _, err := laidOut(t, pipelinetest.Pictures{good, encoded(t, grey8(7, 8, 9))}, encodingAuto); err == nil || !strings.Contains(err.Error(), "is 3×1 px, grey, 8 bit, others are 2×1 px") {
		t.Errorf("a picture of another size: error %v", err)
	}
}

// TestFilmSource: how a film is decoded follows from what the prober tells.
func TestFilmSource(t *testing.T) {
	for _, c := range []struct {
		says         streamSays
		planes, bits int
		encoding     string
	}{
		{streamSays{Format: "gray"}, 1, 8, encodingLinear}, {streamSays{Format: "gray16le"}, 1, 16, encodingLinear}, {streamSays{Format: "gray10le"}, 1, 16, encodingLinear},
		{streamSays{Format: "yuv420p"}, 3, 8, encodingBT709}, {streamSays{Format: "yuv420p", Transfer: "bt470m"}, 3, 8, encodingGamma22}, {streamSays{Format: "yuv420p", Transfer: "bt470bg"}, 3, 8, encodingGamma28}, {streamSays{Format: "yuvj420p", Transfer: "unknown"}, 3, 8, encodingBT709}, {streamSays{Format: "yuv420p10le", Transfer: "arib-std-b67"}, 3, 16, encodingHLG},
		{streamSays{Format: "p010le", Transfer: "bt709"}, 3, 16, encodingBT709}, {streamSays{Format: "nv12"}, 3, 8, encodingBT709}, {streamSays{Format: "bgr24"}, 3, 8, encodingLinear},
		{streamSays{Format: "gbrp12le"}, 3, 16, encodingLinear}, {streamSays{Format: "rgb565le"}, 3, 8, encodingLinear}, {streamSays{Format: "gray", Transfer: "iec61966-2-1"}, 1, 8, encodingSRGB},
	} {
		c.says.Width, c.says.Height = 4, 2
		s, err := c.says.source(encodingAuto, formatSays{})
		if err != nil || s.Planes != c.planes || s.Bits != c.bits || s.Encoding.Name != c.encoding {
			t.Errorf("%+v: %+v, %v", c.says, s, err)
		}
	}
	for _, v := range []streamSays{{Format: "gray", Width: 1 << 16, Height: 1 << 16}, {Format: "gray"}, {Format: "yuv420p10le", Width: 4, Height: 2, Transfer: "smpte2084"}} {
		if _, err := v.source(encodingAuto, formatSays{}); err == nil {
			t.Errorf("%+v is accepted", v)
		}
	}
	for _, c := range []struct {
		frames, duration, rate string
		want                   int
	}{{"120", "", "", 120}, {"N/A", "2.5", "30000/1001", 75}, {"", "", "0/0", 0}, {"", "1e300", "30/1", 0}, {"-4", "", "", 0}} {
		if got := countOf(c.frames, c.duration, c.rate); got != c.want {
			t.Errorf("%v: %d frames", c, got)
		}
	}
}

// TestFilmPieces: frames come out whole however their bytes come in, and half a frame at the end is none.
func TestFilmPieces(t *testing.T) {
	s := source{Width: 2, Height: 1, Planes: 1, Bits: 8, Encoding: encoding{Name: encodingLinear}}
	var out bytes.Buffer
	l := &filmLayer{layer: layer{s: s, out: laid{Layout: s.layout(), Bits: s.laidBits()}}, w: &out, in: make([]byte, 0, 2), frame: make([]byte, 2)}
	for _, b := range [][]byte{{1}, {2, 3}, {4, 5, 6, 7}} {
		if n, err := l.Write(b); n != len(b) || err != nil {
			t.Fatal(n, err)
		}
	}
	if !bytes.Equal(out.Bytes(), []byte{1, 2, 3, 4, 5, 6}) || l.layer.out.Frames != 3 {
		t.Errorf("%v, %d frames", out.Bytes(), l.layer.out.Frames)
	}
	l.w = broken{}
	if _, err := l.Write([]byte{1, 2}); !errors.Is(err, io.ErrShortWrite) {
		t.Errorf("a full disk: error %v", err)
	}
}

type broken struct{}

func (broken) Write([]byte) (int, error) { return 0, io.ErrShortWrite }

// TestLonePicture: a picture among files is a clip of one frame. One of 16 bits that holds counts of 8, as a mean of a
// camera's dark frames may, fits the camera's clips if depth_bits says so.
func TestLonePicture(t *testing.T) {
	deep := image.NewGray16(image.Rect(0, 0, 2, 1))
	deep.SetGray16(0, 0, color.Gray16{Y: 3})
	deep.SetGray16(1, 0, color.Gray16{Y: 4})
	of8 := auto
	of8.DepthBits = 8
	for _, c := range []struct {
		picture image.Image
		set     partSettings
		depth   int
		white   float64
	}{{grey8(3, 4), auto, 8, 255}, {deep, auto, 16, 65535}, {deep, of8, 8, 255}} {
		x := lone(t, encoded(t, c.picture), c.set)
		if x.Frames != 1 || x.Layout.Width != 2 || x.Depth != c.depth || x.White != c.white || x.Level != math.Round(3.5/c.white*1e6)/1e6 {
			t.Errorf("index %+v, want a depth of %d bit", x, c.depth)
		}
	}
}

// lone is the index of a picture among files.
func lone(t *testing.T, picture []byte, set partSettings) Index {
	t.Helper()
	file := pipelinetest.File(picture)
	b := pipelinetest.New()
	in := map[string][]any{"file": {file}}
	r, err := b.Run(t, indexPart(pipeline.Item{}, auto), in)
	if err != nil {
		t.Fatal(err)
	}
	var x Index
	if r.Table("index", &x); x.Foreign != kindPicture {
		t.Fatalf("index %+v", x)
	}
	if r, err = b.Run(t, picturesPart(pipeline.Item{}, "file", sourceSettings{Encoding: encodingAuto}), in); err != nil {
		t.Fatal(err)
	}
	var s source
	r.Table("source", &s)
	in["source"] = []any{r.Stored("source")}
	if r, err = b.Run(t, layPart(pipeline.Item{}, "file", pipeline.Value{}, s), in); err != nil {
		t.Fatal(err)
	}
	in = map[string][]any{"file": {r.Stored("file")}, "source": in["source"], "laid": {r.Stored("laid")}}
	if r, err = b.Run(t, indexLaidPart(pipeline.Item{}, pipeline.Value{}, pipeline.Value{}, asked{partSettings: set}), in); err != nil {
		t.Fatal(err)
	}
	r.Table("index", &x)
	return x
}

// TestKinds: films are known by their marks.
func TestKinds(t *testing.T) {
	ts := make([]byte, 800)
	for i := range 4 {
		ts[4+192*i] = 0x47
	}
	for in, want := range map[string]string{
		"\x00\x00\x00\x18ftypmp42": kindFilm, "\x1a\x45\xdf\xa3....": kindFilm, string(ts): kindFilm, "\xff\xd8\xff\xe0....": kindPicture,
		"#EXTM3U\nfile": "", "ffconcat version 1.0": "", "": "", "text": "",
	} {
		if got := foreign(bytes.NewReader([]byte(in)), errors.New("no clip")); got != want {
			t.Errorf("%.20q is taken for %q, want %q", in, got, want)
		}
	}
}
