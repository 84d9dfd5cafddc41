package png

// filters writes rows in the ways in which a PNG file may hold them.
type filters struct {
	pixel int // bytes
	out   []byte
}

func newFilters(rowBytes, pixelBytes int) *filters {
	return &filters{pixel: pixelBytes, out: make([]byte, 1+rowBytes)}
}

// The types of filters (PNG, third edition, 9.2).
const (
	filterNone = iota
	filterSub
	filterUp
	filterAverage
	filterPaeth
	filterTypes
)

// best filters a row and returns it with its filter's type in front: of the five the
// one with the least sum of absolute differences, as the standard suggests (PNG, third
// edition, 12.7), over a part of the row. What is returned is good until the next call.
func (f *filters) best(row, above []byte) []byte {
	costs := f.costs(row, above)
	top := 0
	for t, c := range costs {
		if c < costs[top] {
			top = t
		}
	}
	f.out[0] = byte(top)
	f.apply(top, row, above)
	return f.out
}

// Of every so many bytes of a row so many are looked at for the choice of its filter.
const (
	costEvery = 64
	costOf    = 16
)

// costs are the sums of a row's filtered bytes, each taken as a signed number, without signs.
func (f *filters) costs(row, above []byte) (sums [filterTypes]int) {
	for from := f.pixel; from < len(row); from += costEvery {
		for i := from; i < min(from+costOf, len(row)); i++ {
			v, a, b, c := row[i], row[i-f.pixel], above[i], above[i-f.pixel]
			sums[filterNone] += size(v)
			sums[filterSub] += size(v - a)
			sums[filterUp] += size(v - b)
			sums[filterAverage] += size(v - byte((int(a)+int(b))/2))
			sums[filterPaeth] += size(v - predict(a, b, c))
		}
	}
	return sums
}

func size(v byte) int { return magnitude(int(int8(v))) }

// apply filters a row in one way.
func (f *filters) apply(filter int, row, above []byte) {
	k := f.pixel
	out := f.out[1:]
	for i := range k { // beside the first pixel lies nothing
		out[i] = row[i] - [filterTypes]byte{0, 0, above[i], above[i] / 2, above[i]}[filter]
	}
	left, here, over, corner, out := row[:len(row)-k], row[k:], above[k:], above[:len(row)-k], out[k:]
	switch filter {
	case filterNone:
		copy(out, here)
	case filterSub:
		for i, v := range here {
			out[i] = v - left[i]
		}
	case filterUp:
		for i, v := range here {
			out[i] = v - over[i]
		}
	case filterAverage:
		for i, v := range here {
			out[i] = v - byte((int(left[i])+int(over[i]))/2)
		}
	default:
		for i, v := range here {
			out[i] = v - predict(left[i], over[i], corner[i])
		}
	}
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
