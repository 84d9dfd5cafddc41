package pages

import (
	"fmt"
	"math"
	"slices"

	"plenilune/pipeline"
	"plenilune/steps/kernel/moon"
	"plenilune/steps/kernel/portable"
	"plenilune/steps/kernel/warp"
)

// frame says how the finished picture lies over the mosaic. The zero value lies on it one to one.
type frame struct {
	W, H     int
	ToSource warp.Affine // from the finished picture's pixels to the mosaic's
}

// readFrame reads how a finish turned and cut the picture, if it did.
func readFrame(t *pipeline.Task) (frame, error) {
	var f frame
	if !t.Has("finish") {
		return f, nil
	}
	err := t.One("finish").Table(&f)
	return f, err
}

// picture returns where a place of the mosaic lies in the finished picture, in pixels.
func (f frame) picture(x, y float64) (float64, float64) {
	a := f.ToSource
	n := float64(a[0]*a[4]) - float64(a[1]*a[3])
	if n == 0 {
		return x, y
	}
	x, y = x-a[2], y-a[5]
	return (float64(a[4]*x) - float64(a[1]*y)) / n, (float64(a[0]*y) - float64(a[3]*x)) / n
}

// globe puts places of the Moon into the finished picture.
type globe struct {
	disk  moon.Disk
	limb  limb
	face  orientationTable
	frame frame
	about string // what the places lack, "" if nothing
}

// mostUnsureDeg is how far off north may be where names are still put on the picture.
const mostUnsureDeg = 8.0

// globeOf tells where places of the Moon are seen, or why that is not known.
func (n night) globeOf(f frame) (*globe, string) {
	g := &globe{limb: n.place.Limb, face: n.face, frame: f}
	switch {
	case !n.placed:
		return nil, "The picture is one panel: where on the Moon it lies is not looked for."
	case !n.place.Limb.Found:
		return nil, "No limb was found in the picture: where on the disk it lies is not known."
	case !n.place.Limb.known():
		return nil, fmt.Sprintf("Only %.0f° of the limb were found, and it takes %.0f° to tell where on the disk the picture lies.", n.place.Limb.ArcDeg, leastArcDeg)
	case !n.face.Known:
		return nil, "How the Moon lies in the picture is not known: its maria did not tell. An orientation block in the mosaic states it."
	case n.face.Unsure > mostUnsureDeg:
		return nil, fmt.Sprintf("Where the Moon’s north lies in the picture is known to %.0f° only: an orientation block in the mosaic states it.", n.face.Unsure)
	case n.face.View.Known:
		g.disk = moon.DiskOf(n.face.View.SubLonDeg, n.face.View.SubLatDeg, n.face.View.DistanceKM)
		return g, ""
	}
	at := n.middle()
	if at == 0 {
		return nil, "The clips say no times: how far the Moon was turned, by up to 8°, is not known."
	}
	g.disk = moon.Centre(moon.Unix(at)).Disk()
	g.about = "Places are reckoned for the Earth's middle, since no site is stated: they may be off by up to 1° on the Moon."
	return g, ""
}

// middle is the median of the times of the panels in the picture, in nanoseconds since 1970; 0 if none says its time.
func (n night) middle() int64 {
	var times []int64
	for i, c := range n.clips {
		if t := c.panel.MidUnixNS; t > 0 && n.place.Panels[i].Placed {
			times = append(times, t)
		}
	}
	if len(times) == 0 {
		return 0
	}
	slices.Sort(times)
	return times[len(times)/2]
}

// at returns where in the picture a place of the Moon is seen, in pixels, the cosine of the angle it is seen under, and whether it is
// on the near side.
func (g *globe) at(lonDeg, latDeg float64) (x, y, slant float64, seen bool) {
	p := moon.At(lonDeg, latDeg)
	east, north, seen := g.disk.Project(p)
	x, y = g.onPicture(east, north)
	return x, y, g.disk.Emission(p), seen
}

// onPicture takes a place of the disk in limb radii, lunar east to the right and north up.
func (g *globe) onPicture(east, north float64) (x, y float64) {
	sin, cos := portable.Sincos(g.face.NorthDeg * math.Pi / 180)
	if g.face.Mirrored {
		east = -east
	}
	right, up := float64(cos*east)-float64(sin*north), float64(sin*east)+float64(cos*north)
	return g.frame.picture(g.limb.X+float64(g.limb.Radius*right), g.limb.Y-float64(g.limb.Radius*up))
}

// placeOf returns the place of the Moon that is seen at a place of the mosaic; ok is false beyond the limb.
func (g *globe) placeOf(x, y float64) (lonDeg, latDeg float64, ok bool) {
	sin, cos := portable.Sincos(g.face.NorthDeg * math.Pi / 180)
	right, up := (x-g.limb.X)/g.limb.Radius, (g.limb.Y-y)/g.limb.Radius
	east, north := float64(cos*right)+float64(sin*up), float64(cos*up)-float64(sin*right)
	if g.face.Mirrored {
		east = -east
	}
	p, ok := g.disk.Unproject(east, north)
	if ok {
		lonDeg, latDeg = p.LonLat()
	}
	return lonDeg, latDeg, ok
}
