package publish

import (
	"context"
	"fmt"
	"io"
	"strings"

	"plenilune/pipeline"
)

// captionSettings are what of the night stands in a caption: never the site.
type captionSettings struct {
	Title         string
	ApertureMM    float64
	FocalLengthMM float64
	Obstruction   float64
	PixelUM       float64
	LongEdgePx    int
	Panels        []string // content ids of the clips, in the order of the tables on the port panel
	Joined        bool     // a mosaic
	Detail        bool     // detail was brought out
	Finished      bool     // tone for the eye
}

// captionSource is what of the earlier parts' tables a caption is made from.
type captionSource struct {
	panels []panelRow
	scale  float64 // arcsec a pixel of the file; 0: unknown
	more   string  // how far the scale may be off, if it was estimated
	km     float64 // at the disk's middle, a pixel of the file
	north  string
}

// panelRow is one panel in the picture.
type panelRow struct {
	MidUnixNS   int64 `json:"mid_unix_ns"`
	FramesTotal int   `json:"frames_total"`
	FramesKept  int   `json:"frames_kept"`
}

// addCaption delivers a text beside a picture.
func addCaption(x *pipeline.Expansion, p Picture, it pipeline.Item, file string) error {
	n := x.Night()
	s := captionSettings{Title: n.Title, LongEdgePx: p.LongEdgePx, Finished: p.Image.Kind == "finish"}
	if n.Telescope != nil {
		s.ApertureMM, s.FocalLengthMM, s.Obstruction = n.Telescope.ApertureMM, n.Telescope.FocalLengthMM, n.Telescope.Obstruction
	}
	if n.Camera != nil {
		s.PixelUM = n.Camera.PixelUM
	}
	sharpened, err := x.Behind(it, p.Image, "image", "detail")
	if err != nil {
		return err
	}
	s.Detail = len(sharpened) > 0
	in := []pipeline.Input{{Port: "image", Value: it.Values["image"]}}
	for _, port := range []string{"layout", "placements"} {
		if v := it.Values[port]; !v.IsZero() {
			in = append(in, pipeline.Input{Port: port, Value: v})
			s.Joined = s.Joined || port == "placements"
		}
	}
	panels, err := x.Behind(it, p.Image, "panel", "stack", "panels")
	if err == nil {
		panels, err = x.Alive(panels)
	}
	if err != nil {
		return err
	}
	for _, panel := range panels {
		s.Panels = append(s.Panels, panel.ID.String())
		in = append(in, pipeline.Input{Port: "panel", Value: panel.Values["panel"]})
	}
	made := x.Add(pipeline.Part{
		Name: "caption", Label: file + ".txt", Item: it, Version: 2, Settings: s, In: in, Out: []string{"text"}, Memory: 4 << 20, Run: pipeline.Bind(runCaption),
	})
	x.Deliver(pipeline.Delivery{File: file + ".txt", Encoded: made.Out("text"), Version: 1})
	return nil
}

func runCaption(_ context.Context, s captionSettings, t *pipeline.Task) error {
	src, err := readCaptionSource(s, t)
	if err != nil {
		return err
	}
	return t.PutBytes("text", func(w io.Writer) error {
		_, err := io.WriteString(w, captionText(s, src))
		return err
	})
}

func readCaptionSource(s captionSettings, t *pipeline.Task) (c captionSource, err error) {
	img, err := t.One("image").Plane()
	if err != nil {
		return c, err
	}
	w, h, _ := img.Size()
	img.Close()
	smaller := 1.0
	if long := max(w, h); s.LongEdgePx > 0 && s.LongEdgePx < long {
		smaller = float64(long) / float64(s.LongEdgePx)
	}
	var p struct {
		Panels []struct {
			ID     string `json:"id"`
			Placed bool   `json:"placed"`
		} `json:"panels"`
		Scale float64 `json:"scale_arcsec_per_px"`
		Moon  string  `json:"scale_moon"`
	}
	var l struct {
		North string  `json:"north"`
		KM    float64 `json:"km_per_px"`
	}
	for port, into := range map[string]any{"placements": &p, "layout": &l} {
		if t.Has(port) {
			if err := t.One(port).Table(into); err != nil {
				return c, err
			}
		}
	}
	c.scale, c.km, c.north, c.more = p.Scale*smaller, l.KM*smaller, l.North, scaleMore[p.Moon]
	left := map[string]bool{}
	for _, row := range p.Panels {
		left[row.ID] = !row.Placed
	}
	for i, src := range t.In("panel") {
		var row panelRow
		if err := src.Table(&row); err != nil {
			return c, err
		}
		if i < len(s.Panels) && !left[s.Panels[i]] {
			c.panels = append(c.panels, row)
		}
	}
	return c, nil
}

// scaleMore tells how far a scale may be off that was estimated by the Moon's size in the sky: that of the clips' hour as the Earth's middle
// sees it, or the mean one.
var scaleMore = map[string]string{"hour": " (or up to 1.8 % more: no site is stated)", "mean": " (5 % less to 10 % more: neither site nor times are known)"}

// captionText is what, when, how: a paragraph each, ready to be shown with a picture.
func captionText(s captionSettings, c captionSource) string {
	var out []string
	for _, p := range []string{s.Title, when(c.panels), s.gear(), s.how(c)} {
		if p != "" {
			out = append(out, p)
		}
	}
	return strings.Join(out, "\n\n") + "\n"
}

// gear is what it was taken with, as far as that is stated.
func (s captionSettings) gear() string {
	var parts []string
	if s.ApertureMM > 0 {
		tel := fmt.Sprintf("a telescope of %g mm aperture", s.ApertureMM)
		if s.FocalLengthMM > 0 {
			tel += fmt.Sprintf(" at %g mm (f/%.3g)", s.FocalLengthMM, s.FocalLengthMM/s.ApertureMM)
		}
		if s.Obstruction > 0 {
			tel += fmt.Sprintf(", obstructed by %.0f %% of the diameter", 100*s.Obstruction)
		}
		parts = append(parts, tel)
	} else if s.FocalLengthMM > 0 {
		parts = append(parts, fmt.Sprintf("a telescope of %g mm focal length", s.FocalLengthMM))
	}
	if s.PixelUM > 0 {
		parts = append(parts, fmt.Sprintf("a camera with pixels of %g µm", s.PixelUM))
	}
	if len(parts) == 0 {
		return ""
	}
	return "Taken with " + strings.Join(parts, ", ") + "."
}

// how is what was done to the clips, and the scale that came of it.
func (s captionSettings) how(c captionSource) string {
	kept, total := 0, 0
	for _, p := range c.panels {
		kept, total = kept+p.FramesKept, total+p.FramesTotal
	}
	var b strings.Builder
	switch {
	case total == 0 && s.Joined && len(c.panels) > 1:
		fmt.Fprintf(&b, "%d panels, each stacked already; joined and evened in brightness", len(c.panels))
	case total == 0:
		b.WriteString("One panel, stacked already")
	case s.Joined && len(c.panels) > 1:
		fmt.Fprintf(&b, "%d panels, of each the sharpest frames (%s of %s in all) aligned piece by piece and averaged; the panels joined and evened in brightness",
			len(c.panels), thousands(kept), thousands(total))
	default:
		fmt.Fprintf(&b, "One panel, its sharpest frames (%s of %s) aligned piece by piece and averaged", thousands(kept), thousands(total))
	}
	if s.Detail {
		b.WriteString("; detail brought out")
	}
	if s.Finished {
		b.WriteString("; tone for the eye")
	}
	b.WriteString(". Made with plenilune.")
	if c.scale > 0 {
		fmt.Fprintf(&b, " Scale %.3g″/px%s", c.scale, c.more)
		if c.km > 0 {
			fmt.Fprintf(&b, ", %.3g km/px at the middle of the disk", c.km)
		}
		b.WriteString(".")
	}
	if c.north == "up" || c.north == "down" {
		fmt.Fprintf(&b, " North is %s.", c.north)
	}
	return b.String()
}

// thousands sets digits apart by threes.
func thousands(n int) string {
	s := fmt.Sprint(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}
