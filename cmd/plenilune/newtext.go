package main

import (
	"strings"
	"text/template"

	"plenilune/steps/detail"
)

// manifestText is a whole manifest: every setting that people change, with its
// default and what it means.
var manifestText = template.Must(template.New("manifest").Funcs(template.FuncMap{"quote": quoteText, "list": listText}).Parse(`# A recipe: from raw clips to pictures. Run it with
#     plenilune run {{.Name}}
# Change anything and run again: only what the change touches is computed.

night {
  title = {{quote .Title}}

{{.Night -}}
}

{{if .Panels -}}
# Panels that were stacked already: they stand for clips and stacks.
panels "old" {
  files{{if .Except}} {{end}} = {{list .Files}}
{{- template "except" .}}

  # encoding = "srgb" # how samples stand to light: "linear", "srgb", or "auto", as the files say
  # white    = 65535  # what a sample of white has in the files; left alone, as their kind has it
  # taken "PANEL" {   # where a file does not say when it was taken
  #   utc = "2024-03-19T20:04:00Z"
  # }
  # filter {
  #   wavelength_nm = 807
  # }
}
{{- else -}}
settings {
  # Share of each clip's frames that is used, the sharpest first: 0.01 to 1, or
  # "auto", which is half, and less of clips of more than 400 frames.
  keep = {{quote .Keep}}
}
{{if .Masters}}
# Averaged without outliers. Where there are masters of several exposures or gains,
# exposure_ms and gain in their blocks and in that of the clips say which fit; what is
# not stated fits anything.
{{- end}}
{{- range .Masters}}
master {{quote .Name}} {
  kind  = {{quote .Kind}}

{{- if .Files}}
  files{{if .Sequences}}    {{else if .Darks}}  {{end}} = {{list .Files}}
{{- end}}
{{- if .Sequences}}
  sequences = {{list .Sequences}}
{{- end}}
{{- if .Darks}}
  masters{{if .Sequences}}  {{end}} = [master.{{.Darks}}] # their own darks
{{- end}}
}
{{end}}
clips "disk" {

{{- if .Files}}
  files  {{if .Sequences}}  {{end}} = {{list .Files}}
{{- end}}
{{- if .Sequences}}
  sequences = {{list .Sequences}} # pictures: / at the end stands for all of a folder
  # encoding  = "srgb" # or "linear": how samples stand to light, where pictures say it wrongly or not
{{- end}}
{{- template "except" .}}
{{- if .Own}}
  masters{{if .Sequences}}  {{end}} = [{{range $i, $m := .Own}}{{if $i}}, {{end}}master.{{$m}}{{end}}]
{{- end}}
{{- if .ByClock}}

  # The clips say when they were taken by their camera's clock alone. How far that was
  # ahead of UTC, or "utc" if it went by UTC, makes these times count.
  # clock = "+02:00"
{{- end}}
{{- if .Timeless}}

  # taken "CLIP" { # the middle of a clip that does not say when it was taken
  #   utc = "2024-03-19T20:04:00Z"
  # }
{{- end}}

  # bayer = "ignore"      # a colour camera behind an infrared-pass filter
  # filter {
  #   wavelength_nm = 807
  # }
}

# One clean panel from the best frames of each clip.
stack "panels" {
  clips = clips.disk
  keep  = settings.keep
  # scale = 1.5 # pixels of the picture to one of the camera's, where these are coarse
}
{{- end}}

# The panels, in whatever order they came, joined.
mosaic "disk" {
  panels = {{if .Panels}}panels.old{{else}}stack.panels{{end}}

  # Panels left out, and where those lie that cannot be matched: the offset of the
  # panel's middle from the disk's, north up and east left in the picture.
  # except = ["CLIP"]
  # hint "CLIP" {
  #   east_arcmin  = 0
  #   north_arcmin = 0
  # }
}

# Detail. First the blur of the air is taken out, as it is seen at the lit limb,
# in as many steps as the noise bears; then detail is raised or lowered by its
# scale: boost raises a band, 1 leaves it, and what is weaker than floor_sigma
# times the local noise fades out. This is what detail does of its own accord.
detail "crisp" {
  image = mosaic.disk

  deconvolve {
    # iterations   = 10  # more bring out more, noise too
    # blur_fwhm_px = 2.5 # if you know the blur better than the limb tells it
  }
{{range .Bands}}
  band {{quote .Name}} {
    scale_px    = {{.ScalePx}}
    boost       = {{.Boost}}
    floor_sigma = {{.FloorSigma}}
  }
{{end -}}
}

# From linear light to a picture for the eye. Left alone, north is up where it is known
# how the Moon lies in the picture, and the picture is cut to the disk where all of it was
# shot.
finish "print" {
  image = detail.crisp

  # north        = "as_shot" # or "up" or "down"
  # crop         = "none"    # or "disk"
  # names        = true      # of craters and seas, where the clips say when they were taken
  # scale_bar    = true
  # colour_boost = 3         # raises the soils' colours; 1 leaves them
}

publish "out" {
  picture {
    image = mosaic.disk # linear, no detail brought out: for measuring and for other tools
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
    caption      = true # what, when and how, as a text beside it
    # max_bytes  = 500000
  }
  pages {
    image  = finish.print # to be looked at in a browser, with the night's report: open disk/index.html
    folder = "disk"
  }
{{- if not .Panels}}
  # panels { # each panel with all that is known of it: to begin with when the clips are gone
  #   stack  = stack.panels
  #   folder = "panels"
  # }
{{- end}}
}
{{define "except"}}
{{- if .Except}}
  except{{if not .Panels}} {{end}}{{if .Sequences}}  {{end}} = [
{{- range .Except}}
    {{quote .Path}}, # {{.Why}}
{{- end}}
  ]
{{- end}}
{{- end}}`))

// unknownNight is what the night block holds of what nobody has said.
const unknownNight = `  # plenilune survey, before the night, reads this block too: its --help says what
  # else may stand here.

  # Where you stood and how the telescope is held: with that and the clips' times
  # the panels are joined over the Moon's ball, which turns under you while you
  # shoot. It stays in this file: pictures' records hold how the Moon was turned
  # at each clip, from which no more than the region could be worked out.
  # mount = "altaz" # or "equatorial"
  # site {
  #   latitude_deg  = 0 # north
  #   longitude_deg = 0 # east
  #   elevation_m   = 0
  # }

  # What you know of the optics makes scales exact. Without it they are measured
  # from the limb and the Moon's apparent diameter at the clips' times.
  # telescope {
  #   aperture_mm     = 150
  #   focal_length_mm = 1800
  #   obstruction     = 0.30
  # }
  # camera {
  #   pixel_um = 2.9
  # }
`

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
	Sequences  []string
	Darks      string // name of the block of a flat's own darks
}

type manifestExcept struct{ Path, Why string }

// manifestData is what a manifest is written from.
type manifestData struct {
	Name, Title string
	Night       string // the rest of its block, in lines
	Keep        string
	Masters     []manifestMaster
	Own         []string // masters of the clips
	Files       []string
	Sequences   []string
	Except      []manifestExcept
	Bands       []manifestBand
	Panels      bool // instead of clips
	ByClock     bool // some clips tell the time by a clock of which nothing is known
	Timeless    bool // some tell none
}

// listText writes texts as a list, a line each when there are many.
func listText(texts []string) string {
	quoted := make([]string, len(texts))
	for i, t := range texts {
		quoted[i] = quoteText(t)
	}
	if len(quoted) <= 3 {
		return "[" + strings.Join(quoted, ", ") + "]"
	}
	return "[\n    " + strings.Join(quoted, ",\n    ") + ",\n  ]"
}
