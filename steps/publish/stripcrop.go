package publish

import (
	"context"
	"errors"
	"fmt"
	"image"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/warp"
)

// lay is how a finished picture lies over the one it is made of; both have one scale.
type lay struct {
	W, H     int
	ToSource warp.Affine // from its pixels to the other's
	Disk     disk        `json:"disk"` // in the finished picture
	Scale    float64     `json:"scale_arcsec_per_px"`
}

// disk is the circle of the limb, in pixels.
type disk struct {
	Found  bool    `json:"found"`
	X      float64 `json:"x"`
	Y      float64 `json:"y"`
	Radius float64 `json:"radius_px"`
}

func layOf(s pipeline.Source) (l lay, err error) { return l, s.Table(&l) }

func (l lay) fromSource() (warp.Affine, error) {
	from, ok := l.ToSource.Invert()
	if !ok {
		return from, errors.New("the finished picture's layout cannot be turned round")
	}
	return from, nil
}

// over is the corner, in the finished picture, of the square of so many pixels a side about the middle of one in the other.
func (l lay) over(corner image.Point, size int) (image.Point, error) {
	from, err := l.fromSource()
	half := float64(float64(size-1) / 2)
	x, y := from.Apply(float64(corner.X)+half, float64(corner.Y)+half)
	return image.Pt(int(math.Round(x-half)), int(math.Round(y-half))), err
}

// shows is the rectangle of a picture of w by h pixels that the finished one has something of.
func (l lay) shows(w, h int) image.Rectangle {
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, p := range [4][2]int{{0, 0}, {l.W - 1, 0}, {0, l.H - 1}, {l.W - 1, l.H - 1}} {
		x, y := l.ToSource.Apply(float64(p[0]), float64(p[1]))
		x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), max(y1, y)
	}
	r := image.Rect(int(math.Round(x0)), int(math.Round(y0)), int(math.Round(x1))+1, int(math.Round(y1))+1)
	return r.Intersect(image.Rect(0, 0, w, h))
}

// under is the corner, in a picture of w by h pixels, of the square about a place of the finished one; it is moved so that it
// reaches out of neither.
func (l lay) under(x, y float64, size, w, h int) image.Point {
	inside := func(v float64, n int) float64 {
		return min(max(v, float64(size/2)), float64(max(n-size+size/2, size/2)))
	}
	x, y = l.ToSource.Apply(inside(x, l.W), inside(y, l.H))
	return image.Pt(min(max(int(math.Round(x))-size/2, 0), w-size), min(max(int(math.Round(y))-size/2, 0), h-size))
}

// cropTable is where a crop lies, in the picture before it was finished.
type cropTable struct {
	X    int `json:"x"` // of its left column and top row
	Y    int `json:"y"`
	Size int `json:"size"`
}

type cropSettings struct {
	Given bool
	X, Y  float64
	Size  int
}

func chooseCrop(ctx context.Context, s cropSettings, t *pipeline.Task) error {
	p, err := t.One("linear").Plane()
	if err != nil {
		return err
	}
	defer p.Close()
	p.Keep(3)
	w, h, _ := p.Size()
	l, err := layOf(t.One("layout"))
	if err != nil {
		return err
	}
	box := l.shows(w, h)
	size := min(s.Size, box.Dx(), box.Dy(), l.W, l.H)
	if size < 1 {
		return errors.New("the finished picture shows nothing of the one it is made of")
	}
	x, y := s.X, s.Y
	if !s.Given {
		if x, y, err = busiest(ctx, p, l, box, size); err != nil {
			return fmt.Errorf("look for the place with most detail: %w", err)
		}
	} else if x < 0 || y < 0 || x >= float64(l.W) || y >= float64(l.H) {
		return fmt.Errorf("a crop about (%g, %g) px lies outside the picture, which has %d × %d px", x, y, l.W, l.H)
	}
	at := l.under(x, y, size, w, h)
	shown, err := l.over(at, size)
	if err != nil {
		return err
	}
	t.Fact("crop_middle_x", float64(2*shown.X+size)/2, "px")
	t.Fact("crop_middle_y", float64(2*shown.Y+size)/2, "px")
	t.Fact("crop_side", float64(size), "px")
	return t.PutTable("crop", cropTable{at.X, at.Y, size})
}
