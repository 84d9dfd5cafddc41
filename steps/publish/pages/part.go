package pages

import (
	"context"
	"embed"
	"fmt"
	"io/fs"

	"plenilune/pipeline"
)

//go:embed assets
var assets embed.FS

// assetFiles are the page's own files, in the order in which they are stored.
var assetFiles = []string{"look.css", "tiles.js", "fine.js", "overlay.js", "split.js", "gestures.js", "page.js", "runs.js"}

// runPages writes the pages; the tiles are a part of their own, since they depend on the picture alone.
func runPages(_ context.Context, s pageSettings, t *pipeline.Task) error {
	var l layoutTable
	if err := t.One("layout").Table(&l); err != nil {
		return err
	}
	if len(s.Versions) > 0 {
		var other layoutTable
		if err := t.One("other_layout").Table(&other); err != nil {
			return err
		}
		if other.Width != l.Width || other.Height != l.Height {
			return fmt.Errorf("%s has %d × %d px, %s has %d × %d px: only pictures of one size can be shown beside each other",
				s.Versions[0], l.Width, l.Height, s.Versions[1], other.Width, other.Height)
		}
	}
	n, err := readNight(t)
	if err != nil {
		return err
	}
	f, err := readFrame(t)
	if err != nil {
		return err
	}
	fine := n.fineOf(s, l, f)
	sc := n.sceneOf(s, l, f, fine)
	files, err := pageFiles(s, l, n, sc, fine)
	if err != nil {
		return err
	}
	t.Fact("names", float64(len(sc.Features)), "")
	return t.PutFolder("folder", func(add func(string, []byte) error) error {
		for _, f := range files {
			if err := add(f.name, f.b); err != nil {
				return err
			}
		}
		return nil
	})
}

type namedFile struct {
	name string
	b    []byte
}

// pageFiles makes all files but the tiles.
func pageFiles(s pageSettings, l layoutTable, n night, sc scene, fine *fineMap) ([]namedFile, error) {
	var out []namedFile
	index, err := indexPage(sc)
	if err != nil {
		return nil, err
	}
	report, err := reportPage(s, n, sc, fine)
	if err != nil {
		return nil, err
	}
	script, err := sc.script()
	if err != nil {
		return nil, err
	}
	id := "." // beside info.json, wherever the folder stands
	if s.URL != "" {
		id = s.URL + "/" + tilesFolder[:len(tilesFolder)-1]
	}
	info, err := l.layout().Info(id)
	if err != nil {
		return nil, err
	}
	out = append(out, namedFile{"index.html", index}, namedFile{"report.html", report}, namedFile{"scene.js", script}, namedFile{tilesFolder + "info.json", info})
	for _, name := range assetFiles {
		b, err := fs.ReadFile(assets, "assets/"+name)
		if err != nil {
			return nil, fmt.Errorf("read the page's own %s: %w", name, err)
		}
		out = append(out, namedFile{name, b})
	}
	return out, nil
}
