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
	// tilesFolder is where the tiles lie in the pages' folder.
	tilesFolder = "tiles/"
)

// layoutTable is the size of the picture that was cut into tiles.
type layoutTable struct {
	Width    int `json:"width"`
	Height   int `json:"height"`
	TileSide int `json:"tile_side"`
}

func (l layoutTable) layout() iiif.Layout {
	return iiif.Layout{W: l.Width, H: l.Height, Tile: l.TileSide}
}

type tileSettings struct{ TileSidePx int }

// runTiles cuts the picture into tiles of all scales.
func runTiles(ctx context.Context, s tileSettings, t *pipeline.Task) error {
	src, err := t.One("image").Plane()
	if err != nil {
		return err
	}
	defer src.Close()
	w, h, _ := src.Size()
	table := layoutTable{w, h, s.TileSidePx}
	l, err := readLevel(ctx, t, src)
	if err != nil {
		return err
	}
	count := 0
	err = t.PutFolder("folder", func(add func(string, []byte) error) error {
		tables, layout := newLightTables(), table.layout()
		scales := layout.Scales()
		for i, scale := range scales {
			if i > 0 {
				if l, err = l.half(ctx, t, tables); err != nil {
					return err
				}
			}
			tiles := tilesAt(layout, scale)
			count += len(tiles)
			if err := l.encode(ctx, t, tiles, add); err != nil {
				return err
			}
			t.Progress(float64(i+1) / float64(len(scales)))
		}
		return nil
	})
	if err != nil {
		return err
	}
	t.Fact("tiles", float64(count), "")
	return t.PutTable("layout", table)
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
			if err := add(tilesFolder+some[i].Name(), b); err != nil {
				return err
			}
		}
		tiles = tiles[len(some):]
	}
	return nil
}
