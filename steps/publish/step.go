// Package publish writes pictures as files that other programs read, each with
// the record of how it came about.
package publish

import (
	"context"
	"fmt"
	"io"

	"plenilune/pipeline"
	"plenilune/steps/publish/pages"
)

// Settings is a publish block of the manifest.
type Settings struct {
	Pictures []Picture     `hcl:"picture,block"`
	Pages    []pages.Pages `hcl:"pages,block"`
	Panels   []Panels      `hcl:"panels,block"`
}

// Picture is one file.
type Picture struct {
	Image pipeline.Ref `hcl:"image" refs:"mosaic stack panels detail finish"`
	File  string       `hcl:"file"`
	// Plane is what of a stack or a mosaic is written: the picture itself, or of each of its pixels the standard deviation of
	// its noise in units of white (noise); of a stack the share of the kept frames behind it (weight) and how many were added
	// (count); of a mosaic one over the variance of its noise against that of one usual stack (weight), how many panels show
	// it (coverage), and which of them counts most, from 0 on in the order of the clips' content (source).
	Plane string `hcl:"plane,optional" oneof:"image weight count noise coverage source"`
	// Depth is the type of the samples; the default suits the file's kind.
	Depth string `hcl:"depth,optional" oneof:"float32 uint16 uint8"`
	// LongEdgePx makes the picture smaller so that its longer side has so many pixels; 0 keeps it.
	LongEdgePx int `hcl:"long_edge_px,optional" min:"16" max:"100000"`
	// Encoding is what the samples are: sRGB values, or proportional to light. Not given, a finished picture and one of 8 bits
	// have sRGB values, any other is linear.
	Encoding string `hcl:"encoding,optional" oneof:"srgb linear"`
	// MaxBytes bounds a JPEG file: as much quality is given up as that takes, down to where a smaller picture is better; a larger file is
	// then written with a warning. 0 bounds nothing.
	MaxBytes int `hcl:"max_bytes,optional" min:"4000" max:"2000000000"`
	// PrintWidthMM states in the file how wide a print is meant to be.
	PrintWidthMM float64 `hcl:"print_width_mm,optional" min:"5" max:"50000"`
	// Caption writes a text beside the picture, ready to be shown with it.
	Caption bool `hcl:"caption,optional"`
}

// Step serves publish blocks.
func Step() pipeline.Step {
	return pipeline.Step{
		Name:    "publish",
		Block:   "publish",
		New:     func() any { return &Settings{} },
		Check:   check,
		Outputs: outputs,
		Expand:  expand,
	}
}

// encodeSettings are what varies the bytes of a file before its record is put in.
type encodeSettings struct {
	Format       string // "tiff", "fits", "png", "jpeg"
	Depth        string
	Plane        string // "" is the picture itself
	Encoding     string // "srgb", "linear" or "", which suits the image
	LongEdgePx   int
	MaxBytes     int
	PrintWidthMM float64
	Display      bool // the image holds sRGB values, not linear light
}

func expand(x *pipeline.Expansion) error {
	set := x.Settings().(*Settings)
	for _, p := range set.Pictures {
		items, err := x.Upstream(p.Image)
		if err != nil {
			return err
		}
		for _, it := range items {
			if err := deliver(x, p, it, len(items) > 1); err != nil {
				return err
			}
		}
	}
	for _, p := range set.Panels {
		if err := deliverPanels(x, p); err != nil {
			return err
		}
	}
	for _, p := range set.Pages {
		if err := pages.Deliver(x, p); err != nil {
			return err
		}
	}
	return nil
}

// deliver adds the parts of one file. Of a stack there is a file a clip, told
// apart by the head of the clip's content id.
func deliver(x *pipeline.Expansion, p Picture, it pipeline.Item, many bool) error {
	format := formatOf(p.File)
	s := encodeSettings{Format: format, Depth: p.depth(), Encoding: p.Encoding, LongEdgePx: p.LongEdgePx, MaxBytes: p.MaxBytes,
		PrintWidthMM: p.PrintWidthMM, Display: p.Image.Kind == "finish"}
	if p.plane() != imagePlane {
		s.Plane = p.plane()
	}
	file := p.File
	if many {
		file = numbered(file, it.ID.Short())
	}
	n := x.Add(pipeline.Part{
		Name: "encode", Label: file, Item: it, Version: 5, Settings: s,
		In:     []pipeline.Input{{Port: "image", Value: it.Values[p.plane()]}},
		Out:    []string{"file"},
		Memory: 256 << 20,
		Run:    pipeline.Bind(encode),
	})
	d := pipeline.Delivery{File: file, Encoded: n.Out("file"), Version: 1}
	switch format {
	case "tiff":
		d.Splice = spliceTIFF
	case "fits":
		d.Splice = spliceFITS
	case "png":
		d.Splice = splicePNG
	case "jpeg":
		d.Splice, d.Beside = spliceJPEG, true
	}
	x.Deliver(d)
	if !p.Caption {
		return nil
	}
	return addCaption(x, p, it, file)
}

func encode(ctx context.Context, s encodeSettings, t *pipeline.Task) error {
	src, err := t.One("image").Plane()
	if err != nil {
		return err
	}
	defer src.Close()
	p := newPicture(ctx, src, s, t.Progress)
	if long := max(p.w, p.h); s.Format == "jpeg" && long > longestJPEG {
		return fmt.Errorf("a JPEG file holds at most %d px a side, and the picture has %d: make it smaller with long_edge_px, or end the file in .tif or .png", longestJPEG, long)
	}
	p.each = func(n int, fn func(i int) error) error { return t.Each(ctx, n, fn) }
	t.Fact("width", float64(p.w), "px")
	t.Fact("height", float64(p.h), "px")
	if err := t.PutBytes("file", p.write); err != nil {
		return err
	}
	if s.MaxBytes > 0 {
		t.Fact("quality", float64(p.quality), "of 100")
		if p.quality < leastQuality {
			t.Warn("picture-too-large", "not even quality %d of 100 brings the file below %d bytes: make it smaller with long_edge_px", leastQuality, s.MaxBytes)
		}
	}
	if share := float64(p.over) / float64(p.w*p.h*p.c); share >= clippedShare {
		t.Fact("clipped", share, "fraction")
		t.Warn("picture-clipped", "%.2f %% of a picture's samples lie above the camera's white level, which %s cannot hold, and were cut there; depth = \"float32\" keeps them", 100*share, s.Depth)
	}
	return nil
}

// clippedShare is how many samples may be cut without a word: the peaks of some
// craters' walls.
const clippedShare = 1e-4

func (p *picture) write(w io.Writer) error {
	switch p.s.Format {
	case "tiff":
		return p.writeTIFF(w)
	case "fits":
		return p.writeFITS(w)
	case "png":
		return p.writePNG(w)
	}
	return p.writeJPEG(w)
}
