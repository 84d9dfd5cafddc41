package fourier

// Each butterfly reads sample s·(q+k·m)+i, k = 0…radix−1, and writes sample
// s·(radix·q+k)+i, for q < m and i < s. The first of each pass (q = 0) has
// twiddle factors of 1.

func (p *pass) two(x, y []cell, s int) {
	for q := range p.m {
		w, v := p.cos[q], p.sin[q]
		for i := range s {
			a, b := &x[s*q+i], &x[s*(q+p.m)+i]
			o0, o1 := &y[s*2*q+i], &y[s*(2*q+1)+i]
			if q == 0 {
				for j := range 2 * lanes {
					o0[j], o1[j] = a[j]+b[j], a[j]-b[j]
				}
				continue
			}
			for j := range lanes {
				ar, ai, br, bi := a[j], a[j+lanes], b[j], b[j+lanes]
				o0[j], o0[j+lanes] = ar+br, ai+bi
				dr, di := ar-br, ai-bi
				o1[j] = float32(dr*w) - float32(di*v)
				o1[j+lanes] = float32(dr*v) + float32(di*w)
			}
		}
	}
}

func (p *pass) four(x, y []cell, s int) {
	p.fourFirst(x, y, s)
	for q := 1; q < p.m; q++ {
		w1, w2, w3 := p.cos[3*q], p.cos[3*q+1], p.cos[3*q+2]
		v1, v2, v3 := p.sin[3*q], p.sin[3*q+1], p.sin[3*q+2]
		for i := range s {
			a, b := &x[s*q+i], &x[s*(q+p.m)+i]
			c, d := &x[s*(q+2*p.m)+i], &x[s*(q+3*p.m)+i]
			o0, o1 := &y[s*4*q+i], &y[s*(4*q+1)+i]
			o2, o3 := &y[s*(4*q+2)+i], &y[s*(4*q+3)+i]
			for j := range lanes {
				ar, ai, cr, ci := a[j], a[j+lanes], c[j], c[j+lanes]
				br, bi, dr, di := b[j], b[j+lanes], d[j], d[j+lanes]
				sr, si, mr, mi := ar+cr, ai+ci, ar-cr, ai-ci
				tr, ti, nr, ni := br+dr, bi+di, br-dr, bi-di
				o0[j], o0[j+lanes] = sr+tr, si+ti
				ur, ui := sr-tr, si-ti
				o2[j] = float32(ur*w2) - float32(ui*v2)
				o2[j+lanes] = float32(ur*v2) + float32(ui*w2)
				ur, ui = mr+ni, mi-nr
				o1[j] = float32(ur*w1) - float32(ui*v1)
				o1[j+lanes] = float32(ur*v1) + float32(ui*w1)
				ur, ui = mr-ni, mi+nr
				o3[j] = float32(ur*w3) - float32(ui*v3)
				o3[j+lanes] = float32(ur*v3) + float32(ui*w3)
			}
		}
	}
}

func (p *pass) fourFirst(x, y []cell, s int) {
	for i := range s {
		a, b, c, d := &x[i], &x[s*p.m+i], &x[s*2*p.m+i], &x[s*3*p.m+i]
		o0, o1, o2, o3 := &y[i], &y[s+i], &y[2*s+i], &y[3*s+i]
		for j := range lanes {
			ar, ai, cr, ci := a[j], a[j+lanes], c[j], c[j+lanes]
			br, bi, dr, di := b[j], b[j+lanes], d[j], d[j+lanes]
			sr, si, mr, mi := ar+cr, ai+ci, ar-cr, ai-ci
			tr, ti, nr, ni := br+dr, bi+di, br-dr, bi-di
			o0[j], o0[j+lanes] = sr+tr, si+ti
			o1[j], o1[j+lanes] = mr+ni, mi-nr
			o2[j], o2[j+lanes] = sr-tr, si-ti
			o3[j], o3[j+lanes] = mr-ni, mi+nr
		}
	}
}

func (p *pass) three(x, y []cell, s int) {
	const sin60 = 0.86602540378443864676
	for q := range p.m {
		w1, w2 := p.cos[2*q], p.cos[2*q+1]
		v1, v2 := p.sin[2*q], p.sin[2*q+1]
		for i := range s {
			a, b, c := &x[s*q+i], &x[s*(q+p.m)+i], &x[s*(q+2*p.m)+i]
			o0, o1, o2 := &y[s*3*q+i], &y[s*(3*q+1)+i], &y[s*(3*q+2)+i]
			for j := range lanes {
				ar, ai := a[j], a[j+lanes]
				br, bi, cr, ci := b[j], b[j+lanes], c[j], c[j+lanes]
				tr, ti := br+cr, bi+ci
				dr, di := float32(sin60*(br-cr)), float32(sin60*(bi-ci))
				mr, mi := ar-float32(0.5*tr), ai-float32(0.5*ti)
				o0[j], o0[j+lanes] = ar+tr, ai+ti
				ur, ui := mr+di, mi-dr
				o1[j] = float32(ur*w1) - float32(ui*v1)
				o1[j+lanes] = float32(ur*v1) + float32(ui*w1)
				ur, ui = mr-di, mi+dr
				o2[j] = float32(ur*w2) - float32(ui*v2)
				o2[j+lanes] = float32(ur*v2) + float32(ui*w2)
			}
		}
	}
}

func (p *pass) five(x, y []cell, s int) {
	const (
		c1, s1 = 0.30901699437494742410, 0.95105651629515357212  // of 72°
		c2, s2 = -0.80901699437494742410, 0.58778525229247312917 // of 144°
	)
	for q := range p.m {
		w1, w2, w3, w4 := p.cos[4*q], p.cos[4*q+1], p.cos[4*q+2], p.cos[4*q+3]
		v1, v2, v3, v4 := p.sin[4*q], p.sin[4*q+1], p.sin[4*q+2], p.sin[4*q+3]
		for i := range s {
			a, b, c := &x[s*q+i], &x[s*(q+p.m)+i], &x[s*(q+2*p.m)+i]
			d, e := &x[s*(q+3*p.m)+i], &x[s*(q+4*p.m)+i]
			o := y[s*5*q+i:]
			o0, o1, o2, o3, o4 := &o[0], &o[s], &o[2*s], &o[3*s], &o[4*s]
			for j := range lanes {
				ar, ai := a[j], a[j+lanes]
				pr, pi, nr, ni := b[j]+e[j], b[j+lanes]+e[j+lanes], b[j]-e[j], b[j+lanes]-e[j+lanes]
				rr, ri, mr, mi := c[j]+d[j], c[j+lanes]+d[j+lanes], c[j]-d[j], c[j+lanes]-d[j+lanes]
				o0[j], o0[j+lanes] = ar+pr+rr, ai+pi+ri
				er, ei := ar+float32(c1*pr)+float32(c2*rr), ai+float32(c1*pi)+float32(c2*ri)
				gr, gi := float32(s1*nr)+float32(s2*mr), float32(s1*ni)+float32(s2*mi)
				ur, ui := er+gi, ei-gr
				o1[j], o1[j+lanes] = float32(ur*w1)-float32(ui*v1), float32(ur*v1)+float32(ui*w1)
				ur, ui = er-gi, ei+gr
				o4[j], o4[j+lanes] = float32(ur*w4)-float32(ui*v4), float32(ur*v4)+float32(ui*w4)
				er, ei = ar+float32(c2*pr)+float32(c1*rr), ai+float32(c2*pi)+float32(c1*ri)
				gr, gi = float32(s2*nr)-float32(s1*mr), float32(s2*ni)-float32(s1*mi)
				ur, ui = er+gi, ei-gr
				o2[j], o2[j+lanes] = float32(ur*w2)-float32(ui*v2), float32(ur*v2)+float32(ui*w2)
				ur, ui = er-gi, ei+gr
				o3[j], o3[j+lanes] = float32(ur*w3)-float32(ui*v3), float32(ur*v3)+float32(ui*w3)
			}
		}
	}
}

// any is the pass of a radix without a butterfly of its own.
func (p *pass) any(x, y []cell, s int) {
	r := p.radix
	for q := range p.m {
		for i := range s {
			for k := range r {
				var sum cell
				for n := range r {
					in := &x[s*(q+n*p.m)+i]
					c, d := p.rc[n*k%r], p.rs[n*k%r]
					for j := range lanes {
						sum[j] += float32(in[j]*c) - float32(in[j+lanes]*d)
						sum[j+lanes] += float32(in[j]*d) + float32(in[j+lanes]*c)
					}
				}
				out := &y[s*(r*q+k)+i]
				if k == 0 {
					*out = sum
					continue
				}
				w, v := p.cos[(r-1)*q+k-1], p.sin[(r-1)*q+k-1]
				for j := range lanes {
					out[j] = float32(sum[j]*w) - float32(sum[j+lanes]*v)
					out[j+lanes] = float32(sum[j]*v) + float32(sum[j+lanes]*w)
				}
			}
		}
	}
}
