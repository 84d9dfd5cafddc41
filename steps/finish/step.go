// Package finish turns linear light into a picture for the eye: black sky,
// neutral white, and a tone curve that keeps both limb and terminator.
package finish

import (
	"context"
	"fmt"
	"image"

	"plenilune/pipeline"
	"plenilune/steps/kernel/plane"
)

// Settings is a finish block of the manifest.
type Settings struct {
	Image pipeline.Ref `hcl:"image" refs:"detail mosaic stack"`
	// ShadowLift raises the dark end: the curve is 1 + ShadowLift times as steep at
	// black as a straight line. 0 keeps brightness proportional to light.
	ShadowLift float64 `hcl:"shadow_lift,optional" min:"0" max:"20"`
	// WhitePct is the share of the picture, in per cent, that may not be brighter
	// than white; at 100 nothing is clipped.
	WhitePct float64 `hcl:"white_pct,optional" min:"50" max:"100"`
}

// Step serves finish blocks.
func Step() pipeline.Step {
	return pipeline.Step{
		Name:   "finish",
		Block:  "finish",
		New:    func() any { return &Settings{ShadowLift: 0.2, WhitePct: 100} },
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

type toneSettings struct{ ShadowLift float64 }

func expand(x *pipeline.Expansion) error {
	set := x.Settings().(*Settings)
	items, err := x.Upstream(set.Image)
	if err != nil {
		return err
	}
	for _, it := range items {
		in := []pipeline.Input{{Port: "image", Value: it.Values["image"]}}
		levels := x.Add(pipeline.Part{
			Name: "levels", Item: it, Version: 4, Settings: levelsSettings{set.WhitePct}, In: in,
			Out: []string{"levels"}, Memory: 512 << 20, Run: pipeline.Bind(runLevels),
		})
		in = append(in, pipeline.Input{Port: "levels", Value: levels.Out("levels")})
		tone := x.Add(pipeline.Part{
			Name: "tone", Item: it, Version: 3, Settings: toneSettings{set.ShadowLift}, In: in,
			Out: []string{"image"}, Memory: 64 << 20, Run: pipeline.Bind(runTone),
		})
		x.Emit(it.With("image", tone.Out("image")))
	}
	return nil
}

func runLevels(ctx context.Context, s levelsSettings, t *pipeline.Task) error {
	m, err := read(ctx, t)
	if err != nil {
		return err
	}
	l, err := measure(m, s.WhitePct)
	if err != nil {
		return err
	}
	t.Fact("white", l.White, "of white")
	t.Fact("brightest_ground_at_large", l.Large, "of white")
	t.Fact("sky", l.Black[0], "of white")
	return t.PutTable("levels", l)
}

// readRows is how many rows are read at once: as many as a stored tile has.
const readRows = 256

// read reads the image whole, several stretches of rows at a time.
func read(ctx context.Context, t *pipeline.Task) (*plane.Image, error) {
	src, err := t.One("image").Plane()
	if err != nil {
		return nil, err
	}
	defer src.Close()
	w, h, c := src.Size()
	m := plane.New(w, h, c)
	err = t.Each(ctx, (h+readRows-1)/readRows, func(k int) error {
		r := image.Rect(0, k*readRows, w, min((k+1)*readRows, h))
		for k, p := range m.Pix {
			if err := src.ReadRect(k, r, p[r.Min.Y*w:r.Max.Y*w]); err != nil {
				return err
			}
		}
		return nil
	})
	return m, err
}

func runTone(ctx context.Context, s toneSettings, t *pipeline.Task) error {
	var l levelsTable
	if err := t.One("levels").Table(&l); err != nil {
		return err
	}
	src, err := t.One("image").Plane()
	if err != nil {
		return err
	}
	defer src.Close()
	w, h, c := src.Size()
	if len(l.Black) != c || len(l.Gain) != c {
		return fmt.Errorf("levels of %d channels for a picture of %d", len(l.Black), c)
	}
	curve := newCurve(s.ShadowLift, l.White/l.Large).table()
	return t.WritePlane(ctx, "image", w, h, c, func(r image.Rectangle, dst [][]float32) error {
		for k, d := range dst {
			if err := src.ReadRect(k, r, d); err != nil {
				return err
			}
			for i, v := range d {
				if v == v {
					d[i] = curve.at(float64((float64(v)-l.Black[k])*l.Gain[k]) / l.Large)
				}
			}
		}
		return nil
	})
}
