package mosaic

import (
	"math"

	"plenilune/steps/kernel/moon"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/warp"
)

// globe is how a panel is carried over the lunar sphere from the view in which it was taken to that of the epoch.
//
// The carried panel is the panel as it would have been shot at the epoch: its pixels lie near those of the panel itself, which differ from
// them by what the sphere's turn did within the panel alone. All placing is done with carried panels. A place of the picture is read at
// a carried pixel, thus at one of the panel.
//
// Places on the disk are in limb radii, x as in the picture if the Moon's north were up, y down; in a mirrored picture y is up.
type globe struct {
	Known    bool
	Disk     similarity // from a carried pixel to the disk at the epoch
	Pixel    similarity // from the disk when the panel was taken to its pixel, but for the air's work
	Mirrored bool
	View     viewSettings
	EpochKM  float64
	// UpX, UpY is the direction of the zenith in the panel, of unit length; about its middle the air squashes it along that.
	UpX, UpY, MidX, MidY float64

	carry moon.Carry // from the epoch to the panel's view
}

// limbBlur is over how many pixels air and optics spread the limb.
const limbBlur = 3.0

// ready prepares a globe for use after it was read from a table.
func (g *globe) ready() error {
	if !g.Known {
		return nil
	}
	var err error
	g.carry, err = moon.NewCarry(moon.DiskOf(0, 0, g.EpochKM), g.View.aspect().Disk(), limbBlur*g.Disk.scale())
	return err
}

// flip is 1 where the picture is mirrored, so that north is up with y.
func flip(mirrored bool) float64 {
	if mirrored {
		return 1
	}
	return -1
}

// pixel returns the panel's pixel that a carried pixel is read at.
func (g *globe) pixel(x, y float64) (float64, float64) {
	if x, y = g.plain(x, y); g.View.Squash == 0 {
		return x, y
	}
	up := float64((x-g.MidX)*g.UpX) + float64((y-g.MidY)*g.UpY)
	up *= g.View.Squash
	return x - float64(up*g.UpX), y - float64(up*g.UpY)
}

// plain is pixel without the air's work.
func (g *globe) plain(x, y float64) (float64, float64) {
	if !g.Known {
		return x, y
	}
	h := flip(g.Mirrored)
	u, v := g.Disk.at(x, y)
	u, v = g.carry.At(u, float64(h*v))
	return g.Pixel.at(u, float64(h*v))
}

// carried is the inverse of pixel.
func (g *globe) carried(x, y float64) (float64, float64) {
	u, v := x, y
	if !g.Known {
		return u, v
	}
	for range 8 {
		px, py := g.pixel(u, v)
		u, v = u+x-px, v+y-py
	}
	return u, v
}

// bounds returns the smallest and largest picture coordinates of a carried panel of w by h pixels under its map to
// the picture.
func (g *globe) bounds(m similarity, w, h int) (x0, y0, x1, y1 float64) {
	if !g.Known {
		return bounds(m, w, h)
	}
	x0, y0 = math.Inf(1), math.Inf(1)
	x1, y1 = math.Inf(-1), math.Inf(-1)
	const sides = 32
	right, low := float64(w-1), float64(h-1)
	for k := range sides + 1 {
		f := float64(k) / sides
		for _, c := range [4][2]float64{{f * right, 0}, {f * right, low}, {0, f * low}, {right, f * low}} {
			x, y := m.at(g.carried(c[0], c[1]))
			x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), max(y1, y)
		}
	}
	return x0, y0, x1, y1
}

// panel draws a carried panel on the panel's own canvas.
func (g *globe) panel(p panel) panel {
	if !g.Known {
		return p
	}
	out := panel{p.w, p.h, make([]float32, len(p.v))}
	mx, my := make([]float32, len(p.v)), make([]float32, len(p.v))
	for y := range p.h {
		for x := range p.w {
			u, v := g.pixel(float64(x), float64(y))
			mx[y*p.w+x], my[y*p.w+x] = float32(u), float32(v)
		}
	}
	dst := plane.Of(p.w, p.h, out.v)
	warp.Remap(dst, plane.Of(p.w, p.h, p.v), mx, my, warp.Cubic)
	return out
}

// seen carries what was seen of a panel.
func (g *globe) seen(s seen) seen {
	if !g.Known {
		return s
	}
	points, brinks := make([]point, len(s.Points)), make([]brink, len(s.Brinks))
	f, half := float64(s.Reduce), float64(float64(s.Reduce-1)/2)
	for i, p := range s.Points {
		x, y := g.carried(float64(p.X*f)+half, float64(p.Y*f)+half)
		p.X, p.Y = (x-half)/f, (y-half)/f
		points[i] = p
	}
	for i, b := range s.Brinks {
		b.X, b.Y = g.carried(b.X, b.Y)
		brinks[i] = b
	}
	s.Points, s.Brinks = points, brinks
	return s
}
