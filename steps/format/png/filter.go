package png

// filters holds a row in each of the ways in which a PNG file may hold it.
type filters struct {
	pixel int // bytes
	rows  [5][]byte
}

func newFilters(rowBytes, pixelBytes int) *filters {
	f := &filters{pixel: pixelBytes}
	for i := range f.rows {
		f.rows[i] = make([]byte, 1+rowBytes)
		f.rows[i][0] = byte(i)
	}
	return f
}

// best filters a row and returns it with its filter's type in front: of the five the
// one with the least sum of absolute differences, as the standard suggests (PNG, third
// edition, 12.7). What is returned is good until the next call.
func (f *filters) best(row, above []byte) []byte {
	none, sub, up, avg, paeth := f.rows[0][1:], f.rows[1][1:], f.rows[2][1:], f.rows[3][1:], f.rows[4][1:]
	copy(none, row)
	k := f.pixel
	for i := range k {
		sub[i], up[i], avg[i], paeth[i] = row[i], row[i]-above[i], row[i]-above[i]/2, row[i]-above[i]
	}
	left, corner := row[:len(row)-k], above[:len(row)-k]
	here, over := row[k:], above[k:]
	sub, up, avg, paeth = sub[k:], up[k:], avg[k:], paeth[k:]
	for i, v := range here {
		a, b, c := left[i], over[i], corner[i]
		sub[i] = v - a
		up[i] = v - b
		avg[i] = v - byte((int(a)+int(b))/2)
		paeth[i] = v - predict(a, b, c)
	}
	top, least := 0, cost(f.rows[0])
	for i := 1; i < len(f.rows); i++ {
		if s := cost(f.rows[i]); s < least {
			top, least = i, s
		}
	}
	return f.rows[top]
}

// cost is the sum of a filtered row's bytes, each taken as a signed number, without signs.
func cost(row []byte) (sum int) {
	for _, v := range row[1:] {
		d := int(int8(v))
		sum += d ^ d>>63 - d>>63
	}
	return sum
}

// predict is Paeth's predictor (PNG, third edition, 9.4): of left, upper and upper left
// the one nearest to left + upper − upper left.
func predict(a, b, c byte) byte {
	pa, pb := int(b)-int(c), int(a)-int(c)
	pc := pa + pb
	pa, pb, pc = magnitude(pa), magnitude(pb), magnitude(pc)
	switch {
	case pa <= pb && pa <= pc:
		return a
	case pb <= pc:
		return b
	}
	return c
}

func magnitude(v int) int { return v ^ v>>63 - v>>63 }
