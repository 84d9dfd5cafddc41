package detail

import (
	"math"
	"slices"
	"testing"
)

// response is the transfer of level j (from 0) along an axis: the product of the
// smoothings before it and what the next one takes away.
func response(j int, f float64) float64 {
	smooth := func(f float64) float64 { return math.Pow(math.Cos(math.Pi*f), 4) }
	r := 1 - smooth(math.Ldexp(f, j))
	for i := range j {
		r *= smooth(math.Ldexp(f, i))
	}
	return r
}

func TestLevelScaleIsWhereTheTransferPeaks(t *testing.T) {
	const steps = 1 << 20
	for j := range levels {
		best, at := 0.0, 0.0
		for i := 1; i <= steps; i++ {
			if f := 0.5 * float64(i) / steps; response(j, f) > best {
				best, at = response(j, f), f
			}
		}
		// The top is flat: in double precision it is found to about one part in 10⁴.
		if got := 0.5 / at; math.Abs(got/levelScalePx[j]-1) > 3e-4 {
			t.Errorf("level %d answers most to detail of %.5f px, the table says %.5f", j+1, got, levelScalePx[j])
		}
	}
}

func TestShareSplitsAScaleSmoothly(t *testing.T) {
	for j, s := range levelScalePx {
		for k, v := range share(s) {
			want := 0.0
			if k == j {
				want = 1
			}
			if v != want {
				t.Errorf("scale of level %d: level %d takes %v, want %v", j+1, k+1, v, want)
			}
		}
	}
	middle := share(math.Sqrt(levelScalePx[1] * levelScalePx[2]))
	if math.Abs(middle[1]-0.5) > 1e-12 || math.Abs(middle[2]-0.5) > 1e-12 {
		t.Errorf("the geometric mean of two scales is shared %v, want halves", middle)
	}
	last := share(0.5)
	for s := 0.5; s < 200; s *= 1.01 {
		now, sum := share(s), 0.0
		for j, v := range now {
			sum += v
			if v < 0 || math.Abs(v-last[j]) > 0.02 {
				t.Fatalf("%.2f px: level %d takes %v after %v", s, j+1, v, last[j])
			}
		}
		if math.Abs(sum-1) > 1e-12 {
			t.Fatalf("%.2f px: shares add up to %v", s, sum)
		}
		last = now
	}
}

func TestDistanceAgainstSearch(t *testing.T) {
	for _, c := range []struct{ w, h, every int }{{1, 1, 1}, {1, 9, 4}, {9, 1, 5}, {23, 17, 31}, {16, 33, 7}, {40, 40, 997}, {3, 600, 1999}, {600, 3, 1999}} {
		set := make([]bool, c.w*c.h)
		for i := range set {
			set[i] = (i*7919+13)%c.every == 0
		}
		got := distance2(set, c.w, c.h)
		for i := range set {
			want := math.MaxInt
			for k, s := range set {
				if s {
					dx, dy := i%c.w-k%c.w, i/c.w-k/c.w
					want = min(want, dx*dx+dy*dy)
				}
			}
			if want = min(want, farthest*farthest); int(got[i]) != want || root(got[i]) != float32(math.Sqrt(float64(want))) {
				t.Fatalf("%d×%d, pixel %d: %v, want %v", c.w, c.h, i, got[i], want)
			}
		}
	}
	for _, d := range distance2(make([]bool, 12), 4, 3) {
		if d != farthest*farthest {
			t.Errorf("nothing set, yet something is √%v px away", d)
		}
	}
}

func TestCarryOnKeepsWhatItKnows(t *testing.T) {
	const w, h = 61, 47
	v, weight := make([]float32, w*h), make([]float32, w*h)
	for i := range v {
		v[i] = 0.3 + 0.002*float32(i%w)
		if x, y := i%w, i/w; x < 20 || y > 40 {
			weight[i] = 1
		} else {
			v[i] = float32(math.NaN())
		}
	}
	carried := func(weight []float32) []float32 {
		out := slices.Clone(v)
		carryOn(out, weight, w, h)
		return out
	}
	for i, got := range carried(weight) {
		if weight[i] == 1 && got != v[i] {
			t.Fatalf("pixel %d changed from %v to %v", i, v[i], got)
		}
		if !(got >= 0.3 && got <= 0.3+0.002*w) {
			t.Fatalf("pixel %d is %v: outside what surrounds it", i, got)
		}
	}
	if i := same(carried(nil), carried(weight)); i >= 0 {
		t.Errorf("pixel %d is another where only NaNs tell what is not known", i)
	}
	for i := range v {
		v[i] = 0.25
	}
	for i, got := range carried(weight) {
		if math.Abs(float64(got)-0.25) > 1e-6 {
			t.Fatalf("a flat surrounding is carried on as %v at %d", got, i)
		}
	}
	for _, got := range carried(make([]float32, w*h)) {
		if got != 0 {
			t.Fatalf("without anything known it says %v", got)
		}
	}
}

func TestSteeperIsALogisticEdgeSharpened(t *testing.T) {
	for _, k := range []float64{1, 1.5, 3} {
		for x := -6.0; x <= 6; x += 0.25 {
			got := steeper(1/(1+math.Exp(-x)), k)
			if want := 1 / (1 + math.Exp(-k*x)); math.Abs(got-want) > 1e-12 {
				t.Fatalf("k=%v, x=%v: %v, want %v", k, x, got, want)
			}
		}
		last := math.Inf(-1)
		for p := -0.2; p <= 1.2; p += 0.001 {
			v := steeper(p, k)
			if v <= last {
				t.Fatalf("k=%v: does not rise at %v", k, p)
			}
			last = v
		}
	}
}

func TestPassesHalfAtTheFloor(t *testing.T) {
	if passes(0.3, 0.3) != 0.5 || passes(0, 0) != 1 || passes(0, 1) != 0 || passes(1, 1e-30) != 1 {
		t.Errorf("at the floor %v, without floor %v, nothing %v, far above %v", passes(0.3, 0.3), passes(0, 0), passes(0, 1), passes(1, 1e-30))
	}
	last := float32(-1)
	for e := float32(0); e < 10; e += 0.01 {
		p := passes(e, 1)
		if p <= last || p >= 1 {
			t.Fatalf("energy %v passes %v after %v", e, p, last)
		}
		last = p
	}
}

func TestBandsMultiplyAndNeverTurnDetailAround(t *testing.T) {
	r, _ := newRecipe([]bandSettings{{ScalePx: levelScalePx[2], Boost: 2}, {ScalePx: levelScalePx[2], Boost: 1.5}}, 0)
	if g := r.gain(2, 1, 0); g != 3 {
		t.Errorf("2 and 1.5 on one level give %v, want 3", g)
	}
	if g := r.gain(1, 1, 0); g != 1 {
		t.Errorf("the level beside is multiplied by %v", g)
	}
	r, _ = newRecipe([]bandSettings{{ScalePx: 4, Boost: 0}, {ScalePx: 4.5, Boost: 0, FloorSigma: 5}}, 0)
	for j := range levels {
		if g := r.gain(j, 1, 1); g < 0 {
			t.Errorf("level %d is multiplied by %v", j+1, g)
		}
	}
}
