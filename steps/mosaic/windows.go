package mosaic

import (
	"math"

	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/warp"
)

// panel is one stacked panel at full scale: brightness with NaN for holes.
type panel struct {
	w, h int
	v    []float32
}

// windowing says how an overlap is measured.
type windowing struct {
	side   int // of a window, pixels
	stride int // between windows
	reach  int // whole pixels of search either way
}

// bounds returns the smallest and largest mosaic coordinates of a panel.
func bounds(m similarity, w, h int) (x0, y0, x1, y1 float64) {
	x0, y0 = math.Inf(1), math.Inf(1)
	x1, y1 = math.Inf(-1), math.Inf(-1)
	for _, c := range [4][2]float64{{0, 0}, {float64(w - 1), 0}, {0, float64(h - 1)}, {float64(w - 1), float64(h - 1)}} {
		x, y := m.at(c[0], c[1])
		x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), max(y1, y)
	}
	return x0, y0, x1, y1
}

// shared is two panels drawn over each other on the mosaic's pixels.
type shared struct {
	x0, y0, w, h int
	a, b         []float32 // band-passed
	mask         []float32
}

// affine turns a similarity into the form that resampling takes.
func (s similarity) affine() warp.Affine { return warp.Affine{s.A, -s.B, s.X, s.B, s.A, s.Y} }

// draw resamples a panel onto the mosaic pixels from (x0, y0) on.
func draw(p panel, m similarity, x0, y0, w, h int) []float32 {
	dst := plane.New(w, h, 1)
	toPanel := m.inverse().after(similarity{A: 1, X: float64(x0), Y: float64(y0)})
	warp.Resample(dst, plane.Of(p.w, p.h, p.v), toPanel.affine(), warp.Cubic)
	return dst.Pix[0]
}

// overlay draws two panels where they overlap and takes the band between 1 and 5
// pixels of blur out of both with the same mask, so that the border acts on both
// alike. ok is false where they do not share enough.
func overlay(p, q panel, mp, mq similarity) (s shared, ok bool) {
	ax0, ay0, ax1, ay1 := bounds(mp, p.w, p.h)
	bx0, by0, bx1, by1 := bounds(mq, q.w, q.h)
	s.x0, s.y0 = int(math.Floor(max(ax0, bx0))), int(math.Floor(max(ay0, by0)))
	s.w, s.h = int(math.Ceil(min(ax1, bx1)))-s.x0+1, int(math.Ceil(min(ay1, by1)))-s.y0+1
	if s.w < 16 || s.h < 16 {
		return s, false
	}
	s.a = draw(p, mp, s.x0, s.y0, s.w, s.h)
	s.b = draw(q, mq, s.x0, s.y0, s.w, s.h)
	s.mask = make([]float32, s.w*s.h)
	n := 0
	for i := range s.mask {
		if s.a[i] == s.a[i] && s.b[i] == s.b[i] {
			s.mask[i] = 1
			n++
		} else {
			s.a[i], s.b[i] = 0, 0
		}
	}
	if n < 256 {
		return s, false
	}
	// Next to the border the broad blur sees one side only. What that leaves is the same at the same
	// place in both, would look like agreement, and so counts for less the nearer the border is.
	s.a, s.b = bandPass(s.a, s.mask, s.w, s.h), bandPass(s.b, s.mask, s.w, s.h)
	for i, d := range distance(s.mask, s.w, s.h) {
		s.mask[i] = min(d/(2*coarseBlur), 1)
	}
	return s, true
}

// coarseBlur is the upper end of the band, in pixels.
const coarseBlur = 5

func bandPass(v, mask []float32, w, h int) []float32 {
	fine, coarse := smoothOver(v, mask, w, h, 1), smoothOver(v, mask, w, h, coarseBlur)
	for i := range fine {
		fine[i] = (fine[i] - coarse[i]) * mask[i]
	}
	return fine
}

// ties measures one overlap in windows. The place of a tie is the window's
// weighted middle in both panels.
func (s shared) ties(a, b int, mp, mq similarity, o windowing, spread float64) []tie {
	ip, iq := mp.inverse(), mq.inverse()
	r := o.side / 2
	var out []tie
	for cy := (s.h - (s.h-1)/o.stride*o.stride) / 2; cy < s.h; cy += o.stride {
		for cx := (s.w - (s.w-1)/o.stride*o.stride) / 2; cx < s.w; cx += o.stride {
			f, ok := s.fit(cx, cy, r, o.reach)
			if !ok {
				continue
			}
			x, y := float64(s.x0)+f.x, float64(s.y0)+f.y
			t := tie{A: a, B: b, Info: f.info(spread)}
			t.AX, t.AY = ip.at(x-float64(f.dx/2), y-float64(f.dy/2))
			t.BX, t.BY = iq.at(x+float64(f.dx/2), y+float64(f.dy/2))
			out = append(out, t)
		}
	}
	return out
}

// fitted is the shift in one window: what A shows at (x, y) B shows dx, dy further.
type fitted struct {
	x, y, dx, dy float64
	gxx, gxy     float64 // gradient sums over noise: the inverse covariance
	gyy          float64
	ncc          float64
}

const leastNCC = 0.55

// fit finds the shift of B against A in the window about (cx, cy): the best whole
// shift by correlation, then one symmetric least-squares step for shift, gain and offset
// together (Lucas & Kanade 1981).
func (s shared) fit(cx, cy, r, reach int) (fitted, bool) {
	if !s.filled(cx, cy, r) {
		return fitted{}, false
	}
	bx, by, best := 0, 0, -2.0
	for dy := -reach; dy <= reach; dy++ {
		for dx := -reach; dx <= reach; dx++ {
			if c := s.correlate(cx, cy, r, dx, dy); c > best {
				bx, by, best = dx, dy, c
			}
		}
	}
	if best < leastNCC || reach > 1 && (bx == -reach || bx == reach || by == -reach || by == reach) {
		return fitted{}, false
	}
	f, ok := s.step(cx, cy, r, bx, by)
	f.ncc = best
	return f, ok && math.Abs(f.dx-float64(bx)) < 1 && math.Abs(f.dy-float64(by)) < 1
}

// filled tells whether half of the window is shown by both panels.
func (s shared) filled(cx, cy, r int) bool {
	n := 0
	for y := max(0, cy-r); y <= min(s.h-1, cy+r); y += 2 {
		for x := max(0, cx-r); x <= min(s.w-1, cx+r); x += 2 {
			if s.mask[y*s.w+x] != 0 {
				n++
			}
		}
	}
	return 4*n*2 >= (2*r+1)*(2*r+1)
}

// inside calls fn for the pixels of a window that both panels show, B seen dx, dy away.
func (s shared) inside(cx, cy, r, dx, dy int, fn func(x, y, i, j int)) {
	for y := max(1, cy-r, 1-dy); y <= min(s.h-2, cy+r, s.h-2-dy); y++ {
		for x := max(1, cx-r, 1-dx); x <= min(s.w-2, cx+r, s.w-2-dx); x++ {
			i, j := y*s.w+x, (y+dy)*s.w+x+dx
			if s.mask[i] != 0 && s.mask[j] != 0 {
				fn(x, y, i, j)
			}
		}
	}
}

// correlate returns the correlation over a window, B seen dx, dy away. Every second row is enough for a choice
// among whole shifts.
func (s shared) correlate(cx, cy, r, dx, dy int) float64 {
	var n int
	var sa, sb, saa, sbb, sab float32
	x0, x1 := max(1, cx-r, 1-dx), min(s.w-2, cx+r, s.w-2-dx)+1
	if x1 <= x0 {
		return -1
	}
	for y := max(1, cy-r, 1-dy); y <= min(s.h-2, cy+r, s.h-2-dy); y += 2 {
		i, j := y*s.w, (y+dy)*s.w+dx
		pa, pb := s.a[i+x0:i+x1], s.b[j+x0:j+x1]
		ma, mb := s.mask[i+x0:i+x1], s.mask[j+x0:j+x1]
		for k, a := range pa {
			if ma[k] == 0 || mb[k] == 0 {
				continue
			}
			b := pb[k]
			n++
			sa += a
			sb += b
			saa += float32(a * a)
			sbb += float32(b * b)
			sab += float32(a * b)
		}
	}
	if n < 64 {
		return -1
	}
	k := float32(n)
	va, vb := saa-float32(sa*sa)/k, sbb-float32(sb*sb)/k
	if va <= 0 || vb <= 0 {
		return -1
	}
	return float64(sab-float32(sa*sb)/k) / math.Sqrt(float64(va)*float64(vb))
}

// step solves A(x) ≈ g·B(x+d) + o for d by one linear step about (bx, by), with the mean of both
// gradients, which has no bias to either side.
func (s shared) step(cx, cy, r, bx, by int) (fitted, bool) {
	sigma2 := float64(float64(r*r) / 2)
	var n [10]float64 // normal matrix of gx, gy, b, 1
	var rhs [4]float64
	var wsum, mx, my, raa float64
	s.inside(cx, cy, r, bx, by, func(x, y, i, j int) {
		ex, ey := float64(x-cx), float64(y-cy)
		w := float64(float64(s.mask[i]) * float64(s.mask[j]) * quickGauss(2*(float64(ex*ex)+float64(ey*ey))/sigma2))
		gx := float64(s.a[i+1]-s.a[i-1]+s.b[j+1]-s.b[j-1]) / 4
		gy := float64(s.a[i+s.w]-s.a[i-s.w]+s.b[j+s.w]-s.b[j-s.w]) / 4
		a, b := float64(s.a[i]), float64(s.b[j])
		row := [4]float64{gx, gy, b, 1}
		k := 0
		for p := range 4 {
			for q := p; q < 4; q++ {
				n[k] += float64(w * row[p] * row[q])
				k++
			}
			rhs[p] += float64(w * row[p] * a)
		}
		wsum += w
		mx += float64(w * float64(x))
		my += float64(w * float64(y))
		raa += float64(w * a * a)
	})
	if wsum < 16 {
		return fitted{}, false
	}
	v, ok := solve4(n, rhs)
	if !ok || v[2] <= 0.2 || v[2] > 5 {
		return fitted{}, false
	}
	// A = g·B + g·∇B·d + o. The mean gradient is (1+g)/2 of ∇B, so v = 2g/(1+g)·d.
	half := (1 + v[2]) / 2
	f := fitted{x: mx / wsum, y: my / wsum, dx: float64(bx) + v[0]*half/v[2], dy: float64(by) + v[1]*half/v[2]}
	rest := raa
	for p := range 4 {
		rest -= float64(v[p] * rhs[p])
	}
	const correlated = 8 // pixels that share their noise after the blur
	// Noise has gradients too: without structure, along a limb for instance, these must not pass for knowledge. After
	// the blur a noise of unit variance in the difference has a mean gradient of a tenth; twice that is taken off.
	rest = max(rest, 1e-12*raa)
	noise := rest / wsum * correlated
	f.gxx, f.gxy, f.gyy = max(n[0]-float64(0.2*rest), 0)/noise, n[1]/noise, max(n[4]-float64(0.2*rest), 0)/noise
	return f, true
}

// info returns the inverse covariance of the shift when the panels themselves are bent by spread pixels (one
// standard deviation) against each other.
func (f fitted) info(spread float64) [3]float64 {
	// (G⁻¹ + s²)⁻¹ by eigenvalues: each g becomes g/(1 + s²·g). A direction without structure has g = 0.
	mean, d, o := float64((f.gxx+f.gyy)/2), float64((f.gxx-f.gyy)/2), f.gxy
	root := math.Sqrt(float64(d*d) + float64(o*o))
	s2 := spread * spread
	squeeze := func(g float64) float64 { g = max(g, 1e-3); return g / (1 + float64(s2*g)) }
	hi, lo := squeeze(mean+root), squeeze(mean-root)
	if root > 0 {
		d, o = d/root, o/root
	}
	m, h := float64((hi+lo)/2), float64((hi-lo)/2)
	return [3]float64{m + float64(h*d), h * o, m - float64(h*d)}
}
