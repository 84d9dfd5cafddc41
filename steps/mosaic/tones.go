package mosaic

import "math"

// toneTie is the mean brightness of one place in two panels, and how far each may be off, one standard deviation.
type toneTie struct {
	A, B   int
	VA, VB float64
	SA, SB float64
	AU, AV float64 // where it lies on A's sensor (see sensorPlace)
	BU, BV float64
}

// toneSide is the side of the blocks whose brightness is compared, in pixels of the joined picture.
const toneSide = 8

// blocks is what is kept of a panel for its brightness: its mean, NaN where it shows not all, and how far that may be
// off, in the blocks of the joined picture from (x0, y0) on.
type blocks struct {
	x0, y0, w, h int
	mean, sigma  []float64
	u, v         []float64 // where its middle lies on the sensor
}

// blocksOf looks at a panel drawn softly, so that small misplacement does not matter.
func blocksOf(p panel, m mapping) blocks {
	x0, y0, x1, y1 := m.bounds(p.w, p.h)
	block := func(v float64) int { return int(math.Floor(v / toneSide)) }
	b := blocks{x0: block(x0), y0: block(y0)}
	b.w, b.h = block(x1)-b.x0+1, block(y1)-b.y0+1
	b.mean, b.sigma = make([]float64, b.w*b.h), make([]float64, b.w*b.h)
	b.u, b.v = make([]float64, b.w*b.h), make([]float64, b.w*b.h)
	carried := m.globe.panel(p)
	for k := range b.mean {
		left, top := (b.x0+k%b.w)*toneSide, (b.y0+k/b.w)*toneSide
		b.mean[k], b.sigma[k] = carried.block(m.toPanel, left, top)
		x, y := m.pixel(float64(left)+(toneSide-1)/2., float64(top)+(toneSide-1)/2.)
		b.u[k], b.v[k] = sensorPlace(x, y, p.w, p.h)
	}
	return b
}

// block returns the mean of the panel over a block from (x, y) on, and how far that may be off: by noise, by what darkens
// a field towards its rim, and more where brightness is steep, since panels lie off a little and are not equally sharp.
func (p panel) block(toPanel similarity, x, y int) (mean, sigma float64) {
	const n = toneSide * toneSide
	var sum, square float64
	for j := range toneSide {
		for i := range toneSide {
			v, ok := p.linear(toPanel.at(float64(x+i), float64(y+j)))
			if !ok {
				return math.NaN(), 0
			}
			sum += v
			square += float64(v * v)
		}
	}
	mean = sum / n
	vary := max(0, float64(square/n)-float64(mean*mean))
	return mean, 0.002 + float64(0.01*math.Abs(mean)) + float64(0.15*math.Sqrt(vary))
}

// at returns where a block lies in the tables; ok is false if it is not there.
func (b *blocks) at(x, y int) (k int, ok bool) {
	if x, y = x-b.x0, y-b.y0; x < 0 || y < 0 || x >= b.w || y >= b.h {
		return 0, false
	}
	k = y*b.w + x
	return k, b.mean[k] == b.mean[k]
}

// toneTies compares two panels over the blocks that both show.
func toneTies(a, b int, p, q *blocks) []toneTie {
	var out []toneTie
	for y := max(p.y0, q.y0); y < min(p.y0+p.h, q.y0+q.h); y++ {
		for x := max(p.x0, q.x0); x < min(p.x0+p.w, q.x0+q.w); x++ {
			i, ok := p.at(x, y)
			j, ok2 := q.at(x, y)
			if ok && ok2 {
				out = append(out, toneTie{a, b, p.mean[i], q.mean[j], p.sigma[i], q.sigma[j], p.u[i], p.v[i], q.u[j], q.v[j]})
			}
		}
	}
	return out
}
