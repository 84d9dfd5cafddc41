package detail

import (
	"math"
	"slices"

	"plenilune/steps/kernel/deconvolve"
	"plenilune/steps/kernel/filter"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/robust"
	"plenilune/steps/kernel/solve"
)

// limbPlace is a place of the lit limb: the normal profile across it, and to which
// side of the picture the sky lies there.
type limbPlace struct {
	profile deconvolve.Profile
	side    side
}

// limbEdges looks for the lit limb in windows of a picture and returns the normal
// profile across it in each window where it is clean: sky on one side, level
// ground on the other, the edge between them a smooth curve. The Moon having no
// air, its limb is as sharp an edge as nature has, and unlike the edges of
// shadows it has nothing before it. As in ISO 12233 the edge's curve is found
// first, and then every pixel is put in its bin by its distance from the curve.
func limbEdges(lum []float32, w, h int) []limbPlace {
	q := robust.Counted(slices.Values(lum), 0.01, 0.99)
	e := edgeFinder{lum: lum, w: w, h: h, sky: q[0], span: q[1] - q[0]}
	if !(e.span > 0) {
		return nil
	}
	e.gx, e.gy = slopes(lum, w, h)
	var out []limbPlace
	for y := 0; y+edgeWindow <= h; y += edgeWindow / 2 {
		for x := 0; x+edgeWindow <= w; x += edgeWindow / 2 {
			if p, ok := e.window(x, y); ok {
				out = append(out, p)
			}
		}
	}
	return out
}

const (
	edgeWindow = 48   // px; its half is more than a profile reaches
	edgeStray  = 0.35 // px; a rougher outline is no limb
	edgeLevel  = 0.04 // of the edge's height; rougher ground beside it hides the blur
	edgeSlope  = 0.03 // per px, likewise
	edgeHeight = 0.25 // of the picture's span; a lower edge is the terminator's
	edgeDark   = 0.03 // of the span above the darkest, likewise for the dark side
)

type edgeFinder struct {
	lum       []float32
	w, h      int
	sky, span float64
	gx, gy    []float32 // at half the size: which way is the ground
}

// slopes is the gradient of the picture, smoothed, at half its size.
func slopes(lum []float32, w, h int) (gx, gy []float32) {
	cw, ch := max(1, w/2), max(1, h/2)
	small := filter.Downscale(plane.Of(w, h, lum), cw, ch).Pix[0]
	for i, v := range small {
		if v != v {
			small[i] = 0
		}
	}
	filter.Gaussian(small, small, cw, ch, 1)
	gx, gy = make([]float32, cw*ch), make([]float32, cw*ch)
	filter.Sobel(gx, gy, small, cw, ch)
	return gx, gy
}

// window measures the edge in the window with its corner at (x0, y0).
func (e *edgeFinder) window(x0, y0 int) (p limbPlace, ok bool) {
	pix := make([]float32, 0, edgeWindow*edgeWindow)
	for y := y0; y < y0+edgeWindow; y++ {
		pix = append(pix, e.lum[y*e.w+x0:][:edgeWindow]...)
	}
	if slices.ContainsFunc(pix, func(v float32) bool { return v != v }) {
		return p, false
	}
	q := robust.Quantiles(pix, 0.05, 0.95)
	if q[0] > e.sky+float64(edgeDark*e.span) || q[1] < e.sky+float64(edgeHeight*e.span) {
		return p, false
	}
	nx, ny := e.toward(x0, y0)
	p.side = sideOf(-nx, -ny)
	if turn(pix, nx, ny); nx == 0 && ny == 0 {
		return p, false
	}
	curve, kept, ok := e.outline(pix, q[1])
	if !ok {
		return p, false
	}
	p.profile, ok = e.profile(pix, curve, kept)
	return p, ok
}

// toward is which way the window's ground lies.
func (e *edgeFinder) toward(x0, y0 int) (nx, ny float64) {
	cw := max(1, e.w/2)
	for y := y0 / 2; y < (y0+edgeWindow)/2; y++ {
		for x := x0 / 2; x < (x0+edgeWindow)/2; x++ {
			nx += float64(e.gx[y*cw+x])
			ny += float64(e.gy[y*cw+x])
		}
	}
	return nx, ny
}

// turn exchanges rows and columns and mirrors a window such that its ground, which
// lies toward (nx, ny), is at the end of its rows.
func turn(pix []float32, nx, ny float64) {
	at := func(x, y int) *float32 { return &pix[y*edgeWindow+x] }
	if math.Abs(ny) > math.Abs(nx) {
		for y := range edgeWindow {
			for x := range y {
				*at(x, y), *at(y, x) = *at(y, x), *at(x, y)
			}
		}
		nx = ny
	}
	if nx < 0 {
		for y := range edgeWindow {
			slices.Reverse(pix[y*edgeWindow : (y+1)*edgeWindow])
		}
	}
}

// outline fits a parabola to where the rows cross half of their ground's
// brightness; kept tells the rows that lie on it.
func (e *edgeFinder) outline(pix []float32, bright float64) (curve [3]float64, kept [edgeWindow]bool, ok bool) {
	var at [edgeWindow]float64
	n := 0
	for y := range edgeWindow {
		if at[y], kept[y] = e.crossing(pix[y*edgeWindow:][:edgeWindow], bright); kept[y] {
			n++
		}
	}
	for round := 0; round < 4; round++ {
		if n < edgeWindow/2 {
			return curve, kept, false
		}
		var a, b []float64
		for y, k := range kept {
			if u := float64(y - edgeWindow/2); k {
				a, b = append(a, 1, u, float64(u*u)), append(b, at[y])
			}
		}
		c, _, err := solve.LeastSquares(a, b, 3)
		if err != nil {
			return curve, kept, false
		}
		curve = [3]float64(c)
		var off []float64
		for y, k := range kept {
			if k {
				off = append(off, math.Abs(at[y]-parabola(curve, y)))
			}
		}
		stray := robust.MADToSigma * robust.Median(off)
		if stray > edgeStray {
			return curve, kept, false
		}
		n = 0
		for y := range kept {
			if kept[y] = at[y] > 0 && math.Abs(at[y]-parabola(curve, y)) < max(float64(3*stray), 0.15); kept[y] {
				n++
			}
		}
	}
	return curve, kept, n >= edgeWindow/2
}

func parabola(c [3]float64, y int) float64 {
	u := float64(y - edgeWindow/2)
	return c[0] + float64(u*(c[1]+float64(c[2]*u)))
}

// crossing returns where a row that begins in the sky first reaches half of the
// brightness that it has a few pixels on.
func (e *edgeFinder) crossing(row []float32, bright float64) (x float64, ok bool) {
	mean := func(v []float32) (m float64) {
		for _, p := range v {
			m += float64(p)
		}
		return float64(m / float64(len(v)))
	}
	if mean(row[:4]) > e.sky+float64(0.1*e.span) {
		return 0, false
	}
	half := e.sky + float64((bright-e.sky)/2)
	k := slices.IndexFunc(row, func(v float32) bool { return float64(v) > half })
	if k < 3 || k > edgeWindow-10 {
		return 0, false
	}
	half = e.sky + float64((mean(row[k+4:k+9])-e.sky)/2)
	for k > 1 && float64(row[k-1]) > half {
		k--
	}
	for k < edgeWindow-1 && float64(row[k]) <= half {
		k++
	}
	lo, hi := float64(row[k-1]), float64(row[k])
	if !(hi > half && lo <= half) {
		return 0, false
	}
	return float64(k-1) + (half-lo)/(hi-lo), true
}

// profile bins the window's pixels by their distance from the curve.
func (e *edgeFinder) profile(pix []float32, curve [3]float64, kept [edgeWindow]bool) (p deconvolve.Profile, ok bool) {
	var n [deconvolve.EdgeBins]int
	for y, k := range kept {
		if !k {
			continue
		}
		u := float64(y - edgeWindow/2)
		slope := curve[1] + float64(2*curve[2]*u)
		shrink := 1 / math.Sqrt(1+float64(slope*slope))
		for x, v := range pix[y*edgeWindow:][:edgeWindow] {
			d := float64((float64(x) - parabola(curve, y)) * shrink)
			if b := int(math.Floor((d + deconvolve.EdgeReach) / deconvolve.EdgeBin)); b >= 0 && b < len(p) {
				p[b] += float64(v)
				n[b]++
			}
		}
	}
	for b := range p {
		if n[b] < 2 {
			if b >= 8 && b < len(p)-8 {
				return p, false
			}
			n[b] = max(n[b], 1)
		}
		p[b] /= float64(n[b])
	}
	normal, step, slope, spread, ok := p.Normal()
	return normal, ok && step > float64(edgeHeight*e.span) && math.Abs(slope) < edgeSlope && spread < edgeLevel
}
