package mosaic

// windowing says how an overlap is measured.
type windowing struct {
	side   int // of a window, pixels
	stride int // between windows
	reach  int // whole pixels of search either way
}

// apart sets windows no closer than the bends of two panels can tell them from each other: half of what lies between their
// nodes. Large panels have overlaps enough.
func (o windowing) apart(p, q band) windowing {
	o.stride = max(o.stride, int(min(bendStepOf(p.w, p.h), bendStepOf(q.w, q.h))/2))
	return o
}

// leastSide is the least side of a window. Windows of a narrow overlap lie with inside of their side in it. Both were chosen on
// simulated nights whose panels overlap by a tenth.
const (
	leastSide = 24
	inside    = 0.7
)

// within makes windows as small as an overlap of w by h pixels asks.
func (o windowing) within(w, h int) windowing {
	o.side = min(o.side, max(leastSide, min(w, h)))
	return o
}

// middles returns where windows lie along n pixels of which the outermost, before the first and after the last window's middle,
// stay free: a stride apart and evenly about the middle.
func (o windowing) middles(n, free int) []int {
	count := max(0, n-1-2*free)/o.stride + 1
	out := make([]int, count)
	for k := range out {
		out[k] = (n-(count-1)*o.stride)/2 + k*o.stride
	}
	return out
}
