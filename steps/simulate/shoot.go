package simulate

import (
	"context"
	"fmt"
	"io"
	"math"
	"sync/atomic"
	"time"

	"plenilune/steps/format/ser"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/portable"
)

// Sink gives a place to write a file to, by a name with slashes.
type Sink interface {
	Create(name string) (io.WriteCloser, error)
}

// Truth is what the night was, which no step may see.
type Truth struct {
	Disk *plane.Image // the Moon without air or noise, at the sensor's scale, north up
	CentreX,
	CentreY float64 // of the disk in Disk, px
	Clips []ClipTruth
}

// ClipTruth is what one clip saw.
type ClipTruth struct {
	Aim
	Frames []FrameTruth
}

// Shoot makes the night: clips/NAME.ser, and dark/dark.ser and flat/flat.ser if the
// plan has calibration frames. progress is told after each clip and may be nil.
func (p Plan) Shoot(ctx context.Context, sink Sink, progress func(done, total int)) (*Truth, error) {
	s, err := newScene(ctx, &p)
	if err != nil {
		return nil, err
	}
	cam := newCamera(&p)
	aims := p.aims(s.truth.W)
	t := &Truth{Disk: s.truth, CentreX: float64(s.cx / 2), CentreY: float64(s.cy / 2), Clips: make([]ClipTruth, len(aims))}
	var done atomic.Int64
	err = each(ctx, p.Workers, len(aims), func(i int) error {
		frames, err := p.shootClip(ctx, sink, s, cam, i, aims[i])
		if err != nil {
			return fmt.Errorf("shoot clip %d: %w", i+1, err)
		}
		t.Clips[i] = ClipTruth{aims[i], frames}
		if progress != nil {
			progress(int(done.Add(1)), len(aims))
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return t, p.calibration(sink, cam)
}

func (p *Plan) header(start time.Time) ser.Header {
	h := ser.Header{Width: int32(p.Width), Height: int32(p.Height), Depth: int32(p.Bits), LittleFlag: 1,
		Instrument: "simulated camera", Telescope: "simulated telescope", UTC: ser.TicksOf(start), Local: ser.TicksOf(start)}
	if p.Bits > 8 {
		h.Depth = 16
	}
	if p.Colour {
		h.Color = ser.BayerRGGB
	}
	return h
}

// shootClip writes one clip.
func (p *Plan) shootClip(ctx context.Context, sink Sink, s *scene, cam *camera, clip int, a Aim) (frames []FrameTruth, err error) {
	frames, overR0 := p.motion(clip, a)
	w := s.through(p, clip, a, overR0)
	warp := newWarps(p, clip)
	start := p.Start.Add(time.Duration(clip) * p.ClipEvery)
	h := p.header(start)
	h.Frames = int32(p.Frames)
	file, err := sink.Create("clips/" + a.Name + ".ser")
	if err != nil {
		return nil, err
	}
	defer closeInto(file, &err)
	out, err := ser.NewWriter(file, h)
	if err != nil {
		return nil, err
	}
	img := plane.New(p.Width, p.Height, p.channels())
	light, samples := img.Pix[0], make([]uint16, p.Width*p.Height)
	if p.Colour {
		light = make([]float32, p.Width*p.Height)
	}
	var times []time.Time
	for i := range frames {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		d := newDice(p.Seed, forNoise, clip, i)
		frames[i].Sharpness = p.see(img, w, warp, a, i, frames[i], overR0[i])
		if p.Colour {
			mosaic(img, light)
		}
		for k := range light {
			light[k] *= float32(frames[i].Light)
		}
		cam.expose(p, d, light, samples)
		if err := out.AddFrame(samples); err != nil {
			return nil, err
		}
		times = append(times, start.Add(p.ClipTime*time.Duration(i)/time.Duration(p.Frames)))
	}
	if clip%4 == 3 {
		times = nil // some recorders write none
	}
	return frames, out.Close(times)
}

func closeInto(c io.Closer, err *error) {
	if e := c.Close(); *err == nil {
		*err = e
	}
}

// see renders one frame: the scene through two states of the air near the
// frame's, mixed from place to place, moved by mount and warp. It returns the
// frame's mean sharpness.
func (p *Plan) see(img *plane.Image, w *window, warp *warps, a Aim, i int, f FrameTruth, overR0 float64) float64 {
	k := 0
	for k+2 < len(w.views) && w.views[k+1].overR0 < overR0 {
		k++
	}
	one, two := &w.views[k], &w.views[k+1]
	sin, cos := portable.Sincos(a.TurnDeg * degree)
	mx, my := float64(p.Width-1)/2, float64(p.Height-1)/2
	wx, wy := make([]float32, p.Width), make([]float32, p.Width)
	mean := 0.0
	for y := range p.Height {
		warp.row(warp.x[i], wx, y)
		warp.row(warp.y[i], wy, y)
		for x := range p.Width {
			u := float64(x) - mx - f.ShiftX - float64(wx[x])
			v := float64(y) - my - f.ShiftY - float64(wy[x])
			px := float64(2*(a.X+float64(cos*u)-float64(sin*v))) - float64(w.x)
			py := float64(2*(a.Y+float64(sin*u)+float64(cos*v))) - float64(w.y)
			// The warp's own pattern tells where which state of the air prevails.
			t := float32(0.5 + max(-0.5, min(0.5, float64(0.6*float64(wx[x]+wy[x]))/max(p.WarpPx, 0.1))))
			mean += float64(t)
			q := newTaps(px, py, w.w, w.h)
			for c := range img.Pix {
				img.Pix[c][y*p.Width+x] = max(0, float32(q.of(one.img.Pix[c])*(1-t))+float32(q.of(two.img.Pix[c])*t))
			}
		}
	}
	mean /= float64(p.Width * p.Height)
	return float64(one.sharpness*(1-mean)) + float64(two.sharpness*mean)
}

// taps are the weights of cubic interpolation (Keys 1981, a = −½) at a place.
type taps struct {
	at, stride int
	x, y       [4]float32
}

func newTaps(px, py float64, w, h int) taps {
	fx, fy := math.Floor(px), math.Floor(py)
	x := min(max(int(fx)-1, 0), w-4)
	y := min(max(int(fy)-1, 0), h-4)
	return taps{y*w + x, w, keys(float32(px - fx)), keys(float32(py - fy))}
}

func keys(t float32) [4]float32 {
	t2, t3 := float32(t*t), float32(t*t)*t
	return [4]float32{
		float32(-0.5*t3) + t2 - float32(0.5*t),
		float32(1.5*t3) - float32(2.5*t2) + 1,
		float32(-1.5*t3) + float32(2*t2) + float32(0.5*t),
		float32(0.5*t3) - float32(0.5*t2),
	}
}

func (q *taps) of(p []float32) float32 {
	var sum float32
	for j := range 4 {
		r := p[q.at+j*q.stride : q.at+j*q.stride+4]
		sum += float32(q.y[j] * (float32(q.x[0]*r[0]) + float32(q.x[1]*r[1]) + float32(q.x[2]*r[2]) + float32(q.x[3]*r[3])))
	}
	return sum
}

// calibration writes dark frames, and flat frames of an evenly lit screen.
func (p *Plan) calibration(sink Sink, cam *camera) error {
	if p.Calibration == 0 {
		return nil
	}
	for _, k := range []struct {
		name    string
		light   float32
		purpose uint64
	}{{"dark", 0, forDark}, {"flat", 0.8, forFlat}} {
		if err := p.still(sink, cam, k.name, k.light, k.purpose); err != nil {
			return fmt.Errorf("shoot %s frames: %w", k.name, err)
		}
	}
	return nil
}

func (p *Plan) still(sink Sink, cam *camera, name string, level float32, purpose uint64) (err error) {
	file, err := sink.Create(name + "/" + name + ".ser")
	if err != nil {
		return err
	}
	defer closeInto(file, &err)
	h := p.header(p.Start.Add(-20 * time.Minute))
	h.Frames = int32(p.Calibration)
	out, err := ser.NewWriter(file, h)
	if err != nil {
		return err
	}
	img := plane.New(p.Width, p.Height, 3)
	for c := range img.Pix {
		for i := range img.Pix[c] {
			img.Pix[c][i] = level
		}
	}
	light, samples := img.Pix[1], make([]uint16, p.Width*p.Height)
	if p.Colour {
		light = make([]float32, p.Width*p.Height)
		mosaic(img, light)
	}
	for i := range p.Calibration {
		cam.expose(p, newDice(p.Seed, purpose, i), light, samples)
		if err := out.AddFrame(samples); err != nil {
			return err
		}
	}
	return out.Close(nil)
}
