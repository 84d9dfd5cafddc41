package detail

import (
	"math"

	"plenilune/steps/kernel/deconvolve"
)

// side is one of eight directions in a picture, clockwise from the right.
type side int

var sideNames = [8]string{"right", "bottom right", "bottom", "bottom left", "left", "top left", "top", "top right"}

// sideOf tells to which side a direction points, y running down.
func sideOf(x, y float64) side {
	const tan = 0.41421356237309503 // of half the angle between two sides
	ax, ay := math.Abs(x), math.Abs(y)
	switch {
	case ay <= float64(tan*ax) && x >= 0:
		return 0
	case ay <= float64(tan*ax):
		return 4
	case ax <= float64(tan*ay) && y > 0:
		return 2
	case ax <= float64(tan*ay):
		return 6
	case x > 0 && y > 0:
		return 1
	case y > 0:
		return 3
	case x < 0:
		return 5
	}
	return 7
}

// sideBlur is how wide the blur is at the limb of one side.
type sideBlur struct {
	side   side
	fwhmPx float64
}

// bySide returns the sides with the least and with the widest blur, as far as the
// limb is in view there; ok is false where fewer than two sides tell.
func bySide(places []limbPlace, tel deconvolve.Telescope) (least, most sideBlur, ok bool) {
	var of [len(sideNames)][]deconvolve.Profile
	for _, p := range places {
		of[p.side] = append(of[p.side], p.profile)
	}
	n := 0
	for k, edges := range of {
		if len(edges) < fewestPlaces {
			continue
		}
		s, _, err := deconvolve.FitEdge(middle(edges, -1), tel)
		if err != nil {
			continue
		}
		b := sideBlur{side(k), tel.FWHM(s)}
		if n == 0 || b.fwhmPx < least.fwhmPx {
			least = b
		}
		if n == 0 || b.fwhmPx > most.fwhmPx {
			most = b
		}
		n++
	}
	return least, most, n > 1
}
