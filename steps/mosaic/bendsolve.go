package mosaic

// like returns bends of the same grids, all zero.
func like(bends []bend) []bend {
	out := make([]bend, len(bends))
	for i, b := range bends {
		out[i] = bend{b.NX, b.NY, b.Step, make([]float64, len(b.DX)), make([]float64, len(b.DY))}
	}
	return out
}

// curvature applies the normal matrix: terms and prior.
func curvature(v, into []bend, terms []bendTerm) {
	for i := range into {
		clear(into[i].DX)
		clear(into[i].DY)
		for _, c := range [2][2][]float64{{v[i].DX, into[i].DX}, {v[i].DY, into[i].DY}} {
			addPrior(c[0], c[1], v[i].NX)
		}
	}
	for k := range terms {
		t := &terms[k]
		x, y := t.weighted(t.apply(v))
		t.spread(into, x, y)
	}
}

// addPrior adds the gradient of the prior's cost to out.
func addPrior(v, out []float64, nx int) {
	const size, slope = 1 / (bendSize * bendSize), 1 / (bendSlope * bendSlope)
	for i, c := range v {
		out[i] += float64(size * c)
		if i%nx+1 < nx {
			d := float64(slope * (v[i+1] - c))
			out[i] -= d
			out[i+1] += d
		}
		if i+nx < len(v) {
			d := float64(slope * (v[i+nx] - c))
			out[i] -= d
			out[i+nx] += d
		}
	}
}

// solveBends solves for all coefficients at once by conjugate gradients (Hestenes & Stiefel 1952), each unknown in units of
// what its own equations leave open (Jacobi's preconditioning), from the bends as they are.
func solveBends(bends []bend, terms []bendTerm) {
	r, p, q, z := like(bends), like(bends), like(bends), like(bends)
	own := diagonal(bends, terms)
	curvature(bends, q, terms)
	for k := range terms {
		x, y := terms[k].asked()
		terms[k].spread(r, x, y)
	}
	combine(r, -1, q)
	over(z, r, own)
	combine(p, 1, z)
	rz := dot(r, z)
	first := rz
	for range 200 {
		if rz <= 1e-8*first || rz == 0 {
			return
		}
		curvature(p, q, terms)
		a := rz / dot(p, q)
		combine(bends, a, p)
		combine(r, -a, q)
		over(z, r, own)
		next := dot(r, z)
		b := next / rz
		rz = next
		for i := range p {
			for k := range p[i].DX {
				p[i].DX[k] = z[i].DX[k] + float64(b*p[i].DX[k])
				p[i].DY[k] = z[i].DY[k] + float64(b*p[i].DY[k])
			}
		}
	}
}

// diagonal is that of the normal matrix.
func diagonal(bends []bend, terms []bendTerm) []bend {
	const size, slope = 1 / (bendSize * bendSize), 1 / (bendSlope * bendSlope)
	out := like(bends)
	for i := range out {
		nx, ny := out[i].NX, out[i].NY
		for k := range out[i].DX {
			near := 4.0
			if x := k % nx; x == 0 || x == nx-1 {
				near--
			}
			if y := k / nx; y == 0 || y == ny-1 {
				near--
			}
			out[i].DX[k] = size + float64(slope*near)
			out[i].DY[k] = out[i].DX[k]
		}
	}
	for k := range terms {
		t := &terms[k]
		xx, yy := 0.0, 0.0
		for _, a := range t.axes {
			xx += float64(a.weight * a.nx * a.nx)
			yy += float64(a.weight * a.ny * a.ny)
		}
		out[t.b].lift(t.tb.squared(), xx, yy)
		if t.a >= 0 {
			out[t.a].lift(t.ta.squared(), xx, yy)
		}
	}
	return out
}

// squared are taps whose weights are squared.
func (t taps) squared() taps {
	for i := range 4 {
		t.x[i] *= t.x[i]
		t.y[i] *= t.y[i]
	}
	return t
}

// over writes v over by, number by number.
func over(out, v, by []bend) {
	for i := range v {
		for k := range v[i].DX {
			out[i].DX[k] = v[i].DX[k] / by[i].DX[k]
			out[i].DY[k] = v[i].DY[k] / by[i].DY[k]
		}
	}
}

// combine adds a times w to v.
func combine(v []bend, a float64, w []bend) {
	for i := range v {
		for k := range v[i].DX {
			v[i].DX[k] += float64(a * w[i].DX[k])
			v[i].DY[k] += float64(a * w[i].DY[k])
		}
	}
}

func dot(v, w []bend) float64 {
	s := 0.0
	for i := range v {
		for k := range v[i].DX {
			s += float64(v[i].DX[k]*w[i].DX[k]) + float64(v[i].DY[k]*w[i].DY[k])
		}
	}
	return s
}
