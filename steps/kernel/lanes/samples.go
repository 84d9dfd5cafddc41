package lanes

// Bytes8 writes dst[i] = src[i]/white.
func Bytes8(dst []float32, src []byte, white float32) {
	n := len(dst)
	src = src[:n]
	at := 0
	if fast && n >= Width {
		at = n &^ (Width - 1)
		bytes8AVX2(&dst[0], &src[0], white, at)
	}
	bytes8(dst[at:], src[at:], white)
}

func bytes8(dst []float32, src []byte, white float32) {
	for i, v := range src[:len(dst)] {
		dst[i] = float32(v) / white
	}
}

// Bytes16 writes the samples of two bytes each in src, over white, to dst; big tells that a sample's high byte stands
// first.
func Bytes16(dst []float32, src []byte, big bool, white float32) {
	n := len(dst)
	src = src[:2*n]
	at := 0
	first, second := uint64(0), uint64(8)
	if big {
		first, second = second, first
	}
	if fast && n >= Width {
		at = n &^ (Width - 1)
		bytes16AVX2(&dst[0], &src[0], first, second, white, at)
	}
	bytes16(dst[at:], src[2*at:], first, second, white)
}

func bytes16(dst []float32, src []byte, first, second uint64, white float32) {
	for i := range dst {
		dst[i] = float32(uint32(src[2*i])<<first|uint32(src[2*i+1])<<second) / white
	}
}

// Even writes p[i] = (p[i] − dark[i]) / flat[i], a flat below least taken for least.
func Even(p, dark, flat []float32, least float32) {
	n := len(p)
	dark, flat = dark[:n], flat[:n]
	at := 0
	if fast && n >= Width {
		at = n &^ (Width - 1)
		evenAVX2(&p[0], &dark[0], &flat[0], least, at)
	}
	even(p[at:], dark[at:], flat[at:], least)
}

func even(p, dark, flat []float32, least float32) {
	dark, flat = dark[:len(p)], flat[:len(p)]
	for i, f := range flat {
		if f < least {
			f = least
		}
		p[i] = (p[i] - dark[i]) / f
	}
}
