// Package finish turns linear light into a picture for the eye: black sky,
// neutral white, and a tone curve that keeps both limb and terminator.
package finish

import (
	"context"

	"plenilune/pipeline"
)

// Settings is a finish block of the manifest.
type Settings struct {
	Image pipeline.Ref `hcl:"image" refs:"detail mosaic stack panels"`
	// ShadowLift raises the dark end: the curve is 1 + ShadowLift times as steep at
	// black as a straight line. 0 keeps brightness proportional to light.
	ShadowLift float64 `hcl:"shadow_lift,optional" min:"0" max:"20"`
	// WhitePct is the share of the picture, in per cent, that may not be brighter
	// than white; at 100 nothing is clipped.
	WhitePct float64 `hcl:"white_pct,optional" min:"50" max:"100"`
	// ColourBoost multiplies how far colours lie from grey; 1 leaves them, 0 takes them away.
	ColourBoost float64 `hcl:"colour_boost,optional" min:"0" max:"30"`
	// North is where the Moon's north is to be: up or down, a mirrored picture put right, or as it was shot and mirrored if it was.
	// auto is up where it is known how the Moon lies in the picture, and as shot where not.
	North string `hcl:"north,optional" oneof:"auto up down as_shot"`
	// Crop cuts the picture to a square about the disk: auto where a whole disk was shot.
	Crop string `hcl:"crop,optional" oneof:"auto disk none"`
	// Region cuts to a part of the picture instead.
	Region *Region `hcl:"region,block"`
	// MarginPct is how much sky is left on each side of the disk by that, in per cent of its diameter.
	MarginPct float64 `hcl:"margin_pct,optional" min:"0" max:"100"`
	// Names writes the names of features, NamesMost at the most or, 0, as many as suit, and none of features smaller than NamesSmallestKM.
	Names           bool    `hcl:"names,optional"`
	NamesMost       int     `hcl:"names_most,optional" min:"0" max:"5000"`
	NamesSmallestKM float64 `hcl:"names_smallest_km,optional" min:"0" max:"3000"`
	// Letters is the size of letters against what suits the picture: larger ones stay legible where it is made smaller.
	Letters float64 `hcl:"letters,optional" min:"0.3" max:"10"`
	// ScaleBar draws how long some kilometres are at the disk's middle.
	ScaleBar bool `hcl:"scale_bar,optional"`
}

// Region is a part of the finished picture as it is turned: in arcminutes from the disk's middle to its own, or in pixels from the
// upper left corner of the whole picture to its own.
type Region struct {
	RightArcmin  float64 `hcl:"right_arcmin,optional" min:"-60" max:"60"`
	UpArcmin     float64 `hcl:"up_arcmin,optional" min:"-60" max:"60"`
	WidthArcmin  float64 `hcl:"width_arcmin,optional" min:"0.01" max:"120"`
	HeightArcmin float64 `hcl:"height_arcmin,optional" min:"0.01" max:"120"`
	LeftPx       int     `hcl:"left_px,optional" min:"-100000" max:"100000"`
	TopPx        int     `hcl:"top_px,optional" min:"-100000" max:"100000"`
	WidthPx      int     `hcl:"width_px,optional" min:"1" max:"100000"`
	HeightPx     int     `hcl:"height_px,optional" min:"1" max:"100000"`
}

func check(settings any, _ pipeline.Night) []pipeline.Problem {
	r := settings.(*Settings).Region
	if r == nil {
		return nil
	}
	arcmin, px := r.WidthArcmin > 0 || r.HeightArcmin > 0, r.WidthPx > 0 || r.HeightPx > 0
	if arcmin == px || arcmin && (r.WidthArcmin == 0 || r.HeightArcmin == 0) || px && (r.WidthPx == 0 || r.HeightPx == 0) {
		return []pipeline.Problem{{Path: "region", Text: "a region has a width and a height, both in arcminutes or both in pixels",
			Hint: "for instance width_arcmin = 8 and height_arcmin = 6"}}
	}
	return nil
}

// Step serves finish blocks.
func Step() pipeline.Step {
	return pipeline.Step{
		Name:  "finish",
		Block: "finish",
		New: func() any {
			return &Settings{ShadowLift: 0.2, WhitePct: 100, ColourBoost: 1, North: auto, Crop: auto, MarginPct: 4, Letters: 1}
		},
		Check:  check,
		Expand: expand,
	}
}

// levelsTable is what the picture's brightness spans, a value a channel.
type levelsTable struct {
	Black []float64 `json:"black"` // becomes black: the sky, where there is some
	Gain  []float64 `json:"gain"`  // makes the Moon neutral on the mean
	White float64   `json:"white"` // becomes white, after black and gain
	Large float64   `json:"large"` // the brightest ground at large, likewise; at most White
}

type levelsSettings struct{ WhitePct float64 }

func expand(x *pipeline.Expansion) error {
	set := x.Settings().(*Settings)
	items, err := x.Upstream(set.Image)
	if err != nil {
		return err
	}
	for _, it := range items {
		image := pipeline.Input{Port: "image", Value: it.Values["image"]}
		levels := x.Add(pipeline.Part{
			Name: "levels", Item: it, Version: 5, Settings: levelsSettings{set.WhitePct}, In: []pipeline.Input{image},
			Out: []string{"levels", "light"}, Memory: 96 << 20, Run: pipeline.Bind(runLevels),
		})
		part, err := layoutPart(x, it, set, levels.Out("light"))
		if err != nil {
			return err
		}
		layout := x.Add(part).Out("layout")
		in := []pipeline.Input{image, {Port: "layout", Value: layout}, {Port: "levels", Value: levels.Out("levels")}}
		if v := it.Values["beyond"]; !v.IsZero() {
			in = append(in, pipeline.Input{Port: "beyond", Value: v})
		}
		tone := x.Add(pipeline.Part{
			Name: "tone", Item: it, Version: 4, Settings: toneSettings{set.ShadowLift, set.ColourBoost}, In: in,
			Out: []string{"image"}, Memory: 128 << 20, Run: pipeline.Bind(runTone),
		})
		x.Emit(it.With("image", tone.Out("image")).With("layout", layout))
	}
	return nil
}

// layoutPart lays a picture out by what is known of it; the times of its panels tell how the Moon stood, and how far away.
func layoutPart(x *pipeline.Expansion, it pipeline.Item, set *Settings, light pipeline.Value) (pipeline.Part, error) {
	s := layoutSettings{North: set.North, Crop: set.Crop, MarginPct: set.MarginPct, ScaleBar: set.ScaleBar}
	if set.Names || set.ScaleBar {
		s.Letters = set.Letters
	}
	if set.Region != nil {
		s.Region = *set.Region
	}
	in := []pipeline.Input{{Port: "light", Value: light}}
	for _, port := range []string{"orientation", "placements"} {
		if v := it.Values[port]; !v.IsZero() {
			in = append(in, pipeline.Input{Port: port, Value: v})
		}
	}
	if set.Names {
		s.Names, s.NamesMost, s.SmallestKM = true, set.NamesMost, set.NamesSmallestKM
	}
	panels, err := x.Behind(it, set.Image, "panel", "stack", "panels")
	if err == nil {
		panels, err = x.Alive(panels)
	}
	if err != nil {
		return pipeline.Part{}, err
	}
	for _, p := range panels {
		s.Panels = append(s.Panels, p.ID.String())
		in = append(in, pipeline.Input{Port: "panel", Value: p.Values["panel"]})
	}
	return pipeline.Part{
		Name: "layout", Item: it, Version: 3, Settings: s, In: in, Out: []string{"layout"}, Memory: 16 << 20, Run: pipeline.Bind(runLayout),
	}, nil
}

func runLevels(ctx context.Context, s levelsSettings, t *pipeline.Task) error {
	src, err := t.One("image").Plane()
	if err != nil {
		return err
	}
	defer src.Close()
	v, err := surveyOf(ctx, t, src)
	if err != nil {
		return err
	}
	l, err := v.measure(s.WhitePct)
	if err != nil {
		return err
	}
	t.Fact("white", l.White, "of white")
	t.Fact("brightest_ground_at_large", l.Large, "of white")
	t.Fact("sky", l.Black[0], "of white")
	if err := t.PutTable("light", v.light(l)); err != nil {
		return err
	}
	return t.PutTable("levels", l)
}
