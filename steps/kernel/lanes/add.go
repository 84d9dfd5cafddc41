package lanes

// Add adds a to dst, of which it has at least the length.
func Add(dst, a []float32) {
	a = a[:len(dst)]
	at := 0
	if fast && len(dst) >= Width {
		at = len(dst) &^ (Width - 1)
		addAVX2(&dst[0], &a[0], at)
	}
	add(dst[at:], a[at:])
}

func add(dst, a []float32) {
	a = a[:len(dst)]
	for i, v := range a {
		dst[i] += v
	}
}

// Advance adds along[i] + k to dst[i]; along has at least the length of dst.
func Advance(dst, along []float32, k float32) {
	along = along[:len(dst)]
	at := 0
	if fast && len(dst) >= Width {
		at = len(dst) &^ (Width - 1)
		advanceAVX2(&dst[0], &along[0], k, at)
	}
	advance(dst[at:], along[at:], k)
}

func advance(dst, along []float32, k float32) {
	along = along[:len(dst)]
	for i, v := range along {
		dst[i] += v + k
	}
}
