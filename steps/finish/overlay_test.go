package finish

import (
	"image"
	"math"
	"testing"
)

// Written over tiles, letters are what they are written over a whole picture; they are white where there is ink, dark around, and the rest
// stays, on light ground, on dark, and where there is no data.
func TestWritingOverTiles(t *testing.T) {
	const w, h = 300, 90
	o, err := newOverlay([]nameRow{{Text: "Tycho", Left: 100, Base: 60, Px: 40}}, nil, func(n int, f func(int) error) error { return f(0) })
	if err != nil {
		t.Fatal(err)
	}
	for _, ground := range []float32{0, 0.5, 0.95, float32(math.NaN())} {
		draw := func(side int) []float32 {
			out := make([]float32, w*h)
			for y := 0; y < h; y += side {
				for x := 0; x < w; x += side {
					r := image.Rect(x, y, min(w, x+side), min(h, y+side))
					tile := make([]float32, r.Dx()*r.Dy())
					for i := range tile {
						tile[i] = ground
					}
					o.write(r, [][]float32{tile})
					for v := range r.Dy() {
						copy(out[(y+v)*w+x:][:r.Dx()], tile[v*r.Dx():][:r.Dx()])
					}
				}
			}
			return out
		}
		whole, tiles := draw(w), draw(64)
		white, dark, same := 0, 0, 0
		for i, v := range whole {
			if tiles[i] != v && (v == v || tiles[i] == tiles[i]) {
				t.Fatalf("on %v: pixel %d is %v, in tiles %v", ground, i, v, tiles[i])
			}
			switch {
			case v > 0.9 && !(ground > 0.9):
				white++
			case v < ground-0.1:
				dark++
			case v == ground || v != v && ground != ground:
				same++
			}
		}
		if same < w*h*2/3 || ground < 0.9 && white < 200 || ground >= 0.5 && dark < 500 {
			t.Errorf("on %v: %d white pixels, %d dark, %d as they were", ground, white, dark, same)
		}
	}
}
