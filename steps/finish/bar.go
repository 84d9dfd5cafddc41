package finish

import (
	"fmt"
	"math"

	"plenilune/steps/kernel/lettering"
)

// barRow is the scale bar in the finished picture, in its pixels: a line with its ends marked, and its length above it.
type barRow struct {
	KM    float64 `json:"km"`
	X     int     `json:"x"` // of its left end
	Y     int     `json:"y"` // of its lower side
	Long  int     `json:"long_px"`
	Thick int     `json:"thick_px"`
	Px    float64 `json:"px"` // size of the letters
}

// barShare is how long the bar may be, of the picture's width.
const barShare = 0.18

// roundKM returns the largest of 1, 2, 5, 10, 20, 50, … that is not above a length.
func roundKM(most float64) float64 {
	unit := 1e-3
	for unit*10 <= most {
		unit *= 10
	}
	for _, k := range []float64{5, 2} {
		if k*unit <= most {
			return k * unit
		}
	}
	return unit
}

// newBar lays a bar into the darkest of the lower and upper corners; dark tells the light of a place of the finished picture.
func newBar(w, h int, kmPerPx, letters float64, light func(x, y float64) float64) barRow {
	b := barRow{KM: roundKM(float64(barShare * float64(w) * kmPerPx)), Px: letters}
	b.Long = int(math.Round(b.KM / kmPerPx))
	b.Thick = max(2, int(math.Round(letters/8)))
	hem := int(math.Round(letters))
	high := int(math.Ceil(2 * letters))
	least := math.Inf(1)
	for _, at := range [4][2]int{{hem, h - hem}, {w - hem - b.Long, h - hem}, {hem, hem + high}, {w - hem - b.Long, hem + high}} {
		sum := 0.0
		for i := range 9 {
			sum += light(float64(at[0]+b.Long*(i%3)/2), float64(at[1]-high*(i/3)/2))
		}
		if sum < least-1e-3 {
			least, b.X, b.Y = sum, at[0], at[1]
		}
	}
	return b
}

// box is the ground that the bar takes.
func (b barRow) box() box {
	return box{float64(b.X), float64(b.Y) - 2*b.Px, float64(b.X + b.Long), float64(b.Y)}
}

func (b barRow) text() string { return fmt.Sprintf("%g km", b.KM) }

// masks returns the line and the text.
func (b barRow) masks() []lettering.Mask {
	tick := 3 * b.Thick
	line := lettering.Mask{X: b.X, Y: b.Y - tick, W: b.Long, H: tick, Ink: make([]uint8, b.Long*tick)}
	for y := range tick {
		for x := range b.Long {
			if y >= tick-b.Thick || x < b.Thick || x >= b.Long-b.Thick {
				line.Ink[y*b.Long+x] = 255
			}
		}
	}
	text := lettering.Draw(b.text(), lettering.Upright, b.Px)
	text.X = b.X + (b.Long-text.W)/2
	text.Y = b.Y - tick - text.H - b.Thick
	return []lettering.Mask{line, text}
}
