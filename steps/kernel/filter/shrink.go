package filter

// Shrink writes the mean over f×f pixels of a picture of w by h; dst is w/f by h/f, rests at the
// right and lower edges are left out. Output centre x lies at f·x + (f-1)/2.
func Shrink(dst, src []float32, w, h, f int) {
	if f == 1 {
		copy(dst, src)
		return
	}
	dw, dh := w/f, h/f
	k := 1 / float32(f*f)
	for y := range dh {
		d := dst[y*dw:][:dw]
		clear(d)
		for j := range f {
			s := src[(y*f+j)*w:][:dw*f]
			if f == 2 {
				for x := range d {
					d[x] += s[2*x] + s[2*x+1]
				}
				continue
			}
			if f == 3 {
				for x := range d {
					q := s[3*x : 3*x+3 : 3*x+3]
					d[x] += (q[0] + q[1]) + q[2]
				}
				continue
			}
			for x := range d {
				var sum float32
				for _, v := range s[x*f : x*f+f] {
					sum += v
				}
				d[x] += sum
			}
		}
		for x := range d {
			d[x] *= k
		}
	}
}
