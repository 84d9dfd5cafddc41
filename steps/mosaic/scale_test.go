package mosaic

import (
	"math"
	"math/rand/v2"
	"testing"

	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/warp"
)

// serially calls a function for each in turn.
func serially(n int, fn func(i int) error) error {
	for i := range n {
		if err := fn(i); err != nil {
			return err
		}
	}
	return nil
}

// mixedShots are the disk's, some of them binned by two, some through a lens that shrinks by 1.55, some with the camera a quarter
// or half round.
func mixedShots() (shots []shot, sizes []float64) {
	for i, s := range diskShots() {
		size := 1.0
		switch i {
		case 5, 9:
			size = 2
		case 10:
			size = 1.55
		}
		s.w, s.h, s.pose.Scale = int(float64(s.w)/size), int(float64(s.h)/size), size
		s.pose.Turn += float64(i%4) * 90 * deg
		shots, sizes = append(shots, s), append(sizes, size)
	}
	return shots, sizes
}

// sizesOfShots takes shots of a ground, links them and says how wide their pixels are.
func sizesOfShots(t *testing.T, g *ground, shots []shot) []float64 {
	t.Helper()
	var ss sights
	var es []small
	for i, s := range shots {
		p := s.take(g, uint64(i))
		sn, e := lookAt(panel{s.w, s.h, p.Pix[0]})
		ss, es = append(ss, sn), append(es, e)
	}
	links, err := linkPanels(ss, es, serially)
	if err != nil {
		t.Fatal(err)
	}
	sizes, err := sizesOf(ss, es, links, serially)
	if err != nil {
		t.Fatal(err)
	}
	return sizes
}

// Panels of another scale are known by their points, whichever way they are turned; what is meant to be binning becomes it exactly.
func TestScalesOfMixedPanels(t *testing.T) {
	g := diskGround()
	shots, want := mixedShots()
	for i, s := range sizesOfShots(t, g, shots) {
		if want[i] == math.Trunc(want[i]) && s != want[i] || math.Abs(s/want[i]-1) > 0.004 {
			t.Errorf("panel %d: a pixel is %.4f wide, want %g", i, s, want[i])
		}
	}
}

// Panels all of one scale, one of bare sky among them, stay as they are, whatever else keeps them apart.
func TestNoScaleIsFoundWhereThereIsOne(t *testing.T) {
	var shots []shot
	for i, s := range diskShots() {
		s.blank = i == 15
		if i%4 != 1 { // a gap: the disk falls in two
			shots = append(shots, s)
		}
	}
	sizes := sizesOfShots(t, diskGround(), shots)
	if n := otherSizes(sizes); n != 0 {
		t.Errorf("%d panels are thought to have another scale: %v", n, sizes)
	}
}

func TestSnapped(t *testing.T) {
	for _, c := range [][2]float64{{2.004, 2}, {0.4988, 0.5}, {1.337, 4.0 / 3}, {0.6667, 2.0 / 3}, {1.55, 1.55}, {0.63, 0.63}, {2.9, 2.9}} {
		if got := snapped(c[0]); math.Abs(got-c[1]) > 1e-12 {
			t.Errorf("%g becomes %g, want %g", c[0], got, c[1])
		}
	}
}

// A picture drawn larger or smaller keeps its slopes and its middle, and its NaN where nothing is known.
func TestResizedKeepsPlaces(t *testing.T) {
	const w, h = 61, 40
	src := plane.New(w, h, 1)
	at := func(x, y float64) float64 { return 0.3 + 0.004*x - 0.002*y }
	for y := range h {
		for x := range w {
			src.Pix[0][y*w+x] = float32(at(float64(x), float64(y)))
		}
	}
	for k := range 49 {
		src.Pix[0][(3+k/7)*w+3+k%7] = nan32
	}
	for _, size := range []float64{0.5, 0.63, 1.55, 2, 3} {
		dst := resized(src, size, warp.Lanczos3)
		if math.Abs(float64(dst.W)-w*size) > 0.5 || math.Abs(float64(dst.H)-h*size) > 0.5 {
			t.Errorf("%g times %d×%d px are %d×%d", size, w, h, dst.W, dst.H)
		}
		unknown := 0
		for y := range dst.H {
			for x := range dst.W {
				v := float64(dst.Pix[0][y*dst.W+x])
				if v != v {
					unknown++
					continue
				}
				sx := (w-1)/2.0 + (float64(x)-float64(dst.W-1)/2)/size
				sy := (h-1)/2.0 + (float64(y)-float64(dst.H-1)/2)/size
				if min(sx, sy, w-1-sx, h-1-sy) > 3 && math.Hypot(sx-6, sy-6) > 9 && math.Abs(v-at(sx, sy)) > 1e-3 {
					t.Fatalf("%g times: %g at %d, %d, want %g", size, v, x, y, at(sx, sy))
				}
			}
		}
		if unknown == 0 || float64(unknown) > 169*size*size {
			t.Errorf("%g times: %d unknown pixels of 49", size, unknown)
		}
	}
}

// Made smaller, a pattern too fine for the new pixels goes, and one that they can hold stays.
func TestResizedSmallerLeavesNoPattern(t *testing.T) {
	const n = 96
	swing := func(period float64) float64 {
		src := plane.New(n, n, 1)
		for i := range src.Pix[0] {
			src.Pix[0][i] = float32(math.Sin(2 * math.Pi * float64(i%n) / period))
		}
		dst := resized(src, 0.5, warp.Lanczos3)
		most := 0.0
		for x := 8; x < dst.W-8; x++ {
			most = max(most, math.Abs(float64(dst.Pix[0][dst.H/2*dst.W+x])))
		}
		return most
	}
	if a := swing(2.4); a > 0.15 {
		t.Errorf("a period of 1.2 of the new pixels leaves a swing of %.2f", a)
	}
	if a := swing(16); a < 0.9 {
		t.Errorf("a period of 8 of the new pixels keeps a swing of %.2f, want nearly 1", a)
	}
}

// Grounds that have nothing in common are never taken for one at another scale.
func TestNoScaleIsFoundBetweenStrangers(t *testing.T) {
	for seed := range uint64(8) {
		var ss sights
		var es []small
		for k := range uint64(2) {
			s := shot{w: 200, h: 190, pose: pose{X: 100, Y: 95, Turn: float64(seed) * 0.7, Scale: 1 + float64(k)}, gain: 1}
			p := s.take(newGround(100+2*seed+k, 600, 600, 3000), seed)
			sn, e := lookAt(panel{s.w, s.h, p.Pix[0]})
			ss, es = append(ss, sn), append(es, e)
		}
		sizes, err := sizesOf(ss, es, nil, serially)
		if err != nil {
			t.Fatal(err)
		}
		if otherSizes(sizes) != 0 {
			t.Errorf("seed %d: strangers are thought to differ in scale: %v", seed, sizes)
		}
	}
}

// White noise drawn to another scale has the noise that is told of it.
func TestNoiseOfResizedPanels(t *testing.T) {
	const n = 300
	r := rand.New(rand.NewPCG(2, 9))
	src := plane.New(n, n, 1)
	for i := range src.Pix[0] {
		src.Pix[0][i] = float32(0.01 * r.NormFloat64())
	}
	for _, size := range []float64{0.5, 0.645, 1.55, 2, 3} {
		dst := resized(src, size, warp.Lanczos3)
		sum := 0.0
		for _, v := range dst.Pix[0] {
			sum += float64(v) * float64(v)
		}
		got := math.Sqrt(sum / float64(len(dst.Pix[0])))
		if want := 0.01 * noiseLeft(size); math.Abs(got/want-1) > 0.04 {
			t.Errorf("%g times: noise of %.5f, told as %.5f", size, got, want)
		}
	}
	// Half-way between two pixels Lanczos' kernel of order 3 leaves 0.78 of the variance along each axis, at a quarter 0.89: drawn twice as large, all pixels lie at a quarter.
	if got := noiseLeft(2); math.Abs(got-0.9) > 0.02 {
		t.Errorf("drawn twice as large, %.3f of the noise is left, want about 0.9", got)
	}
}

func TestSensorPixels(t *testing.T) {
	for _, c := range []struct {
		sizes []float64
		want  float64
	}{{[]float64{1, 1}, 1}, {[]float64{1, 2, 2}, 1}, {[]float64{1, 0.5, 1}, 2}, {[]float64{1, 0.63}, 1}, {[]float64{1, 2.0 / 3}, 1.5}} {
		if got := sensorPixels(c.sizes); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("sizes %v: %g pixels of the sensor, want %g", c.sizes, got, c.want)
		}
	}
}
