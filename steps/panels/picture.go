package panels

import (
	"context"
	"errors"
	"fmt"
	"image"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/format/picture"
	"plenilune/steps/kernel/calibrate"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/srgb"
)

// How samples stand to light.
const (
	encodingAuto   = "auto" // as the file says, or its kind has it
	encodingLinear = picture.Linear
	encodingSRGB   = picture.SRGB
)

// pictureSettings are what varies a panel made of a picture.
type pictureSettings struct {
	Encoding    string
	White       float64 // in the file's units; 0: as its kind has it
	TakenUnixNS int64   // 0: as the file says
}

// pictureTable is what is known of a panel that another program stacked, as a stack tells it. What is not known is 0.
type pictureTable struct {
	panelTable
	NoiseSigma        float64 `json:"noise_sigma"`         // of the luminance
	ChannelNoiseSigma float64 `json:"channel_noise_sigma"` // of one channel, green if there are three
	Scale             float64 `json:"px_per_sensor_px"`
}

// The tables of a clip that nothing is known of but when it was taken.
type (
	indexTable struct {
		TimesUnixNS []int64 `json:"times_unix_ns"`
		StartUnixNS int64   `json:"start_unix_ns"`
		Level       float64 `json:"level"` // mean of the samples, share of white
	}
	framesTable struct{}
	// finestTable is how fine the detail is place by place: in no place known.
	finestTable struct {
		Width  int       `json:"width"` // px
		Height int       `json:"height"`
		Limit  []float64 `json:"limit_cycles_per_px"`
	}
)

func runPicture(ctx context.Context, set pictureSettings, t *pipeline.Task) error {
	return opened(t, func(f pipeline.File) error {
		s, err := openStill(f)
		if err != nil {
			return err
		}
		pix, err := s.pixels()
		if err != nil {
			return err
		}
		white := s.scale(pix, set.White)
		if white <= 0 {
			return fmt.Errorf("white is %g, and no sample is above black", white)
		}
		img := plane.Of(s.w, s.h, pix...)
		t.FactText("kind", s.kind)
		t.Fact("white level", white, "sample units")
		full := fullOf(img)
		how, why := s.encodingOf(set.Encoding)
		linear(img, how)
		t.FactText("encoding", how+": "+why)
		if set.TakenUnixNS == 0 {
			set.TakenUnixNS = s.taken
		}
		return hand(ctx, t, img, full, s.step(how), set.TakenUnixNS)
	})
}

// encodingOf decides by the setting, or else by what the file says, or else by its kind: pictures of 8 bits are made for the eye,
// those of more by programs that store what the sensor gave.
func (s *still) encodingOf(setting string) (how, why string) {
	switch {
	case setting != encodingAuto:
		return setting, "the setting encoding"
	case s.encoding != "":
		return s.encoding, s.why
	case s.bits == 8 && s.kind != "FITS":
		return encodingSRGB, "the file says nothing, and pictures of 8 bits mostly are"
	}
	return encodingLinear, "nothing says otherwise"
}

// linear undoes an encoding; beyond white it goes on straight.
func linear(m *plane.Image, how string) {
	if how != encodingSRGB {
		return
	}
	for _, p := range m.Pix {
		for i, v := range p {
			if v > 0 && v <= 1 {
				p[i] = float32(srgb.Decode(float64(v)))
			}
		}
	}
}

// step is what a step of whole numbers is worth near black, in units of white; 0 for floating-point numbers.
func (s *still) step(how string) float64 {
	if s.bits == 0 {
		return 0
	}
	step := 1 / float64(int(1)<<s.bits-1)
	if how == encodingSRGB {
		return srgb.Decode(step)
	}
	return step
}

// fullOf marks what is overexposed.
func fullOf(m *plane.Image) []bool {
	out := make([]bool, m.W*m.H)
	for _, p := range m.Pix {
		for i, v := range p {
			out[i] = out[i] || v >= calibrate.SaturationLevel
		}
	}
	return out
}

// hand measures what a stack would have, and stores the panel.
func hand(ctx context.Context, t *pipeline.Task, m *plane.Image, full []bool, lsb float64, taken int64) error {
	out := uncover(m, lsb, sigmaOf(m.Luminance(), m.W, m.H, lsb))
	if out == 1 {
		return errors.New("it shows nothing: every pixel is empty")
	}
	t.Fact("not shown", 100*out, "% of the picture")
	lum := m.Luminance()
	table := pictureTable{panelTable: panelTable{Width: m.W, Height: m.H, Channels: len(m.Pix), MidUnixNS: taken},
		NoiseSigma: sigmaOf(lum, m.W, m.H, lsb), Scale: 1}
	t.Fact("noise", table.NoiseSigma, "of white")
	index := indexTable{TimesUnixNS: []int64{}, StartUnixNS: taken, Level: meanOf(lum)}
	sigma := make([]float32, len(m.Pix))
	for c, p := range m.Pix {
		sigma[c] = float32(sigmaOf(p, m.W, m.H, lsb))
	}
	table.ChannelNoiseSigma = float64(sigma[len(sigma)/2])
	if err := errors.Join(t.PutTable("panel", table), t.PutTable("index", index), t.PutTable("frames", framesTable{}),
		t.PutTable("finest", finestTable{m.W, m.H, []float64{}})); err != nil {
		return err
	}
	known := func(v float32) func(int) float32 { return func(int) float32 { return v } }
	nan := float32(math.NaN())
	noise := make([]func(int) float32, len(sigma))
	for c, s := range sigma {
		noise[c] = known(s)
	}
	overexposed := func(i int) float32 {
		if full[i] {
			return 1
		}
		return 0
	}
	for _, q := range []struct {
		port    string
		of      []func(i int) float32
		without float32 // where the picture shows nothing
	}{{"noise", noise, nan}, {"weight", []func(int) float32{known(1)}, 0}, {"count", []func(int) float32{known(1)}, 0},
		{"full", []func(int) float32{overexposed}, 0}} {
		err := t.WritePlane(ctx, q.port, m.W, m.H, len(q.of), func(r image.Rectangle, dst [][]float32) error {
			for c, d := range dst {
				for k := range d {
					i := (r.Min.Y+k/r.Dx())*m.W + r.Min.X + k%r.Dx()
					if d[k] = q.without; m.Pix[c][i] == m.Pix[c][i] {
						d[k] = q.of[c](i)
					}
				}
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	return t.PutPlane(ctx, "image", m.W, m.H, m.Pix...)
}

func meanOf(p []float32) float64 {
	sum, n := 0.0, 0
	for _, v := range p {
		if v == v {
			sum += float64(v)
			n++
		}
	}
	return math.Round(sum/float64(max(n, 1))*1e6) / 1e6
}
