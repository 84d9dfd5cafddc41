package simulate

import (
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/warp"
)

// litLevel is the brightness of Truth.Disk above which ground counts as lit.
const litLevel = 0.02

// Truth is what the night was, which no step may see.
type Truth struct {
	Disk             *plane.Image // the Moon without air or noise, at the sensor's scale, north up; 1 = the brightest ground
	CentreX, CentreY float64      // of the disk in Disk, px
	RadiusPx         float64
	Clips            []ClipTruth // in order of time
}

// ClipTruth is what one clip saw.
type ClipTruth struct {
	Aim
	Frames []FrameTruth
	w, h   int
	wind   gust
	sways  []sway
}

// FrameTruth is what the air and the mount did to one frame.
type FrameTruth struct {
	ShiftX, ShiftY float64    // px: the content lies further right and down by this than the aim says
	WarpX, WarpY   float64    // px: and by this much more on the mean over lit ground, by the air
	WarpRMSPx      float64    // of the displacement around that mean, each axis
	Sharpness      float64    // Strehl ratio: the spread function's peak against the perfect telescope's, mean of the corners
	Corners        [4]float64 // the same at each corner of the field, in reading order
	ApertureOverR0 float64    // D/r0
	Light          float64    // share that cloud and haze let through
}

// ToDisk maps a pixel of a frame that nothing has moved to Truth.Disk's.
func (c *ClipTruth) ToDisk() warp.Affine {
	a := warp.Similarity(1, c.TurnDeg*degree, 0, 0)
	x, y := a.Apply(float64(c.w-1)/2, float64(c.h-1)/2)
	a[2], a[5] = c.X-x, c.Y-y
	return a
}

// Displacement returns how far to the right and down, by mount and air together,
// frame i shows near (x, y) what an unmoved frame would show there.
func (c *ClipTruth) Displacement(i int, x, y float64) (dx, dy float64) {
	dx, dy = c.sways[i].at(x, y)
	return dx + c.Frames[i].ShiftX, dy + c.Frames[i].ShiftY
}

// Panel returns what a perfect, unmoved frame of the clip would show; NaN
// beyond Disk.
func (t *Truth) Panel(c *ClipTruth) *plane.Image {
	m := plane.New(c.w, c.h, t.Disk.Channels())
	warp.Resample(m, t.Disk, c.ToDisk(), warp.Lanczos3)
	return m
}
