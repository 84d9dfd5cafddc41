// Package pages makes a folder of web pages that opens from a disk, without a network: the picture to be looked at, as
// tiles, and the report of the night.
package pages

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"plenilune/pipeline"
)

// Pages is one folder, as a publish block asks for it.
type Pages struct {
	Image  pipeline.Ref `hcl:"image" refs:"finish"`
	Folder string       `hcl:"folder"`
	// Beside is another finish of the same picture, shown on the other side of a slider.
	Beside pipeline.Ref `hcl:"beside,optional" refs:"finish"`
	// URL is where the folder will stand in the web, if it will: the pages do not need it, programs that read the tiles by IIIF do.
	URL string `hcl:"url,optional"`
}

// pageSettings are what varies the pages beside what was measured.
type pageSettings struct {
	Title      string
	URL        string
	ApertureMM float64  // 0: unknown
	Versions   []string // names of the two that are compared, if there are two
}

// Deliver adds the parts of one folder of pages for each picture that the finish gives; a picture that is no mosaic has no
// overlays.
func Deliver(x *pipeline.Expansion, p Pages) error {
	items, err := x.Upstream(p.Image)
	if err != nil {
		return err
	}
	var others []pipeline.Item
	if p.Beside.Name != "" {
		if others, err = x.Upstream(p.Beside); err != nil {
			return err
		}
	}
	for _, it := range items {
		folder := p.Folder
		if len(items) > 1 {
			folder += "-" + it.ID.Short()
		}
		other := slices.IndexFunc(others, func(o pipeline.Item) bool { return o.ID == it.ID })
		switch {
		case p.Beside.Name == "":
			add(x, p, it, nil, folder)
		case other < 0:
			return fmt.Errorf("%s and %s are not of the same pictures: they cannot be shown beside each other", p.Image, p.Beside)
		default:
			add(x, p, it, &others[other], folder)
		}
	}
	return nil
}

// tiles adds the part that cuts a picture into tiles, in a folder of that name.
func tiles(x *pipeline.Expansion, it pipeline.Item, name, label string) *pipeline.Node {
	return x.Add(pipeline.Part{
		Name: "tiles", Label: label, Item: pipeline.Item{ID: it.ID}, Version: 1, Settings: tileSettings{tileSide, name},
		In:     []pipeline.Input{{Port: "image", Value: it.Values["image"]}},
		Out:    []string{"folder", "layout"},
		Memory: 1 << 30, // a colour picture of 100 megapixels
		Run:    pipeline.Bind(runTiles),
	})
}

func add(x *pipeline.Expansion, p Pages, it pipeline.Item, other *pipeline.Item, folder string) {
	first := tiles(x, it, tilesFolder, folder)
	in := []pipeline.Input{{Port: "tiles", Value: first.Out("folder")}, {Port: "layout", Value: first.Out("layout")}}
	more := []pipeline.Value{first.Out("folder")}
	s := pageSettings{Title: x.Night().Title, URL: strings.TrimRight(p.URL, "/")}
	if other != nil {
		second := tiles(x, *other, otherFolder, folder)
		in = append(in, pipeline.Input{Port: "other", Value: second.Out("folder")}, pipeline.Input{Port: "other_layout", Value: second.Out("layout")})
		more = append(more, second.Out("folder"))
		s.Versions = []string{p.Image.Name, p.Beside.Name}
	}
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
		Name: "pages", Label: folder, Item: pipeline.Item{ID: it.ID}, Version: 9, Settings: s, In: in,
		Out:    []string{"folder"},
		Memory: 128 << 20,
		Run:    pipeline.Bind(runPages),
	})
	x.Deliver(pipeline.Delivery{File: folder, Encoded: page.Out("folder"), Version: 1, Folder: &pipeline.Folder{
		Open: "index.html", More: more,
		Splice: map[string]func(file, record []byte) ([]byte, error){"report.html": spliceWarnings},
		Log:    &pipeline.FolderLog{File: "run.js", Write: writeRun, WarningsFile: "warnings.js", WriteWarnings: writeWarnings},
	}})
}

// clipPorts are the tables of each clip that a mosaic hands on, as port:ID.
var clipPorts = []string{"panel", "frames", "index", "finest"}

// nightInputs lists what a mosaic tells of itself, and of its clips in the order of their content.
func nightInputs(it pipeline.Item) []pipeline.Input {
	var in []pipeline.Input
	for _, port := range []string{"placements", "orientation", "geometry", "outlines", "light"} {
		if v := it.Values[port]; !v.IsZero() {
			in = append(in, pipeline.Input{Port: port, Value: v})
		}
	}
	in = append(in, pipeline.Input{Port: "finest_map", Value: it.Values["finest"]})
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
