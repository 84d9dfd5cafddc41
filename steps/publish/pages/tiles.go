package pages

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/jpeg"

	"plenilune/pipeline"
	"plenilune/steps/publish/iiif"
)

const (
	// tileSide is that of a tile in pixels: at a screen's resolution some dozen of them fill it.
	tileSide = 512
	// jpegQuality is high enough that no block shows on smooth ground (common practice, no source).
	jpegQuality = 90
	// tilesAtOnce is how many encoded tiles are held before they are stored.
	tilesAtOnce = 128
	// tilesFolder is where the tiles lie in the pages' folder, otherFolder where those of a second version do.
	tilesFolder = "tiles/"
	otherFolder = "other/"
)

// layoutTable is the size of the picture that was cut into tiles.
type layoutTable struct {
	Width    int `json:"width"`
	Height   int `json:"height"`
	TileSide int `json:"tile_side"`
	// Dim is the picture made small, in shades of grey: enough to tell what is in the dark.
	Dim       []byte `json:"dim"`
	DimWidth  int    `json:"dim_width"`
	DimPixels int    `json:"dim_px"` // pixels of the picture to one of it, along a side
}

func (l layoutTable) layout() iiif.Layout {
	return iiif.Layout{W: l.Width, H: l.Height, Tile: l.TileSide}
}

type tileSettings struct {
	TileSidePx int
	Folder     string
}

// runTiles cuts the picture into tiles of all scales.
func runTiles(ctx context.Context, s tileSettings, t *pipeline.Task) error {
	src, err := t.One("image").Plane()
	if err != nil {
		return err
	}
	defer src.Close()
	w, h, _ := src.Size()
	table := layoutTable{Width: w, Height: h, TileSide: s.TileSidePx}
	l, err := readLevel(ctx, t, src)
	if err != nil {
		return err
	}
	count, tables := 0, newLightTables()
	err = t.PutFolder("folder", func(add func(string, []byte) error) error {
		layout := table.layout()
		scales := layout.Scales()
		for i, scale := range scales {
			if i > 0 {
				if l, err = l.half(ctx, t, tables); err != nil {
					return err
				}
			}
			tiles := tilesAt(layout, scale)
			count += len(tiles)
			if err := l.encode(ctx, t, tiles, func(name string, b []byte) error { return add(s.Folder+name, b) }); err != nil {
				return err
			}
			t.Progress(float64(i+1) / float64(len(scales)))
		}
		return nil
	})
	if err != nil {
		return err
	}
	if err := table.dim(ctx, t, l, tables); err != nil {
		return err
	}
	t.Fact("tiles", float64(count), "")
	return t.PutTable("layout", table)
}

const (
	dimSide  = 128 // most pixels along a side of the small picture
	leastLit = 14  // of 255, sRGB: darker ground cannot be made out
)

// dim makes the picture smaller still than its coarsest level.
func (l *layoutTable) dim(ctx context.Context, t *pipeline.Task, from level, tables *lightTables) error {
	scales := l.layout().Scales()
	l.DimPixels = scales[len(scales)-1]
	for max(from.w, from.h) > dimSide {
		half, err := from.half(ctx, t, tables)
		if err != nil {
			return err
		}
		from, l.DimPixels = half, 2*l.DimPixels
	}
	l.DimWidth = from.w
	for i := range from.w * from.h {
		l.Dim = append(l.Dim, from.pix[i*from.step+from.channels/2])
	}
	return nil
}

// lit tells whether there is anything to be seen at a place of the picture or beside it.
func (l layoutTable) lit(x, y float64) bool {
	if l.DimWidth == 0 {
		return true
	}
	cx, cy := int(x)/l.DimPixels, int(y)/l.DimPixels
	for j := max(0, cy-1); j <= min(len(l.Dim)/l.DimWidth-1, cy+1); j++ {
		for i := max(0, cx-1); i <= min(l.DimWidth-1, cx+1); i++ {
			if l.Dim[j*l.DimWidth+i] >= leastLit {
				return true
			}
		}
	}
	return false
}

// tilesAt lists the tiles of a scale; those of 1:1 begin with the whole picture, if it is not a tile anyway.
func tilesAt(layout iiif.Layout, scale int) []iiif.Tile {
	var out []iiif.Tile
	if all := layout.All(); scale == 1 && len(layout.Scales()) > 1 {
		out = append(out, all)
	}
	for _, row := range layout.Tiles(scale) {
		out = append(out, row...)
	}
	return out
}

// encode adds tiles in their order, and works on several at once.
func (l level) encode(ctx context.Context, t *pipeline.Task, tiles []iiif.Tile, add func(string, []byte) error) error {
	for len(tiles) > 0 {
		some := tiles[:min(tilesAtOnce, len(tiles))]
		files := make([][]byte, len(some))
		err := t.Each(ctx, len(some), func(i int) error {
			x, y := some[i].X/some[i].Scale, some[i].Y/some[i].Scale
			var b bytes.Buffer
			err := jpeg.Encode(&b, l.window(image.Rect(x, y, x+some[i].Width, y+some[i].Height)), &jpeg.Options{Quality: jpegQuality})
			if err != nil {
				return fmt.Errorf("encode tile %s: %w", some[i].Name(), err)
			}
			files[i] = b.Bytes()
			return nil
		})
		if err != nil {
			return err
		}
		for i, b := range files {
			if err := add(some[i].Name(), b); err != nil {
				return err
			}
		}
		tiles = tiles[len(some):]
	}
	return nil
}
