package publish

import (
	"fmt"
	"path"
	"slices"

	"plenilune/pipeline"
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
	// a middle it lies where relief is strongest.
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
	Linear pipeline.Ref `hcl:"linear" refs:"detail mosaic stack panels"`
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
	if px := len(s.Tiles) * s.SizePx * s.SizePx * s.Zoom * s.Zoom; px > mostSheetPx {
		return []pipeline.Problem{{Path: "size_px", Text: fmt.Sprintf("%d tiles of %d px a side, each shown as %d by %d, make %d million pixels, and %d are the most", len(s.Tiles), s.SizePx, s.Zoom, s.Zoom, px/1e6, int(mostSheetPx/1e6)), Hint: "lower size_px or zoom, or show fewer tiles"}}
	}
	return nil
}

// mostSheetPx is what a sheet may come to: more, no viewer opens.
const mostSheetPx = 100e6

type sheetSettings struct {
	Title         string
	Labels        []string
	Columns, Zoom int
}

func expandStrip(x *pipeline.Expansion) error {
	set := x.Settings().(*StripSettings)
	var images, linears, layouts []pipeline.Input
	s := sheetSettings{Title: set.Title, Columns: set.Columns, Zoom: set.Zoom}
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
	}
	cs := cropSettings{Size: set.SizePx}
	if m := set.Middle; m != nil {
		cs.Given, cs.X, cs.Y = true, m.XPx, m.YPx
	}
	crop := x.Add(pipeline.Part{
		Name: "crop", Version: 2, Settings: cs, In: []pipeline.Input{linears[0], layouts[0]}, Out: []string{"crop"},
		Memory: 256 << 20, Run: pipeline.Bind(chooseCrop),
	})
	in := slices.Concat([]pipeline.Input{{Port: "crop", Value: crop.Out("crop")}}, images, linears, layouts)
	sheet := x.Add(pipeline.Part{
		Name: "sheet", Version: 2, Settings: s, In: in, Out: []string{"file"},
		Memory: s.memory(set.SizePx), Run: pipeline.Bind(drawSheet),
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
