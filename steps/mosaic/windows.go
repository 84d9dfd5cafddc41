package mosaic

import (
	"math"

	"plenilune/steps/kernel/solve"
	"plenilune/steps/kernel/warp"
)

// panel is one stacked panel at full scale: brightness with NaN for holes.
type panel struct {
	w, h int
	v    []float32
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

// overlay draws two panels where they overlap. ok is false where they do not share enough.
func overlay(p, q band, mp, mq similarity) (s shared, ok bool) {
	x0, y0, x1, y1 := overlapOf(mp, mq, [2]int{p.w, p.h}, [2]int{q.w, q.h})
	s.x0, s.y0 = int(math.Floor(x0)), int(math.Floor(y0))
	s.w, s.h = int(math.Ceil(x1))-s.x0+1, int(math.Ceil(y1))-s.y0+1
	if s.w < 16 || s.h < 16 {
		return s, false
	}
	s.a, s.mask = p.draw(mp, s.x0, s.y0, s.w, s.h)
	var say []float32
	s.b, say = q.draw(mq, s.x0, s.y0, s.w, s.h)
	n := 0
	for i, k := range say {
		if s.mask[i] = min(s.mask[i], k); s.mask[i] > 0 {
			n++
		} else {
			s.a[i], s.b[i] = 0, 0
		}
	}
	return s, n >= 256
}

// ties measures one overlap in windows. Where those that lie partly outside show too little, and too few are left, others are laid
// farther inside.
func (s shared) ties(a, b int, mp, mq similarity, o windowing, spread float64) []tie {
	o = o.within(s.w, s.h)
	out := s.tiesInside(0, a, b, mp, mq, o, spread)
	if len(out) < fewWindows {
		if more := s.tiesInside(int((inside-0.5)*float64(o.side)), a, b, mp, mq, o, spread); len(more) > len(out) {
			return more
		}
	}
	return out
}

// tiesInside takes the windows whose middles lie so far inside the overlap. The place of a tie is the window's weighted middle in
// both panels.
func (s shared) tiesInside(free, a, b int, mp, mq similarity, o windowing, spread float64) []tie {
	ip, iq := mp.inverse(), mq.inverse()
	r := o.side / 2
	var out []tie
	for _, cy := range o.middles(s.h, free) {
		for _, cx := range o.middles(s.w, free) {
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
	bx, by, best := s.bestWhole(cx, cy, r, reach)
	if best < leastNCC || reach > 1 && max(bx, -bx, by, -by) >= reach {
		return fitted{}, false
	}
	f := fitted{dx: float64(bx), dy: float64(by)}
	for range 3 {
		next, ok := s.step(cx, cy, r, f.dx, f.dy)
		if !ok || math.Abs(next.dx-float64(bx)) > 1.5 || math.Abs(next.dy-float64(by)) > 1.5 {
			return fitted{}, false
		}
		done := math.Abs(next.dx-f.dx)+math.Abs(next.dy-f.dy) < 0.02
		if f = next; done {
			break
		}
	}
	f.ncc = best
	return f, true
}

// bestWhole returns the whole shift, up to reach either way, at which B is likest A, and how like. A band has no detail
// finer than two pixels, so that of a wide search every second shift and then the neighbours of the best will do.
func (s shared) bestWhole(cx, cy, r, reach int) (bx, by int, best float64) {
	best = -2
	search := func(x, y, reach, stride int) {
		for dy := y - reach; dy <= y+reach; dy += stride {
			for dx := x - reach; dx <= x+reach; dx += stride {
				if c := s.correlate(cx, cy, r, dx, dy); c > best {
					bx, by, best = dx, dy, c
				}
			}
		}
	}
	if reach < 4 {
		search(0, 0, reach, 1)
		return bx, by, best
	}
	search(0, 0, reach, 2)
	search(bx, by, 1, 1)
	return bx, by, best
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

// patch is a square cut out of B at a shift that need not be whole, one pixel wider than its window all round.
type patch struct {
	side    int
	v, mask []float32
}

// cut interpolates B over the window about (cx, cy), seen dx, dy away (Keys' cubic).
func (s shared) cut(cx, cy, r int, dx, dy float64) patch {
	fx, fy := math.Floor(dx), math.Floor(dy)
	wx, wy := warp.Cubic.Weights(dx-fx), warp.Cubic.Weights(dy-fy)
	var kx, ky [4]float32
	for i := range 4 {
		kx[i], ky[i] = float32(wx[i]), float32(wy[i])
	}
	p := patch{side: 2*r + 3}
	p.v, p.mask = make([]float32, p.side*p.side), make([]float32, p.side*p.side)
	x0, y0 := cx-r-1+int(fx), cy-r-1+int(fy)
	from, to := max(0, 1-x0), min(p.side, s.w-2-x0) // columns whose four neighbours lie in B
	lines := make([]float32, 4*p.side)              // four rows of B, interpolated along themselves; row y is the y-th modulo four
	line := func(y int) []float32 { return lines[(y&3)*p.side:][:p.side] }
	next := max(0, 1-y0) + y0 - 1
	for j := max(0, 1-y0); j < p.side && y0+j+2 < s.h && from < to; j++ {
		y := y0 + j
		for ; next <= y+2; next++ {
			l := line(next)
			b := s.b[next*s.w+x0+from-1:][:to-from+3]
			for i := range b[3:] {
				l[from+i] = float32(kx[0]*b[i]) + float32(kx[1]*b[i+1]) + float32(kx[2]*b[i+2]) + float32(kx[3]*b[i+3])
			}
		}
		a, b, c, d := line(y-1), line(y), line(y+1), line(y+2)
		v, mask := p.v[j*p.side:][:p.side], p.mask[j*p.side:][:p.side]
		above, below := s.mask[y*s.w+x0+from:][:to-from+1], s.mask[(y+1)*s.w+x0+from:][:to-from+1]
		for i := from; i < to; i++ {
			v[i] = float32(ky[0]*a[i]) + float32(ky[1]*b[i]) + float32(ky[2]*c[i]) + float32(ky[3]*d[i])
			k := i - from
			mask[i] = min(above[k], above[k+1], below[k], below[k+1])
		}
	}
	return p
}

// windowTurn is how much the ground may seem turned from panel to panel within a window, one standard deviation in
// radians: what a poor first placement or bent air does.
const windowTurn = 0.006

// equations are the normal equations of a window's step: shift x and y, turn, gain and offset.
type equations struct {
	n                 [25]float64
	rhs               [5]float64
	weight, mx, my, a float64
}

// add adds A's value a, w times, that is to be explained by its row: the shift's two gradients, the turn's, the other
// panel's value and one.
func (e *equations) add(gx, gy, gt, v, a, w float64) {
	wx, wy, wt, wv, wa := float64(w*gx), float64(w*gy), float64(w*gt), float64(w*v), float64(w*a)
	n := &e.n
	n[0] += float64(wx * gx)
	n[5] += float64(wx * gy)
	n[10] += float64(wx * gt)
	n[15] += float64(wx * v)
	n[20] += wx
	n[6] += float64(wy * gy)
	n[11] += float64(wy * gt)
	n[16] += float64(wy * v)
	n[21] += wy
	n[12] += float64(wt * gt)
	n[17] += float64(wt * v)
	n[22] += wt
	n[18] += float64(wv * v)
	n[23] += wv
	n[24] += w
	e.rhs[0] += float64(wx * a)
	e.rhs[1] += float64(wy * a)
	e.rhs[2] += float64(wt * a)
	e.rhs[3] += float64(wv * a)
	e.rhs[4] += wa
	e.weight += w
	e.a += float64(wa * a)
}

// step improves the shift d with A(x) ≈ g·B(x+d) + o by one linear step, with the mean of both gradients, which has no
// bias to either side.
func (s shared) step(cx, cy, r int, dx, dy float64) (fitted, bool) {
	sigma2 := float64(float64(r*r) / 2)
	p := s.cut(cx, cy, r, dx, dy)
	bell := make([]float64, r+1) // by how far a pixel lies from the middle along either axis
	for k := range bell {
		bell[k] = quickGauss(2 * float64(k*k) / sigma2)
	}
	var e equations
	for y := max(1, cy-r); y <= min(s.h-2, cy+r); y++ {
		for x := max(1, cx-r); x <= min(s.w-2, cx+r); x++ {
			i, j := y*s.w+x, (y-cy+r+1)*p.side+x-cx+r+1
			w := float64(s.mask[i]) * float64(p.mask[j])
			if w == 0 {
				continue
			}
			ex, ey := float64(x-cx), float64(y-cy)
			w *= bell[max(x-cx, cx-x)] * bell[max(y-cy, cy-y)]
			gx := float64(s.a[i+1]-s.a[i-1]+p.v[j+1]-p.v[j-1]) / 4
			gy := float64(s.a[i+s.w]-s.a[i-s.w]+p.v[j+p.side]-p.v[j-p.side]) / 4
			e.add(gx, gy, float64(gy*ex)-float64(gx*ey), float64(p.v[j]), float64(s.a[i]), w)
			e.mx += float64(w * ex)
			e.my += float64(w * ey)
		}
	}
	if e.weight < 16 {
		return fitted{}, false
	}
	f, ok := e.solve(dx, dy)
	f.x, f.y = float64(cx)+e.mx/e.weight, float64(cy)+e.my/e.weight
	return f, ok
}

// solve returns the new shift, at the window's middle moved to the weighted middle by the turn found, and the
// inverse covariance of the shift when turn, gain and offset are free.
func (e *equations) solve(dx, dy float64) (fitted, bool) {
	v, err := solve.Cholesky(e.n[:], e.rhs[:])
	if err != nil {
		return fitted{}, false
	}
	rest := e.a
	for p := range 5 {
		rest -= float64(v[p] * e.rhs[p])
	}
	const correlated = 8 // pixels that share their noise after the blur
	rest = max(rest, 1e-12*e.a)
	noise := rest / e.weight * correlated
	// Noise has gradients too: without structure, along a limb for instance, these must not pass for knowledge. After
	// the blur a noise of unit variance in the difference has a mean gradient of a tenth; twice that is taken off.
	e.n[0], e.n[6] = max(e.n[0]-float64(0.2*rest), 1e-9*e.a), max(e.n[6]-float64(0.2*rest), 1e-9*e.a)
	e.n[12] += noise / (windowTurn * windowTurn)
	if v, err = solve.Cholesky(e.n[:], e.rhs[:]); err != nil || v[3] <= 0.2 || v[3] > 5 {
		return fitted{}, false
	}
	cov, err := solve.Inverse(e.n[:], 5)
	if err != nil {
		return fitted{}, false
	}
	// A = g·B + g·∇B·d + o. The mean gradient is (1+g)/2 of ∇B, so v = 2g/(1+g)·d.
	k := (1 + v[3]) / 2 / v[3]
	mx, my := e.mx/e.weight, e.my/e.weight
	f := fitted{dx: dx + float64(k*(v[0]-float64(v[2]*my))), dy: dy + float64(k*(v[1]+float64(v[2]*mx)))}
	det := float64(cov[0]*cov[6]) - float64(cov[5]*cov[5])
	if !(det > 0) {
		return fitted{}, false
	}
	f.gxx, f.gxy, f.gyy = cov[6]/det/noise, -cov[5]/det/noise, cov[0]/det/noise
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
