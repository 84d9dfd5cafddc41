package mosaic

// matchingPixels is how large a panel may be at matching scale: enough for thousands of points, and
// little against the time to stack it.
const matchingPixels = 500_000

// mostPoints is how many points a panel contributes to matching.
const mostPoints = 1200

// lookAt does everything about one panel that needs no other: its tones, its points, its brinks and its evened
// picture at matching scale.
func lookAt(p panel) (seen, small) {
	r := rangeOf(p.v, p.w, p.h)
	f := 1
	for p.w*p.h/(f*f) > matchingPixels {
		f++
	}
	v, w, h := shrink(p.v, p.w, p.h, f)
	even, mask := evened(v, w, h, float32(max(3*r.Noise, 0.01*(r.Bright-r.Sky))))
	s := seen{W: p.w, H: p.h, Reduce: f, Tones: r}
	if !r.empty() {
		s.Points = pointsOf(even, mask, w, h, mostPoints)
		s.Brinks = brinksOf(p.v, p.w, p.h, r, 600)
	}
	return s, small{w, h, even, mask}
}
