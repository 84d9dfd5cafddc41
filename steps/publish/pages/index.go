package pages

import (
	"bytes"
	"fmt"
	"html/template"

	"plenilune/steps/publish/iiif"
)

// indexPage writes the page that shows the picture.
func indexPage(sc scene) ([]byte, error) {
	text, err := assets.ReadFile("assets/index.html")
	if err != nil {
		return nil, fmt.Errorf("read the page: %w", err)
	}
	tiles := iiif.Layout{W: sc.Width, H: sc.Height, Tile: sc.Tile}.Tiles(sc.Scales[len(sc.Scales)-1])
	return fill("index", string(text), struct{ Title, Still string }{titleOf(sc.Title), tilesFolder + tiles[0][0].Name()})
}

// titleOf is a night's title, or what stands for it.
func titleOf(title string) string {
	if title == "" {
		return "The Moon"
	}
	return title
}

// fill puts values into a page; whatever they hold stays text.
func fill(name, text string, values any) ([]byte, error) {
	t, err := template.New(name).Parse(text)
	if err != nil {
		return nil, fmt.Errorf("read the page %s: %w", name, err)
	}
	var b bytes.Buffer
	if err := t.Execute(&b, values); err != nil {
		return nil, fmt.Errorf("write the page %s: %w", name, err)
	}
	return b.Bytes(), nil
}
