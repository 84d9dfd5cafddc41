package frames

import (
	"math"
	"math/rand/v2"
	"testing"

	"plenilune/steps/kernel/plane"
)

// reel is a made-up clip: what draws each frame, and how it is recorded.
type reel struct {
	w, h      int
	mosaicked bool
	noise     float64 // 8-bit steps
	rows      float64 // the same, of each row as a whole
	draw      func(frame, x, y int) float64
}

// judged records n frames and tells why each is rejected for its seams. spoil may
// change the samples of a frame.
func (c reel) judged(n int, seed uint64, spoil func(frame int, pix []float32)) ([]string, []looks) {
	r := rand.New(rand.NewPCG(seed, 77))
	all := make([]looks, n)
	for k := range all {
		img := plane.New(c.w, c.h, 1)
		row := 0.0
		for i := range img.Pix[0] {
			if i%c.w == 0 && c.rows > 0 {
				row = c.rows * normal(r)
			}
			v := 255*c.draw(k, i%c.w, i/c.w) + row + c.noise*normal(r)
			img.Pix[0][i] = float32(math.Round(max(0, min(255, v)))) / 255
		}
		if spoil != nil {
			spoil(k, img.Pix[0])
		}
		l := make([]float32, c.w*c.h)
		luma(l, img, c.mosaicked)
		all[k] = looks{seams: findSeams(l, c.w, c.h, c.mosaicked)}
	}
	why := make([]string, n)
	for k := range all {
		why[k] = judgeSeams(all, make([]string, n), k, seamSlack+1)
	}
	return why, all
}

func (c reel) mustBeWhole(t *testing.T, name string, n int) {
	t.Helper()
	for seed := range uint64(1 + 100/c.w) {
		why, all := c.judged(n, seed, nil)
		for k, w := range why {
			if w != "" {
				t.Errorf("%s, %d×%d px, mosaic %v, noise %g: whole frame %d of %d is called %q: %+v", name, c.w, c.h, c.mosaicked, c.noise, k, n, w, all[k].seams.most)
			}
		}
	}
}

// limb is the edge of a disk, or a shadow, that lies along the rows, drifting a row
// in five frames, as sharp as the optics let it be (σ = 1 px).
func limb(h int) func(k, x, y int) float64 {
	rows := drawn(1, func(k, _, y int) float64 {
		d := float64(y) - float64(h)/2 - 0.2*float64(k) - 0.4*math.Sin(float64(7*k))
		return 0.02 + 0.35*(1+math.Erf(d/math.Sqrt2))
	})
	return func(k, _, y int) float64 { return rows(k, 0, y) }
}

// drawn keeps what is slow to draw.
func drawn(w int, draw func(k, x, y int) float64) func(k, x, y int) float64 {
	kept := map[[2]int]float64{}
	return func(k, x, y int) float64 {
		at := [2]int{k, y*w + x}
		v, ok := kept[at]
		if !ok {
			v = draw(k, x, y)
			kept[at] = v
		}
		return v
	}
}

func TestWholeFramesHaveNoSeams(t *testing.T) {
	for _, size := range [][2]int{{24, 24}, {48, 32}, {100, 80}, {320, 240}} {
		w, h := size[0], size[1]
		scenes := map[string]func(k, x, y int) float64{
			"sky":  func(_, _, _ int) float64 { return 3.0 / 255 },
			"limb": limb(h),
		}
		if w <= 48 {
			scenes["ground"] = drawn(w, func(k, x, y int) float64 { return ground(float64(x)+0.6*float64(k), float64(y)-0.3*float64(k), 1) })
		}
		for _, mosaicked := range []bool{false, true} {
			for _, noise := range []float64{0, 0.3, 1, 8} {
				for _, n := range []int{1, 2, 3, 8} {
					for name, draw := range scenes {
						if w <= 100 || n == 3 {
							reel{w, h, mosaicked, noise, 0, draw}.mustBeWhole(t, name, n)
						}
					}
				}
			}
		}
	}
}

// Rows that each have an offset of their own, and one that is broken, while the Moon
// jumps, are the camera's.
func TestRowsOfTheCameraAreNoSeams(t *testing.T) {
	for _, rows := range []float64{0.5, 2, 8} {
		for _, w := range []int{48, 160} {
			reel{w, 120, false, 2, rows, func(_, _, _ int) float64 { return 0.1 }}.mustBeWhole(t, "rows with offsets", 16)
		}
	}
	jump := func(k int) float64 { return float64(k*37%50) - 25 }
	broken := drawn(64, func(k, x, y int) float64 {
		if y == 50 || y == 51 {
			return 0.7
		}
		return ground(float64(x)/2, (float64(y)-jump(k))/2, 1)
	})
	c := reel{64, 96, false, 2, 0, broken}
	_, all := c.judged(10, 3, nil)
	for k := range all {
		all[k].dy = jump(k)
	}
	for k := range all {
		if why := judgeSeams(all, make([]string, len(all)), k, seamSlack); why != "" {
			t.Errorf("frame %d with a broken row of the sensor is called %q", k, why)
		}
	}
}

func TestShiftedRowsAreFound(t *testing.T) {
	const w, h, n, row = 144, 112, 5, 51
	scene := make([]float64, (w+8)*(h+8))
	r := rand.New(rand.NewPCG(12, 1))
	for range 12 { // waves across, slow along the columns
		kx, ky, phase := 0.08+0.5*r.Float64(), 0.3*r.Float64()-0.15, 6*r.Float64()
		for i := range scene {
			scene[i] += 0.4/12 + 0.02*math.Cos(kx*float64(i%(w+8))+ky*float64(i/(w+8))+phase)
		}
	}
	for _, mosaicked := range []bool{false, true} {
		c := reel{w, h, mosaicked, 1.5, 0, func(k, x, y int) float64 {
			v := scene[(y+k)*(w+8)+x+k]
			if mosaicked && (x+y)%2 == 1 {
				v *= 0.6
			}
			return v
		}}
		for _, by := range []int{6, -10, 40} {
			why, all := c.judged(n, 5, func(k int, pix []float32) {
				if k != 2 {
					return
				}
				for y := row; y < h; y++ {
					line := append([]float32(nil), pix[y*w:][:w]...)
					for x := range w {
						pix[y*w+x] = line[((x-by)%w+w)%w]
					}
				}
			})
			for k, r := range why {
				if want := map[bool]string{true: "shifted rows"}[k == 2]; r != want {
					t.Errorf("mosaic %v, rows shifted by %d px: frame %d is %q, want %q (%+v)", mosaicked, by, k, r, want, all[k].seams.most)
				}
			}
			// Rows are compared two or three apart: oblique waves move by a pixel or two.
			if m := all[2].seams.most; len(m) == 0 || m[0].slip < by-2 || m[0].slip > by+2 || m[0].row < row-3 || m[0].row > row {
				t.Errorf("mosaic %v: seams %+v, want rows from %d on shifted by %d px", mosaicked, m, row, by)
			}
		}
	}
}

func TestTearsAreFound(t *testing.T) {
	const w, h, n = 144, 80, 5
	c := reel{w, h, false, 2, 0, func(k, x, y int) float64 { return ground(float64(x+k)/2.5, float64(y)/2.5, 0.5) }}
	other := make([]float32, w*h)
	for i := range other {
		other[i] = float32(ground(float64(i%w)/2.5+10, float64(i/w)/2.5+9, 0.5))
	}
	why, all := c.judged(n, 6, func(k int, pix []float32) {
		if k == 1 {
			copy(pix[47*w:], other[47*w:])
		}
	})
	for k, r := range why {
		if (r == "torn") != (k == 1) {
			t.Errorf("frame %d is %q, torn is the one numbered 1: %+v", k, r, all[k].seams.most)
		}
	}
}

func TestRejectedAreTold(t *testing.T) {
	all := []Rejection{{5, "torn"}, {9, "black"}, {17, "torn"}, {112, "torn"}}
	if got, want := tellRejected(all), "1 frame is black: 9; 3 frames are torn: 5, 17, 112"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	all = nil
	for k := range 40 {
		all = append(all, Rejection{k, "repeated"})
	}
	if got, want := tellRejected(all), "40 frames repeat the one before: 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11 and 28 more"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
