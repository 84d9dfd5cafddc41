package simulate

import (
	"math"

	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/portable"
)

// Aim is where and how a clip was pointed: the sensor's middle shows the place
// (X, Y) of the truth picture, in its pixels, and the sensor's x axis runs at TurnDeg
// from the picture's, towards its y axis.
type Aim struct {
	Name    string // of the clip's file, without ending
	X, Y    float64
	TurnDeg float64
	Cloudy  bool
}

// names are what the clips are called: nothing of order or place.
var names = []string{
	"alder", "basalt", "bobbin", "candle", "cinder", "cobble", "copper", "dapple", "ember", "fennel", "gable", "hazel",
	"indigo", "juniper", "kettle", "lantern", "linden", "madder", "mallow", "marten", "nettle", "ochre", "pewter", "quill",
	"russet", "sable", "saffron", "shuttle", "sorrel", "spindle", "tallow", "teasel", "thimble", "umber", "velvet", "weld",
	"willow", "woad", "wren", "yarrow",
}

// aims lays the panels out in a winding grid over the lit part of the disk, with
// the errors of a real mount, or as the plan has them.
func (p *Plan) aims(disk *plane.Image, middleX, middleY float64) []Aim {
	d := newDice(p.Seed, forAims)
	order := newDice(p.Seed, forNames).shuffle(len(names))
	if p.Aims != nil {
		var out []Aim
		for i, a := range p.Aims {
			a.Name = names[order[i%len(names)]]
			a.X += middleX + d.between(-p.PointingPx, p.PointingPx)
			a.Y += middleY + d.between(-p.PointingPx, p.PointingPx)
			out = append(out, a)
		}
		return out
	}
	cx, cy := middleOfLit(disk)
	sx, sy := float64(p.Width)*(1-p.Overlap), float64(p.Height)*(1-p.Overlap)
	n := p.PanelsAcross * p.PanelsDown
	var out []Aim
	for j := range p.PanelsDown {
		for k := range p.PanelsAcross {
			i := k
			if j%2 == 1 {
				i = p.PanelsAcross - 1 - k
			}
			t := 0.0
			if n > 1 {
				t = float64(2*float64(len(out)))/float64(n-1) - 1
			}
			out = append(out, Aim{
				Name:    names[order[len(out)%len(names)]],
				X:       cx + float64((float64(i)-float64(float64(p.PanelsAcross-1)/2))*sx) + d.between(-p.PointingPx, p.PointingPx),
				Y:       cy + float64((float64(j)-float64(float64(p.PanelsDown-1)/2))*sy) + d.between(-p.PointingPx, p.PointingPx),
				TurnDeg: float64(p.TurnDeg*t) + d.between(-0.05, 0.05),
			})
		}
	}
	if n > 2 && p.CloudDepth > 0 {
		out[d.below(n)].Cloudy = true
	}
	return out
}

// middleOfLit is the middle of the smallest upright rectangle around lit ground.
func middleOfLit(m *plane.Image) (x, y float64) {
	x0, y0, x1, y1 := m.W, m.H, 0, 0
	for i, v := range m.Pix[0] {
		if v > litLevel {
			x0, y0, x1, y1 = min(x0, i%m.W), min(y0, i/m.W), max(x1, i%m.W), max(y1, i/m.W)
		}
	}
	return float64(float64(x0+x1) / 2), float64(float64(y0+y1) / 2)
}

// motion draws shifts, light and seeing for the frames of a clip.
func (p *Plan) motion(clip int, a Aim) []FrameTruth {
	frames := make([]FrameTruth, p.Frames)
	d := newDice(p.Seed, forSeeing, clip)
	sin, cos := portable.Sincos(d.between(0, 2*math.Pi))
	drift := p.DriftPx * d.between(0.6, 1.2)
	haze := d.between(0.92, 1.05)
	mid, width := d.between(0.2, 0.8), d.between(0.1, 0.2)
	slow := walk(d, p.Frames, 0.93)
	fast := walk(d, p.Frames, 0.3)
	jx, jy := walk(d, p.Frames, 0.5), walk(d, p.Frames, 0.5)
	for i := range frames {
		t := (float64(i)+0.5)/float64(p.Frames) - 0.5
		light := haze
		if a.Cloudy {
			u := (t + 0.5 - mid) / width
			light *= 1 - float64(p.CloudDepth*portable.Exp(-0.5*float64(u*u)))
		}
		frames[i] = FrameTruth{
			ShiftX:         float64(t*drift*cos) + float64(p.JitterPx*jx[i]),
			ShiftY:         float64(t*drift*sin) + float64(p.JitterPx*jy[i]),
			Light:          light,
			ApertureOverR0: float64(p.ApertureOverR0 * portable.Exp(float64(p.SeeingSpread*(float64(0.8*slow[i])+float64(0.6*fast[i]))))),
		}
	}
	return frames
}

// windOf draws how far the air moves over the pupil between the instants of a
// clip's exposures.
func (p *Plan) windOf(clip int) gust {
	d := newDice(p.Seed, forWind, clip)
	sin, cos := portable.Sincos(d.between(0, 2*math.Pi))
	speed := d.between(2, 9)
	return gust{speed * cos, speed * sin}
}

// walk is a stationary first-order series of unit variance.
func walk(d *dice, n int, keep float64) []float64 {
	out := make([]float64, n)
	x := float64(d.gauss())
	for i := range out {
		if i > 0 {
			x = float64(keep*x) + float64(math.Sqrt(1-float64(keep*keep))*float64(d.gauss()))
		}
		out[i] = x
	}
	return out
}
