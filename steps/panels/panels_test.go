package panels

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/format/panel"
	"plenilune/steps/format/tiff"
	"plenilune/steps/kernel/plane"
)

var nan = float32(math.NaN())

// disc is a bright ground with noise over a sky of a level, both of a standard deviation.
func disc(w, h int, sky, ground, sigma float64) *plane.Image {
	r := rand.New(rand.NewPCG(1, 2))
	m := plane.New(w, h, 1)
	for i := range m.Pix[0] {
		v := sky
		if x, y := float64(i%w), float64(i/w); math.Hypot(x-float64(w)/2, y) < float64(h)*0.7 {
			v = ground
		}
		m.Pix[0][i] = float32(v + sigma*r.NormFloat64())
	}
	return m
}

// unknown counts the pixels of a part of a picture that are NaN.
func unknown(m *plane.Image, r image.Rectangle) (n int) {
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			if v := m.Pix[0][y*m.W+x]; v != v {
				n++
			}
		}
	}
	return n
}

// Borders that were filled with zeros are no data, with the line of pixels beside them; the rest is.
func TestFilledBordersAreNoData(t *testing.T) {
	m := disc(80, 60, 0.02, 0.4, 0.001)
	for y := range 60 {
		for x := range 80 {
			if x < 6 || y < 4 || x+y < 30 {
				m.Pix[0][y*80+x] = 0
			}
		}
	}
	uncover(m, 0, 0.001)
	n := 0
	for y := range 60 {
		for x := range 80 {
			if x < 7 || y < 5 || x+y < 32 {
				n++
			}
		}
	}
	if got := unknown(m, image.Rect(0, 0, 80, 60)); got != n {
		t.Errorf("%d pixels are no data, want %d", got, n)
	}
}

// A sky that was cut at black fades into the ground and is a sky; NaN is no data wherever it stands, and grows not.
func TestBlackSkyIsData(t *testing.T) {
	m := plane.New(80, 60, 1)
	for i := range m.Pix[0] {
		m.Pix[0][i] = float32(max(0, i%80-30)) / 255 // a soft edge, cut at 0
	}
	m.Pix[0][25*80+40] = nan
	if share := uncover(m, 1.0/255, 0.0005); share != 1.0/4800 {
		t.Errorf("%g of the picture is no data, want one pixel", share)
	}
}

// Of whole numbers white is the greatest; of others one for all panels alike, unless it is stated.
func TestWhite(t *testing.T) {
	for _, c := range []struct {
		s      still
		most   float32
		stated float64
		want   float64
	}{
		{still{bits: 8, high: 255}, 20, 0, 255},
		{still{bits: 16, high: 65535}, 4095, 0, 65535},
		{still{bits: 16, high: 65535}, 4095, 4095, 4095},
		{still{}, 0.2, 0, 1},
		{still{}, 1.2, 0, 1},
		{still{}, 1.6, 0, 1},
		{still{}, 400, 0, 65535},
		{still{}, 70000, 0, 65535},
		{still{}, 1e6, 0, 1<<32 - 1},
		{still{}, 400, 1000, 1000},
	} {
		pix := [][]float32{{0, c.most, nan, float32(math.Inf(1))}}
		got := c.s.scale(pix, c.stated)
		if got != c.want || pix[0][1] != float32(float64(c.most)/c.want) || pix[0][2] == pix[0][2] || pix[0][3] == pix[0][3] {
			t.Errorf("%+v up to %g: white is %g, want %g; samples %v", c.s, c.most, got, c.want, pix[0])
		}
	}
}

func TestEncodings(t *testing.T) {
	for _, c := range []struct {
		s       still
		setting string
		want    string
	}{
		{still{kind: "PNG", bits: 8}, "auto", "srgb"},
		{still{kind: "FITS", bits: 8}, "auto", "linear"},
		{still{kind: "TIFF", bits: 16}, "auto", "linear"},
		{still{kind: "TIFF", bits: 16, encoding: "srgb", why: "w"}, "auto", "srgb"},
		{still{kind: "TIFF", bits: 16, encoding: "srgb", why: "w"}, "linear", "linear"},
		{still{kind: "TIFF"}, "srgb", "srgb"},
	} {
		if got, why := c.s.encodingOf(c.setting); got != c.want || why == "" {
			t.Errorf("%+v with %q: %q (%s), want %q", c.s, c.setting, got, why, c.want)
		}
	}
	m := plane.Of(4, 1, []float32{0, 0.5, 1, -0.1})
	linear(m, "srgb")
	// IEC 61966-2-1: ((0.5 + 0.055)/1.055)^2.4.
	for i, want := range []float32{0, 0.21404114, 1, -0.1} {
		if math.Abs(float64(m.Pix[0][i]-want)) > 1e-6 {
			t.Errorf("sample %d is %g, want %g", i, m.Pix[0][i], want)
		}
	}
}

func tiffFile(t testing.TB, m *plane.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	err := tiff.Encode(&b, tiff.Header{Width: m.W, Height: m.H, Channels: 1, Sample: tiff.Float32}, func(y int, dst []byte) error {
		for x, v := range m.Row(0, y) {
			binary.LittleEndian.PutUint32(dst[4*x:], math.Float32bits(v))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func pngFile(t testing.TB, m *plane.Image) []byte {
	t.Helper()
	p := image.NewGray16(image.Rect(0, 0, m.W, m.H))
	for i, v := range m.Pix[0] {
		p.SetGray16(i%m.W, i/m.W, color.Gray16{Y: uint16(math.Round(65535 * float64(min(1, max(0, v)))))})
	}
	var b bytes.Buffer
	if err := png.Encode(&b, p); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// What a stack would have measured is measured from a picture: its noise to some per cent, what it shows, what is too bright.
func TestPictureIsMeasured(t *testing.T) {
	m := disc(200, 150, 0.02, 0.4, 0.004)
	for i := range 300 {
		m.Pix[0][i] = nan
	}
	m.Pix[0][80*200+100] = 1
	for kind, file := range map[string][]byte{"TIFF": tiffFile(t, m), "PNG": pngFile(t, m)} {
		p := pipeline.Part{Name: "picture", Run: pipeline.Bind(runPicture), Settings: pictureSettings{Encoding: "auto", TakenUnixNS: 7}}
		r := pipelinetest.Run(t, p, map[string][]any{"file": {pipelinetest.File(file)}})
		var table pictureTable
		r.Table("panel", &table)
		if math.Abs(table.NoiseSigma/0.004-1) > 0.06 || table.ChannelNoiseSigma != float64(float32(table.NoiseSigma)) || table.MidUnixNS != 7 || table.Width != 200 || table.Scale != 1 {
			t.Errorf("%s: %+v, want a noise of 0.004", kind, table)
		}
		want := map[string]float32{"image": 0.4, "noise": float32(table.NoiseSigma), "weight": 1, "count": 1, "full": 0}
		for port, v := range want {
			got := r.Plane(port).Pix[0]
			if d := got[70*200+100] - v; math.Abs(float64(d)) > 0.02 {
				t.Errorf("%s: %s is %g where it shows the ground, want %g", kind, port, got[70*200+100], v)
			}
		}
		if got := r.Plane("full").Pix[0][80*200+100]; got != 1 {
			t.Errorf("%s: what is as bright as white is not overexposed: %g", kind, got)
		}
		if kind == "TIFF" {
			if w, v := r.Plane("weight").Pix[0][100], r.Plane("image").Pix[0][100]; w != 0 || v == v {
				t.Errorf("where it shows nothing: weight %g, image %g", w, v)
			}
		}
	}
}

// A JPEG picture is a panel of sRGB values.
func TestJPEGIsAPanel(t *testing.T) {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 40, 30)), nil); err != nil {
		t.Fatal(err)
	}
	s, err := openStill(bytes.NewReader(b.Bytes()))
	if err != nil || s.w != 40 || s.h != 30 || s.channels != 1 || s.bits != 8 || s.encoding != "srgb" {
		t.Errorf("%+v (%v)", s, err)
	}
}

// exif is a TIFF structure of nothing but Exif: when a picture was taken, and how far the clock was ahead of UTC.
func exif(at, zone string) []byte {
	le := binary.LittleEndian
	entry := func(b []byte, tag, kind uint16, count, v uint32) []byte {
		return le.AppendUint32(le.AppendUint32(le.AppendUint16(le.AppendUint16(b, tag), kind), count), v)
	}
	b := append([]byte("II*\x00\x08\x00\x00\x00"), 1, 0)
	b = le.AppendUint32(entry(b, 34665, 4, 1, 26), 0)
	b = entry(append(b, 2, 0), 36867, 2, 20, 56)
	b = le.AppendUint32(entry(b, 36881, 2, 7, 76), 0)
	return append(b, at+"\x00"+zone+"\x00"...)
}

// Exif says when a picture was taken, where it says how the camera's clock stood to UTC (CIPA DC-008-2019, table 8).
func TestPictureSaysWhenItWasTaken(t *testing.T) {
	const at = 1710878645e9 // 2024-03-19T20:04:05Z
	plain := pngFile(t, disc(20, 18, 0, 0.5, 0.01))
	for zone, want := range map[string]int64{"+01:00": at, "-03:30": at + 45*360e9, "   :  ": 0} {
		e := exif("2024:03:19 21:04:05", zone)
		chunk := append([]byte{0, 0, 0, byte(len(e)), 'e', 'X', 'I', 'f'}, e...)
		chunk = binary.BigEndian.AppendUint32(chunk, crc32.ChecksumIEEE(chunk[4:]))
		file := bytes.NewReader(slices.Concat(plain[:33], chunk, plain[33:])) // after IHDR
		if found, err := Probe(file); err != nil || found.TakenUnixNS != want {
			t.Errorf("with the zone %q: taken %d, want %d (%v)", zone, found.TakenUnixNS, want, err)
		}
	}
}

func TestWhatIsNoPanel(t *testing.T) {
	b := tiffFile(t, plane.New(12, 40, 1))
	for want, file := range map[string][]byte{
		"neither FITS, TIFF, PNG nor JPEG": []byte("a text that is no picture"),
		"from 16×16 px":                    b,
		"read as TIFF":                     tiffFile(t, plane.New(40, 40, 1))[:200],
	} {
		_, err := Probe(bytes.NewReader(file))
		if err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("error %v, want one line with %q", err, want)
		}
	}
	p := pipeline.Part{Name: "picture", Run: pipeline.Bind(runPicture), Settings: pictureSettings{Encoding: "auto"}}
	if s := sigmaOf(make([]float32, 400), 20, 20, 1.0/255); math.Abs(s*255-0.288675) > 1e-5 { // 1/√12
		t.Errorf("8 bits without noise have %g steps of it", s*255)
	}
	empty := plane.New(40, 40, 1)
	for i := range empty.Pix[0] {
		empty.Pix[0][i] = nan
	}
	if _, err := pipelinetest.New().Run(t, p, map[string][]any{"file": {pipelinetest.File(tiffFile(t, empty))}}); err == nil || !strings.Contains(err.Error(), "shows nothing") {
		t.Errorf("error %v of a picture without a pixel", err)
	}
}

const from = "6a52081ac83316e575dc8377c3e0b7ee85713c6f4d4efa404d575df821846435"

// ownPanel is one of our own of 20×16 px.
func ownPanel(change func(*panel.Panel)) panel.Panel {
	p := panel.Panel{From: from}
	for k, name := range panel.PlaneNames() {
		p.Planes = append(p.Planes, panel.Plane{Name: name, W: 20, H: 16, Channels: 1, Row: func(_, y int, dst []float32) error {
			for x := range dst {
				dst[x] = float32(k) + float32(y*20+x)/320
			}
			return nil
		}})
	}
	p.Tables = []panel.Table{{Name: "panel", JSON: []byte(`{"width":20,"height":16,"channels":1,"frames_total":9,"other":[1]}`)}, {Name: "light", JSON: []byte(`{"wavelength_nm":807}`)}}
	if change != nil {
		change(&p)
	}
	return p
}

func ownFile(t testing.TB, p panel.Panel) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := panel.Encode(&b, p); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// The values that come out of a panel's file are those that went in, by their content ids.
func TestOwnPanelIsReadAsItWas(t *testing.T) {
	b := pipelinetest.New()
	p := ownPanel(nil)
	read := pipeline.Part{Name: "read", Run: runRead}
	r, err := b.Run(t, read, map[string][]any{"file": {pipelinetest.File(ownFile(t, p))}})
	if err != nil {
		t.Fatal(err)
	}
	for _, q := range p.Planes {
		pix := make([]float32, 20*16)
		for y := range 16 {
			if err := q.Row(0, y, pix[20*y:20*y+20]); err != nil {
				t.Fatal(err)
			}
		}
		want, err := pipeline.PutPlaneIn(t.Context(), b.Store, 20, 16, pix)
		if err != nil || r.Outputs[q.Name] != want {
			t.Errorf("%s came out as %s, went in as %s (%v)", q.Name, r.Outputs[q.Name], want, err)
		}
	}
	for _, q := range p.Tables {
		if want, err := b.Store.Put(q.JSON); err != nil || r.Outputs[q.Name] != want {
			t.Errorf("%s came out as %s, went in as %s (%v)", q.Name, r.Outputs[q.Name], want, err)
		}
	}
	found, err := Probe(bytes.NewReader(ownFile(t, p)))
	if err != nil || !found.Own || found.Width != 20 {
		t.Errorf("%+v, %v", found, err)
	}
}

// A panel whose parts do not fit together is refused in one line, before anything is made of it.
func TestOwnPanelsThatDoNotFit(t *testing.T) {
	for want, change := range map[string]func(*panel.Panel){
		"no plane called noise":  func(p *panel.Panel) { p.Planes[1].Name = "nose" },
		"plane full has 20×15×1": func(p *panel.Panel) { p.Planes[4].H = 15 },
		"no table called panel":  func(p *panel.Panel) { p.Tables = p.Tables[1:] },
	} {
		_, err := Probe(bytes.NewReader(ownFile(t, ownPanel(change))))
		if err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("error %v, want one line with %q", err, want)
		}
	}
}

// FuzzPanel: no file makes a look at it, or reading it, fail otherwise than by an error, or take more than its share of memory.
func FuzzPanel(f *testing.F) {
	f.Add(ownFile(f, ownPanel(nil)))
	f.Add(ownFile(f, ownPanel(func(p *panel.Panel) { p.Record = []byte(`{"plenilune_record":1}`) })))
	f.Add(ownFile(f, ownPanel(func(p *panel.Panel) { p.Tables = stackTables() })))
	f.Add(tiffFile(f, disc(20, 18, 0, 0.5, 0.01)))
	f.Add(pngFile(f, disc(20, 18, 0, 0.5, 0.01)))
	f.Add([]byte("SIMPLE  =                    T"))
	f.Fuzz(func(t *testing.T, b []byte) {
		file := bytes.NewReader(b)
		before := allocated()
		h, _, err := headOf(file)
		if err == nil && !h.From.IsZero() {
			readOwn(t, file)
		}
		if took, most := allocated()-before, uint64(64<<20+4*len(b)); took > most {
			t.Fatalf("a file of %d bytes took %d of memory", len(b), took)
		}
		if err != nil || !h.From.IsZero() || h.Width*h.Height > 1<<20 {
			return
		}
		s, err := openStill(file)
		if err != nil {
			t.Fatalf("it has a head and cannot be opened: %v", err)
		}
		if pix, err := s.pixels(); err == nil {
			s.scale(pix, 0)
			uncover(plane.Of(s.w, s.h, pix...), 0, 0)
		}
	})
}

// readOwn reads every plane and table of an own panel.
func readOwn(t *testing.T, file pipeline.File) {
	p, err := panel.Open(file, file.Size())
	if err != nil {
		t.Fatalf("it has a head and cannot be opened: %v", err)
	}
	if p.Verify() != nil {
		return
	}
	for _, q := range p.Planes {
		row := make([]float32, q.W)
		if err := errors.Join(q.Row(0, 0, row), q.Row(q.Channels-1, q.H-1, row)); err != nil {
			t.Fatalf("a row of an accepted plane: %v", err)
		}
	}
	for _, q := range p.Tables {
		var v any
		if err := json.Unmarshal(q.JSON, &v); err != nil && slices.Contains(panel.TableNames(), q.Name) {
			t.Fatalf("table %s was accepted: %v", q.Name, err)
		}
	}
}
