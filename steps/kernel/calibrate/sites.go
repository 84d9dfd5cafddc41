package calibrate

import "plenilune/steps/kernel/plane"

// Sites gathers how sensitive the four sites of a 2×2 colour filter are to one and the same light, such as what passes an
// infrared filter, which all dyes let through, each to its own degree.
//
// Over blocks of 2×2 samples, site k shows s_k·light + pedestal, and their mean s̄·light + pedestal, so that the slope of the
// one over the other is s_k/s̄, whatever the pedestal (least squares).
type Sites struct {
	n, mean, square float64
	site, product   [4]float64
}

// Add takes in a raw frame of one plane; blocks with a sample from white on are left out.
func (s *Sites) Add(frame *plane.Image, white float32) {
	w, pix := frame.W, frame.Pix[0]
	for y := 0; y+1 < frame.H; y += 2 {
		for x := 0; x+1 < w; x += 2 {
			v := [4]float32{pix[y*w+x], pix[y*w+x+1], pix[(y+1)*w+x], pix[(y+1)*w+x+1]}
			if max(v[0], v[1], v[2], v[3]) >= white {
				continue
			}
			m := float64(0.25 * ((v[0] + v[1]) + (v[2] + v[3])))
			s.n++
			s.mean += m
			s.square += float64(m * m)
			for k, p := range v {
				s.site[k] += float64(p)
				s.product[k] += float64(float64(p) * m)
			}
		}
	}
}

// Gains returns by what the samples of each site, 2·(y&1) + (x&1), are multiplied so that all are as sensitive as their mean
// is; ones if that cannot be told.
func (s *Sites) Gains() [4]float64 {
	out := [4]float64{1, 1, 1, 1}
	vary := float64(s.n*s.square) - float64(s.mean*s.mean)
	if !(vary > 0) {
		return out
	}
	for k := range out {
		slope := (float64(s.n*s.product[k]) - float64(s.mean*s.site[k])) / vary
		if slope < FlatFloor { // a site that sees nothing has nothing to be evened
			return [4]float64{1, 1, 1, 1}
		}
		out[k] = 1 / slope
	}
	return out
}

// EvenSites multiplies the samples of each site of a frame of one plane by its gain.
func EvenSites(frame *plane.Image, gains [4]float64) {
	for y := range frame.H {
		row := frame.Pix[0][y*frame.W:][:frame.W]
		a, b := float32(gains[2*(y&1)]), float32(gains[2*(y&1)+1])
		for x := 0; x+1 < len(row); x += 2 {
			row[x] *= a
			row[x+1] *= b
		}
		if len(row)%2 == 1 {
			row[len(row)-1] *= a
		}
	}
}

// Filtered is Frame for a frame that may stand behind a filter which is ignored: with gains of the sites it is mono, but pixels
// are mended from those of the same site, before the sites are evened.
func Filtered(frame, dark, flat *plane.Image, hot []int, pattern string, gains *[4]float64) {
	if gains == nil {
		Frame(frame, dark, flat, hot, pattern)
		return
	}
	Frame(frame, dark, flat, hot, "RGGB") // any pattern: what counts is that sites lie two pixels apart
	EvenSites(frame, *gains)
}
