package main

import (
	"bytes"
	"fmt"
	"path"
	"path/filepath"
	"strconv"
	"strings"
	"text/template"

	"plenilune/steps/detail"
	"plenilune/steps/stacks"
)

// manifestText is a whole manifest: every setting that people change, with its
// default and what it means.
var manifestText = template.Must(template.New("manifest").Funcs(template.FuncMap{"quote": strconv.Quote}).Parse(`# A recipe: from raw clips to pictures. Run it with
#     plenilune run {{.Name}}
# Change anything and run again: only what the change touches is computed.

night {
  title = {{quote .Title}}

  # What you know of the optics makes scales exact. Without it they are measured
  # from the limb and the Moon's mean apparent diameter.
  # telescope {
  #   aperture_mm     = 150
  #   focal_length_mm = 1800
  #   obstruction     = 0.30
  # }
  # camera {
  #   pixel_um = 2.9
  # }
}

settings {
  # Share of each clip's frames that is used, the sharpest first.
  keep = {{.Keep}}
}
{{range .Masters}}
master {{quote .Name}} {
  kind  = {{quote .Kind}}
  files = [{{range $i, $f := .Files}}{{if $i}}, {{end}}{{quote $f}}{{end}}]
}
{{end}}
clips "disk" {
  files   = [{{range $i, $f := .Files}}{{if $i}}, {{end}}{{quote $f}}{{end}}]
{{- if .Except}}
  except  = [
{{- range .Except}}
    {{quote .Path}}, # {{.Why}}
{{- end}}
  ]
{{- end}}
{{- if .Masters}}
  masters = [{{range $i, $m := .Masters}}{{if $i}}, {{end}}master.{{$m.Name}}{{end}}]
{{- end}}
}

# One clean panel from the best frames of each clip.
stack "panels" {
  clips = clips.disk
  keep  = settings.keep
}

# The panels, in whatever order they came, joined.
mosaic "disk" {
  panels = stack.panels
}

# Detail by scale. boost raises a band, 1 leaves it; what is weaker than
# floor_sigma times the local noise fades out.
detail "crisp" {
  image = mosaic.disk
{{range .Bands}}
  band {{quote .Name}} {
    scale_px    = {{.ScalePx}}
    boost       = {{.Boost}}
    floor_sigma = {{.FloorSigma}}
  }
{{end -}}
}

# From linear light to a picture for the eye.
finish "print" {
  image = detail.crisp
}

publish "out" {
  picture {
    image = mosaic.disk # linear, not sharpened: for measuring and for other tools
    file  = "disk-linear.tif"
    depth = "float32"
  }
  picture {
    image = finish.print
    file  = "disk.tif"
    depth = "uint16"
  }
  picture {
    image = finish.print
    file  = "disk.png"
    depth = "uint16"
  }
  picture {
    image        = finish.print
    file         = "disk-small.jpg"
    long_edge_px = 2048
  }
}
`))

// manifestBand is a band of the recipe that new writes.
type manifestBand struct {
	Name                       string
	ScalePx, Boost, FloorSigma float64
}

// recipeBands is the recipe that detail uses without any band, written out so
// that there is something to change.
func recipeBands() []manifestBand {
	var out []manifestBand
	for _, b := range detail.Recipe() {
		out = append(out, manifestBand{b.Name, b.ScalePx, b.Boost, b.FloorSigma})
	}
	return out
}

type manifestMaster struct {
	Name, Kind string
	Files      []string
}

type manifestExcept struct{ Path, Why string }

// manifest writes the recipe for what was found, for a file in the folder base.
func (n *folderNight) manifest(name string) ([]byte, error) {
	base := filepath.Dir(name)
	data := struct {
		Name, Title string
		Keep        float64
		Masters     []manifestMaster
		Files       []string
		Except      []manifestExcept
		Bands       []manifestBand
	}{Name: filepath.Base(name), Title: n.title, Keep: stacks.DefaultKeep, Bands: recipeBands()}
	if data.Title == "" {
		data.Title = "A night of the Moon"
	}
	for _, m := range []struct {
		kind string
		dirs []string
	}{{"dark", n.darks}, {"flat", n.flats}} {
		if len(m.dirs) == 0 {
			continue
		}
		mm := manifestMaster{Name: m.kind, Kind: m.kind}
		for _, d := range m.dirs {
			rel, err := relative(base, d)
			if err != nil {
				return nil, err
			}
			mm.Files = append(mm.Files, path.Join(escapePattern(rel), "*"+n.ending(d)))
		}
		data.Masters = append(data.Masters, mm)
	}
	var err error
	if data.Files, err = n.patterns(base); err != nil {
		return nil, err
	}
	for _, l := range n.leftOut {
		if !isCapture(l.path) {
			continue // no pattern takes it
		}
		rel, err := relative(base, l.path)
		if err != nil {
			return nil, err
		}
		data.Except = append(data.Except, manifestExcept{escapePattern(rel), strings.Join(strings.Fields(l.why), " ")})
	}
	var b bytes.Buffer
	if err := manifestText.Execute(&b, data); err != nil {
		return nil, fmt.Errorf("write the manifest: %w", err)
	}
	return b.Bytes(), nil
}

// patterns covers every clip taken by one pattern a folder and ending.
func (n *folderNight) patterns(base string) ([]string, error) {
	var out []string
	seen := map[string]bool{}
	for _, c := range n.clips {
		rel, err := relative(base, filepath.Dir(c.path))
		if err != nil {
			return nil, err
		}
		p := path.Join(escapePattern(rel), "*"+filepath.Ext(c.path))
		if !seen[p] {
			seen[p] = true
			out = append(out, p)
		}
	}
	return out, nil
}

// ending is how the captures in a folder end, as they are written there.
func (n *folderNight) ending(dir string) string {
	found, err := filepath.Glob(filepath.Join(escapePattern(dir), "*.[sS][eE][rR]"))
	if err != nil || len(found) == 0 {
		return ".ser"
	}
	return filepath.Ext(found[0])
}

// escapePattern makes a name stand for itself in a file pattern.
func escapePattern(s string) string {
	return strings.NewReplacer(`[`, `[[]`, `*`, `[*]`, `?`, `[?]`).Replace(s)
}
