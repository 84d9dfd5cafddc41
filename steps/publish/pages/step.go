// Package pages makes a folder of web pages that opens from a disk, without a network: the picture to be looked at, as
// tiles, and the report of the night.
package pages

import (
	"maps"
	"slices"
	"strings"

	"plenilune/pipeline"
)

// Pages is one folder, as a publish block asks for it.
type Pages struct {
	Image  pipeline.Ref `hcl:"image" refs:"finish"`
	Folder string       `hcl:"folder"`
	// URL is where the folder will stand in the web, if it will: the pages do not need it, programs that read the tiles by IIIF do.
	URL string `hcl:"url,optional"`
}

// pageSettings are what varies the pages beside what was measured.
type pageSettings struct {
	Title      string
	URL        string
	ApertureMM float64 // 0: unknown
}

// Add adds the parts of one folder; a picture that is no mosaic has no overlays.
func Add(x *pipeline.Expansion, p Pages, it pipeline.Item, folder string) {
	own := pipeline.Item{ID: it.ID}
	tiles := x.Add(pipeline.Part{
		Name: "tiles", Label: folder, Item: own, Version: 1, Settings: tileSettings{tileSide},
		In:     []pipeline.Input{{Port: "image", Value: it.Values["image"]}},
		Out:    []string{"folder", "layout"},
		Memory: 1 << 30, // a colour picture of 100 megapixels
		Run:    pipeline.Bind(runTiles),
	})
	in := []pipeline.Input{{Port: "tiles", Value: tiles.Out("folder")}, {Port: "layout", Value: tiles.Out("layout")}}
	s := pageSettings{Title: x.Night().Title, URL: strings.TrimRight(p.URL, "/")}
	if v := it.Values["placements"]; !v.IsZero() {
		in = append(in, nightInputs(it)...)
		if v := it.Values["layout"]; !v.IsZero() {
			in = append(in, pipeline.Input{Port: "finish", Value: v})
		}
		if scope := x.Night().Telescope; scope != nil {
			s.ApertureMM = scope.ApertureMM
		}
	}
	page := x.Add(pipeline.Part{
		Name: "pages", Label: folder, Item: own, Version: 1, Settings: s, In: in,
		Out:    []string{"folder"},
		Memory: 128 << 20,
		Run:    pipeline.Bind(runPages),
	})
	x.Deliver(pipeline.Delivery{File: folder, Encoded: page.Out("folder"), Version: 1, Folder: &pipeline.Folder{
		Open: "index.html", More: []pipeline.Value{tiles.Out("folder")},
		Splice: map[string]func(file, record []byte) ([]byte, error){"report.html": spliceWarnings},
	}})
}

// clipPorts are the tables of each clip that a mosaic hands on, as port:ID.
var clipPorts = []string{"panel", "frames", "index"}

// nightInputs lists what a mosaic tells of itself, and of its clips in the order of their content.
func nightInputs(it pipeline.Item) []pipeline.Input {
	var in []pipeline.Input
	for _, port := range []string{"placements", "orientation", "geometry", "light"} {
		if v := it.Values[port]; !v.IsZero() {
			in = append(in, pipeline.Input{Port: port, Value: v})
		}
	}
	names := slices.Sorted(maps.Keys(it.Values))
	for _, port := range clipPorts {
		for _, name := range names {
			if strings.HasPrefix(name, port+":") {
				in = append(in, pipeline.Input{Port: port, Value: it.Values[name]})
			}
		}
	}
	return in
}
