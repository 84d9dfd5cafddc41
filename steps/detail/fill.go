package detail

// carryOn keeps v where its weight is 1 and writes over it, where it is less, what
// the surroundings carry on smoothly: weighted means over ever larger cells, each
// used only as far as the finer one lacks weight (the pull-push scheme of
// Gortler, Grzeszczuk, Szeliski & Cohen 1996, "The Lumigraph"). Weights run
// 0…1, nil is 1 everywhere; where v is NaN it weighs nothing. Without any weight
// all becomes 0.
func carryOn(v, weight []float32, w, h int) {
	known := func(i int) float32 {
		switch {
		case v[i] != v[i]:
			return 0
		case weight == nil:
			return 1
		}
		return weight[i]
	}
	if w == 1 && h == 1 {
		if !(known(0) > 0) {
			v[0] = 0
		}
		return
	}
	hw, hh := (w+1)/2, (h+1)/2
	coarse, sum := make([]float32, hw*hh), make([]float32, hw*hh)
	for y := range h {
		for x := range w {
			if k := known(y*w + x); k > 0 {
				i := y/2*hw + x/2
				coarse[i] += float32(k * v[y*w+x])
				sum[i] += k
			}
		}
	}
	for i, s := range sum {
		if s > 0 {
			coarse[i] /= s
		}
		sum[i] = min(1, s)
	}
	carryOn(coarse, sum, hw, hh)
	up := grid{coarse, hw, hh}
	for y := range h {
		for x := range w {
			i := y*w + x
			k := known(i)
			if k >= 1 {
				continue
			}
			c := up.at((float32(x)-0.5)/2, (float32(y)-0.5)/2)
			if k > 0 {
				c = float32(k*v[i]) + float32((1-k)*c)
			}
			v[i] = c
		}
	}
}

// grid is a plane read between its pixels.
type grid struct {
	pix  []float32
	w, h int
}

// at returns the value at (x, y), bilinear, held beyond the outermost pixels.
func (g grid) at(x, y float32) float32 {
	x, y = min(max(x, 0), float32(g.w-1)), min(max(y, 0), float32(g.h-1))
	ix, iy := int(x), int(y)
	fx, fy := x-float32(ix), y-float32(iy)
	a := g.pix[iy*g.w+ix:]
	b := a
	if iy+1 < g.h {
		b = g.pix[(iy+1)*g.w+ix:]
	}
	right := min(1, g.w-1-ix)
	top := a[0] + float32(fx*(a[right]-a[0]))
	low := b[0] + float32(fx*(b[right]-b[0]))
	return top + float32(fy*(low-top))
}
