package captures

import "plenilune/pipeline"

// overexposed is how much of the bright ground may be saturated before that is told:
// hot pixels are a fifth of it, the floor of the brightest crater a quarter in a field
// of 500 km; what is more is ground that no picture will show.
const overexposed = 0.005

// warn says what is odd about a capture that is used all the same.
func (c *capture) warn(t *pipeline.Task, clip string, s partSettings) {
	f := c.clip
	switch {
	case f.Frames == 0:
		t.Warn("clip-empty", "%s holds no frame (its header declares %d); it is left out", clip, f.Declared)
		return
	case f.Unclosed:
		t.Warn("clip-unfinished", "%s was never finished by its recorder: the header declares %d frames, %d are there and used", clip, f.Declared, f.Frames)
	case f.CutShort:
		t.Warn("clip-cut-short", "%s was cut short: %d of %d frames are there and used", clip, f.Frames, f.Declared)
	case f.Extra >= f.Layout.Stride:
		t.Warn("clip-longer", "%s holds %d bytes (room for %d frames) behind the %d frames that its header declares; they are left out",
			clip, f.Extra, f.Extra/f.Layout.Stride, f.Declared)
	}
	if c.orderBy == "samples" && c.big != f.Layout.BigEndian {
		t.Warn("clip-byte-order", "%s: the header says that samples are %s, the samples themselves are %s and were read so; byte_order overrides it",
			clip, orderName(f.Layout.BigEndian), orderName(c.big))
	}
	if c.level.Odd {
		t.Warn("clip-depth", "%s: samples do not fit the %d bits that the header states; white was taken as %.0f, depth_bits overrides it",
			clip, f.Depth, c.level.White)
	}
	if c.level.Doubt != 0 && s.DepthBits == 0 {
		t.Warn("clip-depth", "%s: samples pile up at %d, the top of %d bits, though the header states %d; if the camera gives %d bits, set depth_bits = %d",
			clip, 1<<c.level.Doubt-1, c.level.Doubt, f.Depth, c.level.Doubt, c.level.Doubt)
	}
	if s.Bayer != bayerAuto && s.Bayer != "" && f.Layout.Planes != 1 {
		t.Warn("clip-bayer", "%s holds all colours at every pixel: bayer = \"%s\" changes nothing there", clip, s.Bayer)
	}
	if f.TimesLocal {
		t.Warn("clip-times-local", "%s: the times of its frames are local time; they were corrected by the header's difference to UTC", clip)
	}
	if s.Timed && c.light.Full > overexposed {
		t.Warn("clip-overexposed", "%s: %.1f %% of the bright ground is saturated; its detail is lost, expose shorter or with less gain", clip, 100*c.light.Full)
	}
	for _, r := range f.Remarks {
		t.Warn(r.Code, "%s %s", clip, r.Text)
	}
	switch {
	case f.TimeSource != "" || !s.Timed || c.told:
	case c.byClock: // not by its first picture, the only one that the block looks at
		t.Warn(clipsByAClock, "%s: some of its pictures tell when they were taken %s", clip, byAClock)
	default:
		t.Warn("clip-without-times", "%s says nowhere when it was taken", clip)
	}
}
