package publish

import (
	"context"
	"errors"
	"fmt"
	"image"
	"math"
	"path"
	"slices"

	"plenilune/pipeline"
	"plenilune/steps/kernel/warp"
)

// StripSettings is a teststrip block: one crop of several pictures, side by side.
type StripSettings struct {
	File  string `hcl:"file"`
	Title string `hcl:"title,optional"`
	// Tiles are the pictures, in reading order.
	Tiles []Tile `hcl:"tile,block"`
	// Columns is how many stand in a row; 0 takes up to four.
	Columns int `hcl:"columns,optional" min:"0" max:"100"`
	// The crop: its middle and side in pixels of the first finished picture. Without
	// a middle it lies where detail is greatest.
	Middle *Middle `hcl:"middle,block"`
	SizePx int     `hcl:"size_px,optional" min:"32" max:"2048"`
	// Zoom shows each pixel as so many a side.
	Zoom int `hcl:"zoom,optional" min:"1" max:"8"`
}

// Middle is where a crop lies, in pixels from the picture's top left corner.
type Middle struct {
	XPx float64 `hcl:"x_px"`
	YPx float64 `hcl:"y_px"`
}

// Tile is one picture of a test strip.
type Tile struct {
	Name  string       `hcl:"name,label"`
	Label string       `hcl:"label"`
	Image pipeline.Ref `hcl:"image" refs:"finish"`
	// Linear is what is measured: the same picture before it was finished.
	Linear pipeline.Ref `hcl:"linear" refs:"detail mosaic stack"`
}

// StripStep serves teststrip blocks.
func StripStep() pipeline.Step {
	return pipeline.Step{
		Name:    "publish",
		Block:   "teststrip",
		New:     func() any { return &StripSettings{SizePx: 256, Zoom: 1} },
		Check:   checkStrip,
		Outputs: func(s any) []pipeline.Output { return []pipeline.Output{{Path: "file", File: s.(*StripSettings).File}} },
		Expand:  expandStrip,
	}
}

func checkStrip(settings any, _ pipeline.Night) []pipeline.Problem {
	s := settings.(*StripSettings)
	if text, hint := checkName(s.File); text != "" {
		return []pipeline.Problem{{Path: "file", Text: text, Hint: hint}}
	}
	if formatOf(s.File) != "png" {
		return []pipeline.Problem{{Path: "file", Text: fmt.Sprintf("a test strip is a PNG file, not %s", path.Ext(s.File)), Hint: "end its name in .png"}}
	}
	if len(s.Tiles) == 0 {
		return []pipeline.Problem{{Text: "a test strip without a tile", Hint: "add tile \"NAME\" { image = finish.NAME … }"}}
	}
	return nil
}

type cropSettings struct {
	Given bool
	X, Y  float64
	Size  int
}

type sheetSettings struct {
	Title         string
	Labels        []string
	Columns, Zoom int
}

func expandStrip(x *pipeline.Expansion) error {
	set := x.Settings().(*StripSettings)
	var images, linears, layouts []pipeline.Input
	s := sheetSettings{Title: set.Title, Columns: set.Columns, Zoom: set.Zoom}
	var scale pipeline.Value
	for _, tile := range set.Tiles {
		img, err := first(x, tile.Image)
		if err != nil {
			return err
		}
		lin, err := first(x, tile.Linear)
		if err != nil {
			return err
		}
		images = append(images, pipeline.Input{Port: "image", Value: img.Values["image"]})
		linears = append(linears, pipeline.Input{Port: "linear", Value: lin.Values["image"]})
		layouts = append(layouts, pipeline.Input{Port: "layout", Value: img.Values["layout"]})
		s.Labels = append(s.Labels, tile.Label)
		if scale.IsZero() {
			scale = lin.Values["placements"]
		}
	}
	cs := cropSettings{Size: set.SizePx}
	if m := set.Middle; m != nil {
		cs.Given, cs.X, cs.Y = true, m.XPx, m.YPx
	}
	crop := x.Add(pipeline.Part{
		Name: "crop", Version: 1, Settings: cs, In: []pipeline.Input{linears[0], layouts[0]}, Out: []string{"crop"},
		Memory: 256 << 20, Run: pipeline.Bind(chooseCrop),
	})
	in := slices.Concat([]pipeline.Input{{Port: "crop", Value: crop.Out("crop")}}, images, linears, layouts)
	if !scale.IsZero() {
		in = append(in, pipeline.Input{Port: "placements", Value: scale})
	}
	sheet := x.Add(pipeline.Part{
		Name: "sheet", Version: 1, Settings: s, In: in, Out: []string{"file"},
		Memory: 128 << 20, Run: pipeline.Bind(drawSheet),
	})
	x.Deliver(pipeline.Delivery{File: set.File, Encoded: sheet.Out("file"), Version: 1, Splice: splicePNG})
	return nil
}

// first is the picture of a block, or the first of many, in the order of the clips' content.
func first(x *pipeline.Expansion, r pipeline.Ref) (pipeline.Item, error) {
	items, err := x.Upstream(r)
	if err != nil {
		return pipeline.Item{}, err
	}
	if items, err = x.Alive(items); err != nil {
		return pipeline.Item{}, err
	}
	if len(items) == 0 {
		return pipeline.Item{}, fmt.Errorf("%s has no picture", r)
	}
	return items[0], nil
}

// lay is how a finished picture lies over the one it is made of.
type lay struct {
	W, H     int
	ToSource warp.Affine // from its pixels to the other's
}

func layOf(s pipeline.Source) (l lay, err error) { return l, s.Table(&l) }

// over is the corner, in the finished picture, of the square of so many pixels a side about the middle of one in the other.
func (l lay) over(corner image.Point, size int) (image.Point, error) {
	from, ok := l.ToSource.Invert()
	if !ok {
		return image.Point{}, errors.New("the finished picture's layout cannot be turned round")
	}
	half := float64(float64(size-1) / 2)
	x, y := from.Apply(float64(corner.X)+half, float64(corner.Y)+half)
	return image.Pt(int(math.Round(x-half)), int(math.Round(y-half))), nil
}

// cropTable is where a crop lies, in the picture before it was finished.
type cropTable struct {
	X    int `json:"x"` // of its left column and top row
	Y    int `json:"y"`
	Size int `json:"size"`
}

func chooseCrop(_ context.Context, s cropSettings, t *pipeline.Task) error {
	w, h, pix, err := t.One("linear").Pixels()
	if err != nil {
		return err
	}
	l, err := layOf(t.One("layout"))
	if err != nil {
		return err
	}
	size := min(s.Size, w, h)
	c := cropTable{Size: size}
	if s.Given {
		if s.X < 0 || s.Y < 0 || s.X >= float64(l.W) || s.Y >= float64(l.H) {
			return fmt.Errorf("a crop about (%g, %g) px lies outside the picture, which has %d × %d px", s.X, s.Y, l.W, l.H)
		}
		x, y := l.ToSource.Apply(s.X, s.Y)
		c.X = min(max(int(x)-size/2, 0), w-size)
		c.Y = min(max(int(y)-size/2, 0), h-size)
	} else {
		c.X, c.Y = busiest(luminance(pix), w, h, size)
	}
	shown, err := l.over(image.Pt(c.X, c.Y), size)
	if err != nil {
		return err
	}
	t.Fact("crop_middle_x", float64(2*shown.X+size)/2, "px")
	t.Fact("crop_middle_y", float64(2*shown.Y+size)/2, "px")
	t.Fact("crop_side", float64(size), "px")
	return t.PutTable("crop", c)
}
