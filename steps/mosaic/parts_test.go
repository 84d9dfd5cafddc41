package mosaic

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestSimilarityUndoesItself(t *testing.T) {
	s := pose{X: 120, Y: -40, Turn: 2.5, Scale: 1.01}.of(320, 240)
	x, y := s.inverse().at(s.at(17, 33))
	if math.Hypot(x-17, y-33) > 1e-9 {
		t.Errorf("there and back is %v, %v, want 17, 33", x, y)
	}
	x, y = s.inverse().after(s).at(-5, 8)
	if math.Hypot(x+5, y-8) > 1e-9 {
		t.Errorf("inverse after map takes -5, 8 to %v, %v", x, y)
	}
	if p := poseOf(s, 320, 240); math.Abs(p.X-120)+math.Abs(p.Y+40)+math.Abs(p.Turn-2.5)+math.Abs(p.Scale-1.01) > 1e-9 {
		t.Errorf("pose comes back as %v", p)
	}
}

// The worked example of Umeyama 1991 (IEEE PAMI 13:376), as quoted in JMET 5(1) 2013: scale 0.721110, turn −33.6901°,
// shift (−0.8, 0.4). Its best fit without the bar on reflections would be a mirror image.
func TestFitSimilarityOnUmeyamasExample(t *testing.T) {
	s, ok := fitSimilarity([]pointPair{{0, 0, 0, 0}, {1, 0, -1, 0}, {0, 2, 0, 2}}, nil)
	if !ok {
		t.Fatal("no fit")
	}
	for _, c := range []struct {
		name      string
		got, want float64
	}{{"scale", s.scale(), 0.721110}, {"turn", s.turn() / deg, -33.6901}, {"x", s.X, -0.8}, {"y", s.Y, 0.4}} {
		if math.Abs(c.got-c.want) > 1e-4 {
			t.Errorf("%s is %.6f, want %.6f", c.name, c.got, c.want)
		}
	}
}

func TestDistanceAgainstSearch(t *testing.T) {
	for _, holes := range []float64{0, 0.08} {
		checkDistance(t, holes)
	}
}

// checkDistance compares with a search, on a mask of which a share are holes.
func checkDistance(t *testing.T, holes float64) {
	t.Helper()
	const w, h = 23, 17
	rng := rand.New(rand.NewPCG(4, 4))
	mask := make([]float32, w*h)
	for i := range mask {
		if rng.Float64() >= holes {
			mask[i] = 1
		}
	}
	got, near := distance(mask, w, h), distanceWithin(mask, w, h, 4.5)
	for y := range h {
		for x := range w {
			want := math.Inf(1)
			for v := -1; v <= h; v++ {
				for u := -1; u <= w; u++ {
					if u < 0 || v < 0 || u >= w || v >= h || mask[v*w+u] == 0 {
						want = min(want, math.Hypot(float64(u-x), float64(v-y)))
					}
				}
			}
			if math.Abs(float64(got[y*w+x])-want) > 1e-5 {
				t.Fatalf("distance at %d, %d is %v, want %v", x, y, got[y*w+x], want)
			}
			if d := near[y*w+x]; d != min(got[y*w+x], 4.5) {
				t.Fatalf("distance at %d, %d within 4.5 px is %v, want %v", x, y, d, min(want, 4.5))
			}
		}
	}
}

// A uniform cubic B-spline weighs its nodes 1/6, 4/6, 1/6, 0 at a node, and 1/48, 23/48, 23/48, 1/48 half-way (de Boor 1978).
func TestSplineWeights(t *testing.T) {
	for _, c := range []struct {
		at   float64
		want [4]float64
	}{{0, [4]float64{1. / 6, 4. / 6, 1. / 6, 0}}, {0.5, [4]float64{1. / 48, 23. / 48, 23. / 48, 1. / 48}}} {
		for k, v := range splineWeights(c.at) {
			if math.Abs(v-c.want[k]) > 1e-12 {
				t.Errorf("weight %d at %g is %v, want %v", k, c.at, v, c.want[k])
			}
		}
	}
}

func TestTwoBentPanelsMeetHalfWay(t *testing.T) {
	n := &network{w: []int{200, 200}, h: []int{200, 200}, in: []bool{true, true},
		poses: []pose{{100, 100, 0, 1}, {100, 100, 0, 1}}}
	// Everywhere B shows things 0.2 px further right than A.
	for y := 20.0; y < 200; y += 20 {
		for x := 20.0; x < 200; x += 20 {
			n.ties = append(n.ties, tie{A: 0, B: 1, AX: x, AY: y, BX: x + 0.2, BY: y, Info: [3]float64{8, 0, 8}})
		}
	}
	b := n.bendPanels()
	ax, ay := b[0].at(100, 100)
	bx, by := b[1].at(100, 100)
	if math.Abs(ax-0.1) > 0.005 || math.Abs(bx+0.1) > 0.005 || math.Abs(ay)+math.Abs(by) > 1e-6 {
		t.Errorf("bends are (%.4f, %.4f) and (%.4f, %.4f), want (0.1, 0) and (-0.1, 0)", ax, ay, bx, by)
	}
}

func TestFindCircleAmongStrays(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	var b []brink
	for range 120 { // an arc of 120°, off by up to half a pixel and 5°
		a := -1 + 2.1*rng.Float64()
		r := 300 + rng.Float64() - 0.5
		tilt := a + 0.17*(rng.Float64()-0.5)
		b = append(b, brink{400 + r*math.Cos(a), 350 + r*math.Sin(a), -math.Cos(tilt), -math.Sin(tilt)})
	}
	for range 80 {
		a := 2 * math.Pi * rng.Float64()
		b = append(b, brink{800 * rng.Float64(), 700 * rng.Float64(), math.Cos(a), math.Sin(a)})
	}
	c, support := findCircle(b, 60, 5000, 4)
	c = c.refine(b, 8)
	if support < 60 || math.Abs(c.R-300) > 0.5 || math.Hypot(c.X-400, c.Y-350) > 0.5 {
		t.Errorf("circle %v with %d brinks, want radius 300 about 400, 350", c, support)
	}
}

func TestOneNeighbourAloneIsBelievedOnlyIfVeryLike(t *testing.T) {
	weak, strong := &link{NCC: 0.62}, &link{NCC: 0.85}
	if got := elect([]find{{link: weak, p: 1, x: 5, score: 0.3, overlap: 0.2}}, 6); got != nil {
		t.Error("believed one weak find")
	}
	if got := elect([]find{{link: strong, p: 1, x: 5, score: 0.4, overlap: 0.2}}, 6); got != strong {
		t.Error("did not believe one strong find")
	}
	if got := elect([]find{{link: weak, p: 1, x: 5, score: 0.3, overlap: 0.2}, {link: &link{NCC: 0.61}, p: 2, x: 8, score: 0.2, overlap: 0.1},
		{link: strong, p: 3, x: 500, score: 0.4, overlap: 0.2}}, 6); got != weak {
		t.Error("did not believe the place that two neighbours bear out")
	}
}

func TestGroupsAndTheLargest(t *testing.T) {
	of := groups(6, []link{{A: 0, B: 3}, {A: 4, B: 5}, {A: 2, B: 5}})
	if want := []int{0, 1, 2, 0, 2, 2}; !equal(of, want) {
		t.Errorf("groups are %v, want %v", of, want)
	}
	one := func(int) int { return 1 }
	if g := largest(of, one); g != 2 {
		t.Errorf("largest group is %d, want 2", g)
	}
	if g := largest([]int{0, 1, 2}, func(i int) int { return []int{3, 5, 4}[i] }); g != 1 {
		t.Errorf("of three single panels %d is taken, want the one that shows most, 1", g)
	}
	if g := largest(of, func(i int) int { return []int{5, 1, 0, 5, 1, 1}[i] }); g != 0 {
		t.Errorf("largest group is %d, want 0: one panel of the other shows nothing", g)
	}
}

func equal(a, b []int) bool {
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return len(a) == len(b)
}

// A picture without holes is smoothed to the same bits as one of which it is not known that it has none.
func TestSmoothingWithoutHoles(t *testing.T) {
	const w, h = 61, 47
	rng := rand.New(rand.NewPCG(9, 1))
	v, mask := make([]float32, w*h), make([]float32, w*h)
	for i := range v {
		v[i], mask[i] = rng.Float32(), 1
	}
	for _, sigma := range []float64{1, 1.5, 2, 4, evenSigma} {
		want, m := smooth(v, w, h, sigma), smooth(mask, w, h, sigma)
		for i, got := range smoothOver(v, mask, w, h, sigma) {
			if got != want[i]/m[i] {
				t.Fatalf("sigma %g: pixel %d is %v, want %v", sigma, i, got, want[i]/m[i])
			}
		}
	}
}

// Two windows 0.3 px and 0.4 px off are √((0.09+0.16)/2) px rms.
func TestOverlapFits(t *testing.T) {
	n := &network{w: []int{10, 10, 10}, h: []int{10, 10, 10}, poses: []pose{{Scale: 1}, {X: 5, Scale: 1}, {Y: 5, Scale: 1}}, in: []bool{true, true, false}}
	vague := [3]float64{1e-9, 0, 1e-9}
	n.ties = []tie{{1, 0, 3, 3, 8.3, 3, vague, false}, {0, 1, 8, 5, 3, 5.4, vague, false}, {0, 2, 1, 1, 1, 1, vague, false}}
	got := n.overlapFits()
	if len(got) != 1 || got[0].A != 0 || got[0].B != 1 || got[0].Windows != 2 || math.Abs(got[0].RMS-math.Sqrt(0.125)) > 1e-6 {
		t.Errorf("overlaps %+v, want panels 0 and 1 by 2 windows, 0.3536 px rms", got)
	}
}

func TestDirection(t *testing.T) {
	for k := range 2000 {
		a := float64(k)*math.Pi/1000 - math.Pi
		sin, cos := math.Sincos(a)
		for _, r := range []float64{1e-20, 0.3, 1e12} {
			got := float64(direction(float32(r*sin), float32(r*cos)))
			if off := math.Abs(wrap(got - a)); off > 2e-5 {
				t.Fatalf("direction of %g at length %g is %g", a, r, got)
			}
		}
	}
	if got := direction(0, 0); got != 0 {
		t.Errorf("no vector points to %g", got)
	}
}

func TestWithin(t *testing.T) {
	p := placed{W: 200, H: 100, X: 300, Y: 300, Scale: 1}
	for _, c := range []struct {
		x, y, turn float64
		want       float64
	}{{300, 300, 0, 1}, {300, 300, math.Pi, 1}, {350, 300, 0, 0.75}, {350, 325, 0, 0.5625}, {600, 300, 0, 0}} {
		q := placed{W: 200, H: 100, X: c.x, Y: c.y, TurnRad: c.turn, Scale: 1}
		mp, mq := flat(p.toMosaic()), flat(q.toMosaic())
		if got := p.within(q, &mp, &mq); math.Abs(got-c.want) > 0.03 {
			t.Errorf("a field at %g, %g turned by %.2f holds %.3f of it, want %.3f", c.x, c.y, c.turn, got, c.want)
		}
	}
}
