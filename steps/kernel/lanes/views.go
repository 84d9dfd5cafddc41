package lanes

// Scale multiplies p by k.
func Scale(p []float32, k float32) {
	at := 0
	if fast && len(p) >= Width {
		at = len(p) &^ (Width - 1)
		scaleAVX2(&p[0], k, at)
	}
	scale(p[at:], k)
}

func scale(p []float32, k float32) {
	for i := range p {
		p[i] *= k
	}
}

// LessDoubled writes src less a row of half its length that was doubled: on straight lines between the middles of its pixels,
// dst[2i] = src[2i] − (¾·half[i] + ¼·half[i+1]) and dst[2i+1] = src[2i+1] − (¼·half[i] + ¾·half[i+1]). dst and src
// have twice the length of half less two.
func LessDoubled(dst, src, half []float32) {
	n := len(half) - 1
	if n <= 0 {
		return
	}
	dst, src = dst[:2*n], src[:2*n]
	at := 0
	if fast && n >= Width {
		at = n &^ (Width - 1)
		lessDoubledAVX2(&dst[0], &src[0], &half[0], at)
	}
	lessDoubled(dst[2*at:], src[2*at:], half[at:])
}

func lessDoubled(dst, src, half []float32) {
	for i := range len(half) - 1 {
		p, q := half[i], half[i+1]
		dst[2*i] = src[2*i] - (float32(0.75*p) + float32(0.25*q))
		dst[2*i+1] = src[2*i+1] - (float32(0.25*p) + float32(0.75*q))
	}
}
