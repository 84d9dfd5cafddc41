package simulate

import (
	"context"
	"fmt"
	"io"
	"time"

	"plenilune/steps/format/ser"
	"plenilune/steps/kernel/plane"
)

// Sink gives a place to write a file to, by a name with slashes.
type Sink interface {
	Create(name string) (io.WriteCloser, error)
}

// Shoot makes the night: clips/NAME.ser, and dark/dark.ser and flat/flat.ser if the
// plan has calibration frames. progress is told after each clip and may be nil.
func (p Plan) Shoot(ctx context.Context, sink Sink, progress func(done, total int)) (*Truth, error) {
	o := newOptics(p.CutoffCyclesPerPx, p.Obstruction)
	s, err := newScene(ctx, &p, o)
	if err != nil {
		return nil, err
	}
	t := &Truth{Disk: s.truth, CentreX: s.cx / 2, CentreY: s.cy / 2, RadiusPx: p.DiskPx / 2}
	for i, a := range p.aims(s.truth, t.CentreX, t.CentreY) {
		t.Clips = append(t.Clips, p.newClip(i, a))
	}
	studio := newStudio(&p, s, o)
	var desks []*desk
	for range max(1, p.Workers) {
		desks = append(desks, studio.desk())
	}
	for i := range t.Clips {
		if err := p.shootClip(ctx, sink, desks, i, &t.Clips[i]); err != nil {
			return nil, fmt.Errorf("shoot clip %d: %w", i+1, err)
		}
		if progress != nil {
			progress(i+1, len(t.Clips))
		}
	}
	return t, p.calibration(sink, studio.camera)
}

// newClip draws what mount and air will do during a clip.
func (p *Plan) newClip(i int, a Aim) ClipTruth {
	c := ClipTruth{Aim: a, Frames: p.motion(i, a), w: p.Width, h: p.Height, wind: p.windOf(i)}
	strength := make([]float64, p.Frames)
	for k, f := range c.Frames {
		strength[k] = bending(p, f.ApertureOverR0)
	}
	c.sways = sways(p.Width, p.Height, p.WarpScalePx, strength, warpMemory, newDice(p.Seed, forWarp, i))
	return c
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

// batch is how many frames each worker makes before they are written.
const batch = 4

// shootClip writes one clip, a batch of frames at a time, and completes its truth.
func (p *Plan) shootClip(ctx context.Context, sink Sink, desks []*desk, clip int, c *ClipTruth) (err error) {
	start := p.Start.Add(time.Duration(clip) * p.ClipEvery)
	h := p.header(start)
	h.Frames = int32(p.Frames)
	file, err := sink.Create("clips/" + c.Name + ".ser")
	if err != nil {
		return err
	}
	defer closeInto(file, &err)
	out, err := ser.NewWriter(file, h)
	if err != nil {
		return err
	}
	frames := make([][]uint16, min(p.Frames, batch*len(desks)))
	for k := range frames {
		frames[k] = make([]uint16, p.Width*p.Height)
	}
	for from := 0; from < p.Frames; from += len(frames) {
		n := min(len(frames), p.Frames-from)
		err := eachWorker(ctx, len(desks), n, func(worker, k int) error {
			desks[worker].expose(clip, c, from+k, frames[k])
			return nil
		})
		if err != nil {
			return err
		}
		for _, f := range frames[:n] {
			if err := out.AddFrame(f); err != nil {
				return err
			}
		}
	}
	if clip%4 == 3 {
		return out.Close(nil) // some recorders write no times
	}
	return out.Close(p.times(start))
}

// times are the moments of a clip's frames, evenly spread.
func (p *Plan) times(start time.Time) []time.Time {
	out := make([]time.Time, p.Frames)
	for i := range out {
		out[i] = start.Add(p.ClipTime * time.Duration(i) / time.Duration(p.Frames))
	}
	return out
}

func closeInto(c io.Closer, err *error) {
	if e := c.Close(); *err == nil {
		*err = e
	}
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
