package finish

import (
	"math"

	"plenilune/steps/kernel/portable"
	"plenilune/steps/kernel/warp"
)

// orientation is how the Moon lies in the picture before it is turned.
type orientation struct {
	Known     bool    `json:"known"`
	NorthDeg  float64 `json:"north_deg"` // anticlockwise from the picture's top
	Mirrored  bool    `json:"mirrored"`
	UnsureDeg float64 `json:"unsure_deg"` // how far off north may be
}

// mostUnsureDeg is how far off north may be where names are still drawn, and a picture is turned without having been told to.
const mostUnsureDeg = 8.0

// sure tells whether it is known which way north is, not only about which.
func (o orientation) sure() bool { return o.Known && o.UnsureDeg <= mostUnsureDeg }

// limb is the circle of the limb in a picture, in pixels.
type limb struct {
	Found  bool    `json:"found"`
	X      float64 `json:"x"`
	Y      float64 `json:"y"`
	Radius float64 `json:"radius_px"`
}

// leastTurnDeg is what a turn must amount to for a picture to be resampled, if north is known well enough: a smaller one would cost
// sharpness for nothing.
const leastTurnDeg = 0.5

// frame is how a finished picture lies over the one it is made of.
type frame struct {
	W, H     int         // of the finished picture, px
	ToSource warp.Affine // from its pixels to the other's
	Exact    bool        // pixels fall on pixels: nothing is resampled
}

// turnFor is the linear part of the map from a finished picture, whose north is up or down, to the one it is made of, row by row;
// exact tells that it moves pixels onto pixels.
func turnFor(o orientation, north string) (l [4]float64, exact bool) {
	if north == asShot {
		return [4]float64{1, 0, 0, 1}, true
	}
	least := max(leastTurnDeg, o.UnsureDeg/2)
	quarter := math.Round(o.NorthDeg / 90)
	sin, cos := portable.Sincos(o.NorthDeg * math.Pi / 180)
	if exact = math.Abs(o.NorthDeg-float64(90*quarter)) <= least; exact {
		k := int(quarter) & 3
		sin, cos = [4]float64{0, 1, 0, -1}[k], [4]float64{1, 0, -1, 0}[k]
	}
	s, m := 1.0, 1.0
	if north == "down" {
		s = -1
	}
	if o.Mirrored {
		m = -1
	}
	return [4]float64{m * s * cos, s * sin, -m * s * sin, s * cos}, exact
}

// frameFor lays a finished picture over one of w by h pixels, turned, and large enough for all of it.
func frameFor(w, h int, o orientation, north string) frame {
	l, exact := turnFor(o, north)
	// The map's linear part is orthogonal: its inverse is its transpose.
	x0, y0, x1, y1 := spanned(w, h, func(x, y float64) (float64, float64) {
		return float64(l[0]*x) + float64(l[2]*y), float64(l[1]*x) + float64(l[3]*y)
	})
	f := frame{W: int(math.Ceil(x1 - x0 - 1e-6)), H: int(math.Ceil(y1 - y0 - 1e-6)), Exact: exact, ToSource: warp.Affine{l[0], l[1], 0, l[2], l[3], 0}}
	return f.cut(x0+0.5, y0+0.5, f.W, f.H)
}

// spanned is the upright rectangle about one of w by h px that is brought over by a map.
func spanned(w, h int, over func(x, y float64) (float64, float64)) (x0, y0, x1, y1 float64) {
	x0, y0, x1, y1 = math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, p := range [4][2]float64{{-0.5, -0.5}, {float64(w) - 0.5, -0.5}, {-0.5, float64(h) - 0.5}, {float64(w) - 0.5, float64(h) - 0.5}} {
		x, y := over(p[0], p[1])
		x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), max(y1, y)
	}
	return x0, y0, x1, y1
}

// beyond tells whether the frame shows nothing of a picture of w by h px: two rectangles miss each other if they do so along a side of
// one of them.
func (f frame) beyond(w, h int) bool {
	apart := func(w, h, otherW, otherH int, over func(x, y float64) (float64, float64)) bool {
		x0, y0, x1, y1 := spanned(w, h, over)
		return x1 <= -0.5 || y1 <= -0.5 || x0 >= float64(otherW)-0.5 || y0 >= float64(otherH)-0.5
	}
	return apart(f.W, f.H, w, h, f.ToSource.Apply) || apart(w, h, f.W, f.H, f.fromSource)
}

// cut returns the part of a finished picture whose first pixel lies at (x, y); it may reach beyond.
func (f frame) cut(x, y float64, w, h int) frame {
	if f.Exact {
		x, y = math.Round(x), math.Round(y)
	}
	f.ToSource[2], f.ToSource[5] = f.ToSource.Apply(x, y)
	f.W, f.H = w, h
	return f
}

// toDisk cuts a picture to a square about the disk, with a margin, in per cent of its diameter, on each side.
func (f frame) toDisk(disk limb, marginPct float64) frame {
	x, y := f.fromSource(disk.X, disk.Y)
	side := max(1, int(math.Round(2*disk.Radius*(1+2*marginPct/100))))
	half := float64(float64(side-1) / 2)
	return f.cut(x-half, y-half, side, side)
}

// fromSource is the inverse of ToSource.
func (f frame) fromSource(x, y float64) (float64, float64) {
	a := f.ToSource
	x, y = x-a[2], y-a[5]
	return float64(a[0]*x) + float64(a[3]*y), float64(a[1]*x) + float64(a[4]*y)
}

// shown returns where in the picture before it is turned a place of the disk lies: in limb radii, east to the right and north up.
func (o orientation) shown(disk limb, east, north float64) (x, y float64) {
	sin, cos := portable.Sincos(o.NorthDeg * math.Pi / 180)
	if o.Mirrored {
		east = -east
	}
	right, up := float64(cos*east)-float64(sin*north), float64(sin*east)+float64(cos*north)
	return disk.X + float64(disk.Radius*right), disk.Y - float64(disk.Radius*up)
}
