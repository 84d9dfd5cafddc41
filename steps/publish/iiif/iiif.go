// Package iiif lays a picture out as tiles that any static host can serve: the IIIF Image API 3.0 at compliance level 0
// (iiif.io/api/image/3.0). It knows numbers and names, no pixels.
package iiif

import (
	"encoding/json"
	"fmt"
)

// Layout is a picture of W by H pixels cut into square tiles of Tile pixels, at every scale from 1:1 in steps of two until one tile
// shows all of it.
type Layout struct{ W, H, Tile int }

// Tile is one file: a rectangle of the picture, in its pixels, shown at Width by Height pixels.
type Tile struct {
	Scale         int // pixels of the picture to one of the tile, along a side
	X, Y, W, H    int
	Width, Height int
	Whole         bool // the rectangle is the picture
	Full          bool // and is shown 1:1
}

// Scales returns the scale factors, 1, 2, 4, ….
func (l Layout) Scales() []int {
	out := []int{1}
	for s := 1; ceil(max(l.W, l.H), s) > l.Tile; {
		s *= 2
		out = append(out, s)
	}
	return out
}

// Level returns the size of the whole picture at a scale.
func (l Layout) Level(scale int) (w, h int) { return ceil(l.W, scale), ceil(l.H, scale) }

// Tiles returns the tiles of one scale by rows, by the rule of the standard's implementation notes, section 3.
func (l Layout) Tiles(scale int) [][]Tile {
	var out [][]Tile
	side := l.Tile * scale
	for y := 0; y < l.H; y += side {
		var row []Tile
		for x := 0; x < l.W; x += side {
			t := Tile{Scale: scale, X: x, Y: y, W: min(side, l.W-x), H: min(side, l.H-y)}
			t.Width, t.Height = ceil(t.W, scale), ceil(t.H, scale)
			t.Whole = t.W == l.W && t.H == l.H
			t.Full = t.Whole && scale == 1
			row = append(row, t)
		}
		out = append(out, row)
	}
	return out
}

// All is the whole picture 1:1, which level 0 asks for beside the tiles.
func (l Layout) All() Tile {
	return Tile{Scale: 1, W: l.W, H: l.H, Width: l.W, Height: l.H, Whole: true, Full: true}
}

// Name is the tile's canonical path under the picture's base (section 4.8).
func (t Tile) Name() string {
	region, size := fmt.Sprintf("%d,%d,%d,%d", t.X, t.Y, t.W, t.H), fmt.Sprintf("%d,%d", t.Width, t.Height)
	if t.Whole {
		region = "full"
	}
	if t.Full {
		size = "max"
	}
	return region + "/" + size + "/0/default.jpg"
}

type size struct {
	Width  int `json:"width"`
	Height int `json:"height"`
}

type tiles struct {
	Width        int   `json:"width"`
	ScaleFactors []int `json:"scaleFactors"`
}

// Info returns info.json (section 5) for a picture whose base is id, without a slash at the end.
func (l Layout) Info(id string) ([]byte, error) {
	scales := l.Scales()
	w, h := l.Level(scales[len(scales)-1])
	b, err := json.MarshalIndent(struct {
		Context  string  `json:"@context"`
		ID       string  `json:"id"`
		Type     string  `json:"type"`
		Protocol string  `json:"protocol"`
		Profile  string  `json:"profile"`
		Width    int     `json:"width"`
		Height   int     `json:"height"`
		Sizes    []size  `json:"sizes"`
		Tiles    []tiles `json:"tiles"`
	}{"http://iiif.io/api/image/3/context.json", id, "ImageService3", "http://iiif.io/api/image", "level0", l.W, l.H,
		[]size{{w, h}}, []tiles{{l.Tile, scales}}}, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("write info.json: %w", err)
	}
	return append(b, '\n'), nil
}

func ceil(n, d int) int { return (n + d - 1) / d }
