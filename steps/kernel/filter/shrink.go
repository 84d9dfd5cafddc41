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
		d, rows := dst[y*dw:][:dw], src[y*f*w:]
		switch f {
		case 2:
			shrinkRowsBy2(d, rows, rows[w:], k)
		case 3:
			shrinkRowsBy3(d, rows, rows[w:], rows[2*w:], k)
		default:
			shrinkRows(d, rows, w, f, k)
		}
	}
}

func shrinkRows(d, rows []float32, w, f int, k float32) {
	clear(d)
	for j := range f {
		s := rows[j*w:][:len(d)*f]
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

// shrinkRowsBy2 and shrinkRowsBy3 are shrinkRows, sum by sum, at once.
func shrinkRowsBy2(d, a, b []float32, k float32) {
	a, b = a[:2*len(d)], b[:2*len(d)]
	for x := range d {
		p, q := a[2*x:2*x+2:2*x+2], b[2*x:2*x+2:2*x+2]
		d[x] = ((p[0] + p[1]) + (q[0] + q[1])) * k
	}
}

func shrinkRowsBy3(d, a, b, c []float32, k float32) {
	a, b, c = a[:3*len(d)], b[:3*len(d)], c[:3*len(d)]
	for x := range d {
		p, q, r := a[3*x:3*x+3:3*x+3], b[3*x:3*x+3:3*x+3], c[3*x:3*x+3:3*x+3]
		d[x] = ((((p[0] + p[1]) + p[2]) + ((q[0] + q[1]) + q[2])) + ((r[0] + r[1]) + r[2])) * k
	}
}
