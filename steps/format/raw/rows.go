package raw

// upright turns the rows of a frame whose rows touch so that the highest stands first.
func (l Layout) upright(b []byte) {
	if !l.BottomUp {
		return
	}
	lines, each := l.lines()
	spare := make([]byte, each)
	height := int64(l.Height)
	for first := int64(0); first < lines; first += height {
		for lo, hi := first, first+height-1; lo < hi; lo, hi = lo+1, hi-1 {
			a, z := b[lo*each:][:each], b[hi*each:][:each]
			copy(spare, a)
			copy(a, z)
			copy(z, spare)
		}
	}
}

// pack copies the rows of a frame, as it lies in the file, to dst, the highest first,
// without what stands between them.
func (l Layout) pack(dst, b []byte) {
	lines, each := l.lines()
	height, stride := int64(l.Height), l.rowStride()
	for k := range lines {
		to := k
		if l.BottomUp {
			plane := k / height * height
			to = plane + height - 1 - (k - plane)
		}
		copy(dst[to*each:][:each], b[k*stride:][:each])
	}
}
