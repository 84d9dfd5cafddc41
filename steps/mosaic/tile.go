package mosaic

import "image"

// drawImage blends the panels that touch a rectangle of the joined picture.
func drawImage(sheets []*sheet, r image.Rectangle, channels int) ([][]float32, error) {
	around := r.Inset(-accordReach)
	b := newBlend(around, channels)
	for _, s := range touching(sheets, around) {
		in := around.Intersect(s.box)
		img, err := s.draw(in.Inset(-margin))
		if err != nil {
			return nil, err
		}
		b.add(in, img, s.says(in, sharpBands), s.level, s.sharp, s.noise)
	}
	var out [][]float32
	for _, p := range b.finish() {
		out = append(out, cutOut(p, around, r))
	}
	return out, nil
}

// touching returns the panels that show something of a rectangle.
func touching(sheets []*sheet, r image.Rectangle) []*sheet {
	var out []*sheet
	for _, s := range sheets {
		if s != nil && r.Overlaps(s.box) {
			out = append(out, s)
		}
	}
	return out
}

// drawWeight returns one over the variance of the fine noise in a rectangle, in units of that of one stack where all
// its frames show: of values with variances 1/w, averaged with says s, it is (Σs)²/Σ(s²/w).
func drawWeight(sheets []*sheet, r image.Rectangle) []float32 {
	n := r.Dx() * r.Dy()
	out, square := make([]float32, n), make([]float32, n)
	for _, s := range touching(sheets, r) {
		in := r.Intersect(s.box)
		k := s.says(in, 1)
		for i, wide := range k.wide {
			if wide > 0 {
				at, v := within(in, r, i), k.fine[0][i]
				out[at] += v
				square[at] += float32(v * v / max(leastSay, k.stack[i]))
			}
		}
	}
	for i, s := range out {
		if s > 0 {
			out[i] = float32(s*s) / square[i]
		}
	}
	return out
}

// drawSource returns which panel counts most at each pixel of a rectangle, NaN where none shows anything.
func drawSource(sheets []*sheet, r image.Rectangle) []float32 {
	n := r.Dx() * r.Dy()
	out, best := make([]float32, n), make([]float32, n)
	for i := range out {
		out[i] = nan32
	}
	for _, s := range touching(sheets, r) {
		in := r.Intersect(s.box)
		for i, v := range s.says(in, 0).wide {
			if at := within(in, r, i); v > best[at] {
				best[at], out[at] = v, float32(s.index)
			}
		}
	}
	return out
}

// within returns the index in r of pixel i of a rectangle inside it.
func within(in, r image.Rectangle, i int) int {
	return (in.Min.Y-r.Min.Y+i/in.Dx())*r.Dx() + in.Min.X - r.Min.X + i%in.Dx()
}

// cutOut takes a rectangle out of pixels of a larger one.
func cutOut(pix []float32, from, r image.Rectangle) []float32 {
	out := make([]float32, 0, r.Dx()*r.Dy())
	for y := r.Min.Y; y < r.Max.Y; y++ {
		out = append(out, pix[(y-from.Min.Y)*from.Dx()+r.Min.X-from.Min.X:][:r.Dx()]...)
	}
	return out
}
