package main

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"plenilune/pipeline"
)

// isPicture tells a picture that may be a panel by its name's ending.
func isPicture(name string) bool {
	switch strings.ToLower(filepath.Ext(name)) {
	case ".fits", ".fit", ".fts", ".tif", ".tiff", ".png":
		return true
	}
	return false
}

// surveyPanels finds the panels in a folder, and in the folders inside it, that were stacked already: those with all their
// planes if there are any, else every picture.
func surveyPanels(dir string) (*folderNight, error) {
	n := &folderNight{dir: dir, panels: true, byFolder: siblings{}}
	own := false
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case path != dir && isHidden(e.Name()):
			n.hidden++
			return skipIf(e)
		case e.IsDir():
			if path != dir && isOutput(path) {
				n.leftOut = append(n.leftOut, leftOut{path, "pictures of an earlier run", ""})
				return fs.SkipDir
			}
			return nil
		case !isPicture(path):
			n.leftOut = append(n.leftOut, leftOut{path, "no panel: neither .fits, .tif nor .png", ""})
			return nil
		}
		n.byFolder.add(path)
		p, err := probePanel(path)
		if err != nil {
			n.leftOut = append(n.leftOut, leftOut{path, bare(err), ""})
			return nil
		}
		own = own || p.Own
		c := foundClip{path: path, kind: fmt.Sprintf("%s, %d×%d px, %s", p.Kind, p.Width, p.Height, map[bool]string{true: "mono", false: "colour"}[p.Channels == 1]),
			frames: 1, declared: 1, start: p.TakenUnixNS, panel: p.Own}
		if st, err := os.Stat(path); err == nil {
			c.bytes = st.Size()
		}
		n.clips = append(n.clips, c)
		return nil
	})
	if err != nil {
		return n, requestf("look into the folder of panels: %v", err)
	}
	if own {
		n.clips = slices.DeleteFunc(n.clips, func(c foundClip) bool {
			if !c.panel {
				n.leftOut = append(n.leftOut, leftOut{c.path, "a picture beside panels with all their planes", "name it in files of a panels block of its own, and that in the mosaic's panels"})
			}
			return !c.panel
		})
	}
	if len(n.clips) == 0 {
		return n, requestf("there is no panel in %s; plenilune reads panels from .fits, .tif and .png files", shown(dir))
	}
	return n, nil
}

func skipIf(e fs.DirEntry) error {
	if e.IsDir() {
		return fs.SkipDir
	}
	return nil
}

// holdsPanels tells whether a folder holds panels that this program wrote, or single pictures and nothing that is a clip, nor
// so many pictures of numbered names that they may be one.
func holdsPanels(dir string) bool {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return false
	}
	var pictures []string
	sizes := map[[2]int]bool{}
	for _, e := range entries {
		path := filepath.Join(dir, e.Name())
		switch {
		case isHidden(e.Name()):
		case isPicture(path):
			p, err := probePanel(path)
			if err == nil && p.Own {
				return true
			}
			if err != nil && isCapture(path) {
				return false
			}
			if err == nil {
				sizes[[2]int{p.Width, p.Height}] = true
			}
			pictures = append(pictures, path)
		case e.IsDir() || isCapture(path):
			return false
		}
	}
	if most, _ := mostNumbered(pictures); most >= fewestPictures && len(sizes) < 2 {
		return false // frames as likely as panels
	}
	return len(pictures) > 0 && !slices.ContainsFunc(pipeline.SequencesOf(pictures, false), func(q pipeline.Sequence) bool {
		return len(q.Pictures) >= fewestPictures
	})
}
