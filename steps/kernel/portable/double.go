package portable

// A double-double is an unevaluated sum h+l with |l| ≤ ulp(h)/2: about 106
// bits. The algorithms are Dekker's (1971) and Knuth's; they need no fused
// multiply-add.

// split cuts x into two parts of 26 bits each, exactly: x = h + l. Beyond
// 2^996 it overflows; no caller goes there.
func split(x float64) (h, l float64) {
	c := float64(x * (1<<27 + 1))
	h = c - (c - x)
	return h, x - h
}

// times returns a·b exactly as p+e, unless it overflows or underflows.
func times(a, b float64) (p, e float64) {
	p = float64(a * b)
	ah, al := split(a)
	bh, bl := split(b)
	e = float64(ah*bh) - p
	e += float64(ah * bl)
	e += float64(al * bh)
	e += float64(al * bl)
	return p, e
}

// square returns x² exactly as p+e.
func square(x float64) (p, e float64) { return times(x, x) }

// plus returns a+b exactly as s+e, for any a and b.
func plus(a, b float64) (s, e float64) {
	s = a + b
	t := s - a
	return s, (a - (s - t)) + (b - t)
}

// fast returns a+b exactly as s+e where |a| ≥ |b|.
func fast(a, b float64) (s, e float64) {
	s = a + b
	return s, b - (s - a)
}

// timesDD returns (h+l)·b as a double-double.
func timesDD(h, l, b float64) (rh, rl float64) {
	p, e := times(h, b)
	return fast(p, e+float64(l*b))
}

// mulDD returns (ah+al)·(bh+bl) as a double-double.
func mulDD(ah, al, bh, bl float64) (rh, rl float64) {
	p, e := times(ah, bh)
	e += float64(ah*bl) + float64(al*bh)
	return fast(p, e)
}

// addDD returns (ah+al)+(bh+bl) as a double-double.
func addDD(ah, al, bh, bl float64) (rh, rl float64) {
	s, e := plus(ah, bh)
	return fast(s, e+(al+bl))
}
