package fourier

// Real holds what transforms of real pictures of w by h pixels share: half the
// work and half the memory of a Plan. Spectra have Half() = w/2+1 columns and h
// rows; the columns left out are the complex conjugates
// F(w-u, h-v) = conj F(u,v). It is safe for concurrent use.
type Real struct{ p *Plan }

// NewReal prepares transforms of real pictures of w by h pixels.
func NewReal(w, h int) *Real { return &Real{New(w, h)} }

// Size returns the width and the height of the pictures.
func (r *Real) Size() (w, h int) { return r.p.w, r.p.h }

// Half returns the number of columns of a spectrum.
func (r *Real) Half() int { return r.p.w/2 + 1 }

// Forward writes the spectrum of src into re and im, of Half()·h values each.
func (r *Real) Forward(src, re, im []float32) {
	p := r.p
	b := p.scratch.Get().(*buffers)
	defer p.scratch.Put(b)
	// Two rows ride in one complex transform, as its real and imaginary part.
	w, half := p.w, r.Half()
	in := b.a[:w]
	for y := 0; y < p.h; y += 2 * lanes {
		n := min(2*lanes, p.h-y)
		if n < 2*lanes {
			clear(in)
		}
		gather(in, src[y*w:], 0, 2*w, (n+1)/2)
		if n > 1 {
			gather(in, src[(y+1)*w:], lanes, 2*w, n/2)
		}
		out := p.x.run(in, b.b[:w])
		for j := range (n + 1) / 2 {
			at := (y + 2*j) * half
			r.unpack(re[at:], im[at:], out, j, 2*j+1 < n)
		}
	}
	p.columns(b, re, im, half)
}

// unpack parts lane j of c into the spectra of two real rows.
func (r *Real) unpack(re, im []float32, c []cell, j int, both bool) {
	half := r.Half()
	er, ei := re[:half], im[:half]
	for u := range half {
		v := 0
		if u > 0 {
			v = len(c) - u
		}
		er[u], ei[u] = 0.5*(c[u][j]+c[v][j]), 0.5*(c[u][j+lanes]-c[v][j+lanes])
	}
	if !both {
		return
	}
	or, oi := re[half:2*half], im[half:2*half]
	for u := range half {
		v := 0
		if u > 0 {
			v = len(c) - u
		}
		or[u], oi[u] = 0.5*(c[u][j+lanes]+c[v][j+lanes]), 0.5*(c[v][j]-c[u][j])
	}
}

// Inverse writes the picture of a spectrum into dst, with the factor 1/(w·h). It
// overwrites re and im.
func (r *Real) Inverse(dst, re, im []float32) {
	p := r.p
	b := p.scratch.Get().(*buffers)
	defer p.scratch.Put(b)
	w, half := p.w, r.Half()
	p.columns(b, im, re, half)
	in := b.a[:w]
	scale := 1 / float32(p.w*p.h)
	for y := 0; y < p.h; y += 2 * lanes {
		n := min(2*lanes, p.h-y)
		if n < 2*lanes {
			clear(in)
		}
		for j := range (n + 1) / 2 {
			at := (y + 2*j) * half
			r.pack(in, re[at:], im[at:], j, 2*j+1 < n)
		}
		// The parts have changed places: see Plan.Inverse.
		out := p.x.run(in, b.b[:w])
		scatter(dst[y*w:], out, lanes, 2*w, (n+1)/2, scale)
		if n > 1 {
			scatter(dst[(y+1)*w:], out, 0, 2*w, n/2, scale)
		}
	}
}

// pack is the way back of unpack, parts exchanged.
func (r *Real) pack(c []cell, re, im []float32, j int, both bool) {
	half := r.Half()
	for u := range half {
		ar, ai := re[u], im[u]
		var br, bi float32
		if both {
			br, bi = re[half+u], im[half+u]
		}
		if v := len(c) - u; u > 0 && v != u {
			c[v][j+lanes], c[v][j] = ar+bi, br-ai
		} else {
			// The spectrum of a real row is real here.
			ai, bi = 0, 0
		}
		c[u][j+lanes], c[u][j] = ar-bi, ai+br
	}
}
