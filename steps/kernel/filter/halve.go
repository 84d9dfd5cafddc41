package filter

// Halve writes the mean over 2×2 pixels of a picture of w by h; dst is w/2 by h/2, an odd column or row at the right
// or lower edge is left out. Its pixel x lies at 2x+½ of the picture's.
func Halve(dst, src []float32, w, h int) {
	hw := w / 2
	for y := range h / 2 {
		a, b := src[2*y*w:][:2*hw], src[(2*y+1)*w:][:2*hw]
		d := dst[y*hw:][:hw]
		for x := range d {
			d[x] = 0.25 * ((a[2*x] + a[2*x+1]) + (b[2*x] + b[2*x+1]))
		}
	}
}
