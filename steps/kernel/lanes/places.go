package lanes

// Phases is how many places are told apart from one pixel to the next.
const Phases = 256

// Places are where pixels are taken from: for each the index of the first of its taps in a picture, and the rows of taps
// along and down.
type Places struct{ At, X, Y []int32 }

// NewPlaces returns room for n places.
func NewPlaces(n int) Places { return Places{make([]int32, n), make([]int32, n), make([]int32, n)} }

// To returns the first n places.
func (p Places) To(n int) Places { return Places{p.At[:n], p.X[:n], p.Y[:n]} }

// check panics if not all of the places lie in a picture whose last is at index most, or their taps among so many.
func (p Places) check(most, taps int) {
	x, y := p.X[:len(p.At)], p.Y[:len(p.At)]
	for i, a := range p.At {
		if uint(uint32(a)) > uint(most) || uint(uint32(x[i])) >= uint(taps) || uint(uint32(y[i])) >= uint(taps) || most < 0 {
			panic("lanes: a place beyond the picture, or taps that there are not")
		}
	}
}

// Lattice says how the samples of a picture lie against places.
type Lattice struct {
	Stride int32 // from one row of samples to the next
	Before int32 // samples before the one that a place lies behind, to its first tap
	Bits   int32 // log₂ of the phases from one sample to the next
	X, Y   int32 // phases by which the samples lie before pixels
}

// Locate finds the samples that places (x+dx, y+dy), in pixels and not below zero, lie behind, and the phases behind these.
func Locate(p Places, x, y []float32, dx, dy float32, g Lattice) {
	n := len(p.At)
	x, y = x[:n], y[:n]
	_, _ = p.X[:n], p.Y[:n]
	at := 0
	if fast && n >= Width {
		at = n &^ (Width - 1)
		locateAVX2(&p.At[0], &p.X[0], &p.Y[0], &x[0], &y[0], dx, dy, &g.Stride, at) // its five numbers, in order
	}
	locate(Places{p.At[at:], p.X[at:], p.Y[at:]}, x[at:], y[at:], dx, dy, g)
}

func locate(p Places, x, y []float32, dx, dy float32, g Lattice) {
	mask := int32(1)<<g.Bits - 1
	for i := range p.At {
		u := int32(float32((x[i]+dx)*Phases)+0.5) + g.X
		v := int32(float32((y[i]+dy)*Phases)+0.5) + g.Y
		p.At[i] = (v>>g.Bits-g.Before)*g.Stride + u>>g.Bits - g.Before
		p.X[i], p.Y[i] = u&mask, v&mask
	}
}
