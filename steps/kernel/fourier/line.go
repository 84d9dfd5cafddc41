package fourier

import (
	"math"

	"plenilune/steps/kernel/portable"
)

// line transforms one dimension by Stockham's self-sorting passes of radix 4, 2,
// 3 and 5 (Stockham 1966; the form of Van Loan 1992, "Computational Frameworks
// for the FFT", §1.7), for several interleaved sequences at once.
type line struct {
	n      int
	passes []pass
}

// pass is one stage: m butterflies of a radix, with their twiddle factors
// exp(−2πi·k·p/(radix·m)), k = 1…radix−1, for each p.
type pass struct {
	radix, m int
	cos, sin []float32
}

func newLine(n int) *line {
	l := &line{n: n}
	for left := n; left > 1; {
		r := 5
		for _, try := range []int{4, 2, 3} {
			if left%try == 0 {
				r = try
				break
			}
		}
		p := pass{radix: r, m: left / r}
		for i := range p.m {
			for k := 1; k < r; k++ {
				s, c := portable.Sincos(-2 * math.Pi * float64(k*i%left) / float64(left))
				p.cos = append(p.cos, float32(c))
				p.sin = append(p.sin, float32(s))
			}
		}
		l.passes = append(l.passes, p)
		left = p.m
	}
	return l
}

// run transforms the lanes in b.ar, b.ai and returns where the result lies.
func (l *line) run(b *buffers, stride int) (re, im []float32) {
	ar, ai, br, bi := b.ar, b.ai, b.br, b.bi
	s := stride
	for i := range l.passes {
		p := &l.passes[i]
		switch p.radix {
		case 2:
			p.two(ar, ai, br, bi, s)
		case 3:
			p.three(ar, ai, br, bi, s)
		case 4:
			p.four(ar, ai, br, bi, s)
		default:
			p.five(ar, ai, br, bi, s)
		}
		ar, ai, br, bi = br, bi, ar, ai
		s *= p.radix
	}
	return ar, ai
}

func (p *pass) two(xr, xi, yr, yi []float32, s int) {
	for q := range p.m {
		c, w := p.cos[q], p.sin[q]
		ar, ai := xr[s*q:s*(q+1)], xi[s*q:s*(q+1)]
		br, bi := xr[s*(q+p.m):s*(q+p.m+1)], xi[s*(q+p.m):s*(q+p.m+1)]
		or, oi := yr[s*2*q:s*(2*q+1)], yi[s*2*q:s*(2*q+1)]
		pr, pi := yr[s*(2*q+1):s*(2*q+2)], yi[s*(2*q+1):s*(2*q+2)]
		for i := range ar {
			dr, di := ar[i]-br[i], ai[i]-bi[i]
			or[i], oi[i] = ar[i]+br[i], ai[i]+bi[i]
			pr[i] = float32(dr*c) - float32(di*w)
			pi[i] = float32(dr*w) + float32(di*c)
		}
	}
}

func (p *pass) four(xr, xi, yr, yi []float32, s int) {
	for q := range p.m {
		w := p.cos[3*q : 3*q+3]
		v := p.sin[3*q : 3*q+3]
		at := func(k int) ([]float32, []float32) {
			return xr[s*(q+k*p.m) : s*(q+k*p.m+1)], xi[s*(q+k*p.m) : s*(q+k*p.m+1)]
		}
		to := func(k int) ([]float32, []float32) {
			return yr[s*(4*q+k) : s*(4*q+k+1)], yi[s*(4*q+k) : s*(4*q+k+1)]
		}
		ar, ai := at(0)
		br, bi := at(1)
		cr, ci := at(2)
		dr, di := at(3)
		o0r, o0i := to(0)
		o1r, o1i := to(1)
		o2r, o2i := to(2)
		o3r, o3i := to(3)
		for i := range ar {
			sr, si := ar[i]+cr[i], ai[i]+ci[i]
			mr, mi := ar[i]-cr[i], ai[i]-ci[i]
			tr, ti := br[i]+dr[i], bi[i]+di[i]
			nr, ni := br[i]-dr[i], bi[i]-di[i]
			o0r[i], o0i[i] = sr+tr, si+ti
			ur, ui := mr+ni, mi-nr
			o1r[i], o1i[i] = float32(ur*w[0])-float32(ui*v[0]), float32(ur*v[0])+float32(ui*w[0])
			ur, ui = sr-tr, si-ti
			o2r[i], o2i[i] = float32(ur*w[1])-float32(ui*v[1]), float32(ur*v[1])+float32(ui*w[1])
			ur, ui = mr-ni, mi+nr
			o3r[i], o3i[i] = float32(ur*w[2])-float32(ui*v[2]), float32(ur*v[2])+float32(ui*w[2])
		}
	}
}

func (p *pass) three(xr, xi, yr, yi []float32, s int) {
	const half, sin60 = 0.5, 0.86602540378443864676
	for q := range p.m {
		w0, w1 := p.cos[2*q], p.cos[2*q+1]
		v0, v1 := p.sin[2*q], p.sin[2*q+1]
		for i := range s {
			a, b, c := s*q+i, s*(q+p.m)+i, s*(q+2*p.m)+i
			tr, ti := xr[b]+xr[c], xi[b]+xi[c]
			dr, di := float32(sin60*(xr[b]-xr[c])), float32(sin60*(xi[b]-xi[c]))
			mr, mi := xr[a]-float32(half*tr), xi[a]-float32(half*ti)
			o := s*3*q + i
			yr[o], yi[o] = xr[a]+tr, xi[a]+ti
			ur, ui := mr+di, mi-dr
			yr[o+s], yi[o+s] = float32(ur*w0)-float32(ui*v0), float32(ur*v0)+float32(ui*w0)
			ur, ui = mr-di, mi+dr
			yr[o+2*s], yi[o+2*s] = float32(ur*w1)-float32(ui*v1), float32(ur*v1)+float32(ui*w1)
		}
	}
}

func (p *pass) five(xr, xi, yr, yi []float32, s int) {
	const (
		c1, s1 = 0.30901699437494742410, 0.95105651629515357212  // of 72°
		c2, s2 = -0.80901699437494742410, 0.58778525229247312917 // of 144°
	)
	for q := range p.m {
		w, v := p.cos[4*q:4*q+4], p.sin[4*q:4*q+4]
		for i := range s {
			at := func(k int) int { return s*(q+k*p.m) + i }
			a, b, c, d, e := at(0), at(1), at(2), at(3), at(4)
			pr, pi, nr, ni := xr[b]+xr[e], xi[b]+xi[e], xr[b]-xr[e], xi[b]-xi[e]
			rr, ri, mr, mi := xr[c]+xr[d], xi[c]+xi[d], xr[c]-xr[d], xi[c]-xi[d]
			o := s*5*q + i
			yr[o], yi[o] = xr[a]+pr+rr, xi[a]+pi+ri
			er, ei := xr[a]+float32(c1*pr)+float32(c2*rr), xi[a]+float32(c1*pi)+float32(c2*ri)
			fr, fi := xr[a]+float32(c2*pr)+float32(c1*rr), xi[a]+float32(c2*pi)+float32(c1*ri)
			gr, gi := float32(s1*nr)+float32(s2*mr), float32(s1*ni)+float32(s2*mi)
			hr, hi := float32(s2*nr)-float32(s1*mr), float32(s2*ni)-float32(s1*mi)
			put := func(k int, ur, ui float32) {
				yr[o+k*s] = float32(ur*w[k-1]) - float32(ui*v[k-1])
				yi[o+k*s] = float32(ur*v[k-1]) + float32(ui*w[k-1])
			}
			put(1, er+gi, ei-gr)
			put(2, fr+hi, fi-hr)
			put(3, fr-hi, fi+hr)
			put(4, er-gi, ei+gr)
		}
	}
}
