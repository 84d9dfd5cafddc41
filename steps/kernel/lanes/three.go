package lanes

// Three are weights of three neighbours in a row, their sum, and their moment: each times how far its neighbour lies
// from the place that is asked for, added up. The rest is not looked at.
type Three [Width]float32

// Gathered are what GatherThree finds, a row each.
type Gathered struct {
	Value       []float32 // the pixels, weighted
	Weight      []float32 // the product of both taps' sums
	Right, Down []float32 // the moment along times the sum down, and the other way round
}

// From returns what g holds from x0 up to x1.
func (g Gathered) From(x0, x1 int) Gathered {
	return Gathered{g.Value[x0:x1], g.Weight[x0:x1], g.Right[x0:x1], g.Down[x0:x1]}
}

// GatherThree weights three rows of three pixels from each of the places on by the taps down, adds them up in order, then by the taps
// along, as (0+1)+2. Rows of g are as long as places. Three rows of four pixels are read from each place, of which the
// fourth counts nothing, whatever it is.
func GatherThree(g Gathered, pix []float32, stride int, places Places, taps []Three) {
	n := len(places.At)
	if n == 0 {
		return
	}
	_, _, _, _ = g.Value[n-1], g.Weight[n-1], g.Right[n-1], g.Down[n-1]
	places.check(len(pix)-(2*stride+4), len(taps))
	if fast {
		gatherThreeAVX2(&g.Value[0], &g.Weight[0], &g.Right[0], &g.Down[0], &pix[0], stride, &places.At[0], &places.X[0], &places.Y[0], &taps[0][0], n)
		return
	}
	gatherThree(g, pix, stride, places, taps)
}

func gatherThree(g Gathered, pix []float32, stride int, places Places, taps []Three) {
	for i, at := range places.At {
		kx, ky := &taps[places.X[i]], &taps[places.Y[i]]
		var v [3]float32
		down(v[:], pix[at:], stride, ky[:3])
		for m := range v {
			v[m] *= kx[m]
		}
		g.Value[i], g.Weight[i] = (v[0]+v[1])+v[2], ky[3]*kx[3]
		g.Right[i], g.Down[i] = kx[4]*ky[3], ky[4]*kx[3]
	}
}

// AddProducts adds a[i]·b[i] to dst[i].
func AddProducts(dst, a, b []float32) {
	n := len(dst)
	a, b = a[:n], b[:n]
	at := 0
	if fast && n >= Width {
		at = n &^ (Width - 1)
		addProductsAVX2(&dst[0], &a[0], &b[0], at)
	}
	addProducts(dst[at:], a[at:], b[at:])
}

func addProducts(dst, a, b []float32) {
	a, b = a[:len(dst)], b[:len(dst)]
	for i := range dst {
		dst[i] += float32(a[i] * b[i])
	}
}
