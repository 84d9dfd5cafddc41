package calibrate

import (
	"math"

	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/robust"
)

// Mean is a mean of frames without outliers, in two passes over them, in memory
// that does not grow with their number: the first pass finds each pixel's mean
// and scatter, the second leaves out what lies too far off, such as the trace of
// a cosmic ray.
//
// With few frames an outlier widens the very scatter it is judged by: among n,
// none can lie more than √(n-1) deviations from the mean. So the first pass
// leaves each pixel's least and largest value out, and widens what is left by
// what that does to normal noise. Nor may a pixel that happens to be quiet, or
// one that the digitisation holds still, throw good values away: the scatter is
// never taken to be less than the frame's as a whole, nor than the samples' step.
type Mean struct {
	w, h           int
	second         bool // the limits are known
	sum, squares   [][]float64
	least, largest [][]float32
	n              [][]int32
	mean           *plane.Image
	limit          *plane.Image
}

// MeanBytes is what a Mean takes for each pixel of each plane, at most.
const MeanBytes = 52

// NewMean prepares a mean of frames of w by h pixels and c planes.
func NewMean(w, h, c int) *Mean {
	m := &Mean{w: w, h: h, mean: plane.New(w, h, c), limit: plane.New(w, h, c)}
	for range c {
		m.sum = append(m.sum, make([]float64, w*h))
		m.squares = append(m.squares, make([]float64, w*h))
		m.least = append(m.least, make([]float32, w*h))
		m.largest = append(m.largest, make([]float32, w*h))
		m.n = append(m.n, make([]int32, w*h))
	}
	return m
}

// Add takes in rows y0 ≤ y < y1 of a frame. Calls for different rows may run at
// the same time; the frames must come in the same order for every row.
func (m *Mean) Add(frame *plane.Image, y0, y1 int) {
	if frame.W != m.w || frame.H != m.h || len(frame.Pix) != len(m.sum) {
		panic("calibrate: a frame of another size than the mean")
	}
	for c, p := range frame.Pix {
		if !m.second {
			m.addAll(c, p, y0*m.w, y1*m.w)
		} else {
			m.addWithin(c, p, y0*m.w, y1*m.w)
		}
	}
}

func (m *Mean) addAll(c int, p []float32, lo, hi int) {
	sum, squares, n := m.sum[c], m.squares[c], m.n[c]
	least, largest := m.least[c], m.largest[c]
	for i := lo; i < hi; i++ {
		v := p[i]
		if v != v {
			continue
		}
		if n[i] == 0 || v < least[i] {
			least[i] = v
		}
		if n[i] == 0 || v > largest[i] {
			largest[i] = v
		}
		n[i]++
		sum[i] += float64(v)
		squares[i] += float64(float64(v) * float64(v))
	}
}

func (m *Mean) addWithin(c int, p []float32, lo, hi int) {
	sum, n := m.sum[c], m.n[c]
	mean, limit := m.mean.Pix[c], m.limit.Pix[c]
	for i := lo; i < hi; i++ {
		if d := p[i] - mean[i]; d <= limit[i] && -d <= limit[i] {
			n[i]++
			sum[i] += float64(p[i])
		}
	}
}

// Limit ends the first pass: what lies more than k deviations off is left out of
// the second.
func (m *Mean) Limit(k float64) {
	for c := range m.sum {
		sum, squares, n := m.sum[c], m.squares[c], m.n[c]
		least, largest := m.least[c], m.largest[c]
		usual, step := m.usual(c)
		for i := range sum {
			mean, variance := inner(sum[i], squares[i], float64(least[i]), float64(largest[i]), int(n[i]))
			m.mean.Pix[c][i] = float32(mean)
			off := float64(k * math.Sqrt(max(variance, usual)))
			m.limit.Pix[c][i] = float32(max(off, 1.01*step))
		}
		clear(sum)
		clear(n)
	}
	m.second = true
}

// usual returns the variance of plane c's pixels, the unquietest hundredth left
// out, and the smallest difference between two values of one pixel: where the
// samples are coarser than the noise, that is their step. (Of less than a
// hundredth that varies at all nothing is concluded.)
func (m *Mean) usual(c int) (variance, step float64) {
	all := make([]float64, 0, len(m.sum[c]))
	step = math.Inf(1)
	varying := 0
	for i, n := range m.n[c] {
		if n > 0 {
			mean := m.sum[c][i] / float64(n)
			all = append(all, max(0, m.squares[c][i]/float64(n)-float64(mean*mean)))
		}
		if d := float64(m.largest[c][i]) - float64(m.least[c][i]); d > 0 {
			step = min(step, d)
			varying++
		}
	}
	top := robust.Quantile(all, 0.99)
	count := 0.0
	for _, v := range all {
		if v <= top {
			variance += v
			count++
		}
	}
	if varying*100 < len(all) || varying == 0 {
		step = 0 // what varies may be nothing but outliers
	}
	return variance / max(count, 1), step
}

// inner returns the mean and the variance of n values by their sums, without the
// least and the largest if there are enough.
func inner(sum, squares, least, largest float64, n int) (mean, variance float64) {
	wide := 1.0
	if n >= 4 {
		wide = widening(n)
		sum = sum - least - largest
		squares = squares - float64(least*least) - float64(largest*largest)
		n -= 2
	}
	mean = sum / float64(n)
	v := max(0, squares/float64(n)-float64(mean*mean))
	return mean, float64(v * float64(wide*wide))
}

// widenings holds σ over the deviation of n normal values without the least and
// the largest (from 200,000 draws each, 3 digits).
var widenings = []struct{ n, k float64 }{
	{4, 2.574}, {5, 2.048}, {6, 1.809}, {8, 1.581}, {10, 1.466}, {15, 1.318},
	{20, 1.248}, {30, 1.177}, {50, 1.116}, {100, 1.067}, {200, 1.039}, {math.Inf(1), 1},
}

// widening reads the table, straight in 1/n between its entries.
func widening(n int) float64 {
	for i, b := range widenings[1:] {
		if a := widenings[i]; float64(n) <= b.n {
			t := (1/a.n - 1/float64(n)) / (1/a.n - 1/b.n)
			return a.k + float64(t*(b.k-a.k))
		}
	}
	return 1
}

// Image ends the second pass and returns the mean; a pixel that no frame has is NaN.
func (m *Mean) Image() *plane.Image {
	out := plane.New(m.w, m.h, len(m.sum))
	for c, sum := range m.sum {
		for i, s := range sum {
			switch n := m.n[c][i]; {
			case n > 0:
				out.Pix[c][i] = float32(s / float64(n))
			case !m.second:
				out.Pix[c][i] = float32(math.NaN())
			default:
				out.Pix[c][i] = m.mean.Pix[c][i]
			}
		}
	}
	return out
}
