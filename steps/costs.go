package steps

import (
	"path"
	"strings"

	"plenilune/pipeline"
	"plenilune/steps/captures"
	"plenilune/steps/detail"
	"plenilune/steps/frames"
	"plenilune/steps/publish"
	"plenilune/steps/stacks"
)

// Costs is what parts are expected to take before any of them ran here: a guess
// that a forecast needs, and nothing else depends on. The figures are those of
// simulated nights of 0.08 to 0.3 megapixels a frame, one worker on one core of
// a server's processor; what runs take on the user's machine corrects them.
type Costs struct{}

// cost is the law of one kind of part: all figures for one channel.
type cost struct {
	perPx      float64 // microseconds a pixel of each clip
	perFrame   float64 // milliseconds a frame of each clip
	perFramePx float64 // microseconds a pixel of each frame of each clip
	perPair    float64 // milliseconds a pair of clips
	colour     float64 // how much longer it takes in colour; 0 is no longer
	parallel   float64 // share that idle workers take over

	bytesPx      float64 // kept, a pixel of each clip and channel
	bytesFieldPx float64 // kept, a pixel of each clip, whatever its channels
	bytesFramePx float64 // kept, a pixel of each frame of each clip
	laid         bool    // the clip's frames are kept as they are laid out
	filePx       float64 // delivered, a pixel of each clip and channel
}

// partSeconds is what any part takes, however small: its values go to the disk.
const partSeconds = 3e-3

// fieldFrames is of how many frames, at most, one part of a stack finds the fields.
const fieldFrames = stacks.BlockFrames

var costs = map[string]cost{
	"captures/index": {perPx: 0.03},
	// Measured on 400 frames of 640×480 px, as PNG and as FFV1.
	"captures/picture":    {},
	"captures/lay":        {perFramePx: 0.03, laid: true},
	"captures/film":       {},
	"captures/lay-film":   {perFramePx: 0.04, laid: true},
	"captures/index-laid": {perPx: 0.03},
	"captures/light":      {},
	"frames/mean":         {perFramePx: 0.02, bytesPx: 2.5},
	"frames/flat":         {perPx: 0.15, bytesPx: 2.4},
	"frames/grade":        {perFrame: 5, perFramePx: 0.022, bytesFramePx: 0.012},

	"stacks/reference": {perPx: 1.45, colour: 2.5, bytesPx: 2.75},
	"stacks/even":      {perPx: 0.96, bytesFieldPx: 0.61},
	"stacks/ranks":     {perPx: 0.48, bytesFieldPx: 0.61},
	"stacks/mean":      {perFramePx: 0.016, perPx: 0.4, colour: 2, bytesPx: 4.6, bytesFieldPx: 1},

	"stacks/resolution": {}, // two numbers

	"panels/head":    {},
	"panels/light":   {},
	"panels/read":    {perPx: 0.1, bytesPx: 4.6, bytesFieldPx: 1},
	"panels/picture": {perPx: 0.1, bytesPx: 4.6, bytesFieldPx: 1},

	"mosaic/resize":    {perPx: 0.4, parallel: 0.5, bytesPx: 9},
	"mosaic/look":      {perPx: 0.95, parallel: 0.5, bytesFieldPx: 4.6},
	"mosaic/links":     {perPx: 0.2, perPair: 1, parallel: 0.9, bytesFieldPx: 0.1},
	"mosaic/place":     {perPx: 1.2, parallel: 0.9, bytesFieldPx: 0.1},
	"mosaic/light":     {},
	"mosaic/spectra":   {},
	"mosaic/outlines":  {},
	"mosaic/finest":    {perPx: 0.05, parallel: 0.5},
	"mosaic/levels":    {perPx: 0.06, colour: 2, parallel: 0.9},
	"mosaic/orient":    {perPx: 0.02},
	"mosaic/sharpness": {perPx: 0.045, parallel: 0.5},
	"mosaic/join":      {perPx: 0.4, colour: 2.6, parallel: 0.9, bytesPx: 3.4, bytesFieldPx: 0.3},

	"detail/blur":       {perPx: 0.09, parallel: 0.5},
	"detail/deconvolve": {perPx: 0.75, parallel: 0.7, bytesPx: 1.85},
	"detail/decompose":  {perPx: 0.32, parallel: 0.5, bytesFieldPx: 9.7},
	"detail/recombine":  {perPx: 0.23, colour: 1.5, parallel: 0.5, bytesPx: 1.85},
	"finish/levels":     {perPx: 0.03, colour: 3, parallel: 0.8},
	"finish/layout":     {},
	"finish/tone":       {perPx: 0.05, colour: 4, parallel: 0.9, bytesPx: 1.15},

	"publish/tiles": {perPx: 0.03, colour: 2.5, parallel: 0.7, bytesPx: 0.2, filePx: 0.2},
	"publish/pages": {perPx: 0.002, bytesFieldPx: 0.05},
	"publish/crop":  {perPx: 0.1, colour: 1.5},
	"publish/sheet": {perPx: 0.02},

	"publish/caption.txt": {},
	"publish/panel.fits":  {perPx: 0.1, bytesPx: 8, bytesFieldPx: 12, filePx: 12},
	"publish/encode.fits": {perPx: 0.06, colour: 3, bytesPx: 4, filePx: 4.2},
	"publish/encode.tif":  {perPx: 0.03, colour: 3, bytesPx: 2, filePx: 2.2},
	"publish/encode.png":  {perPx: 0.06, colour: 3, bytesPx: 0.62, filePx: 0.64},
	"publish/encode.jpg":  {perPx: 0.025, colour: 3, bytesPx: 0.04, filePx: 0.045},
}

// alike are endings of files that cost the same.
var alike = map[string]string{".tiff": ".tif", ".jpeg": ".jpg", ".fit": ".fits"}

// Size reads a clip's size off what its index states.
func (Costs) Size(facts []pipeline.Fact) (pipeline.Size, bool) {
	s := pipeline.Size{Channels: 3}
	w, h := 0.0, 0.0
	for _, f := range facts {
		switch f.Name {
		case "frames":
			s.Frames = f.Value
		case "width":
			w = f.Value
		case "height":
			h = f.Value
		case "pattern":
			if f.Text == "mono" {
				s.Channels = 1
			}
		case captures.LaidFact:
			s.Laid = f.Value
		}
	}
	s.Pixels = w * h
	return s, s.Pixels > 0 && s.Frames > 0
}

// Cost returns what a part is expected to take. A kind that has no figures gets
// those of a pass over the pictures.
func (Costs) Cost(kind string, of []pipeline.Size) pipeline.Cost {
	c, ok := lookUp(kind)
	if !ok {
		c = cost{perPx: 0.5, colour: 2, parallel: 0.5, bytesPx: 1}
	}
	out := pipeline.Cost{Parallel: c.parallel}
	for _, s := range of {
		if drawn(kind) {
			s.Pixels *= float64(s.Fine * s.Fine)
		}
		slower := 1.0
		if s.Channels > 1 && c.colour > 0 {
			slower = c.colour
		}
		out.Seconds += float64((c.perPx+float64(c.perFramePx*s.Frames))*s.Pixels*slower*1e-6) + float64(c.perFrame*s.Frames*1e-3)
		out.Cache += float64((float64(c.bytesPx*s.Channels) + c.bytesFieldPx + float64(c.bytesFramePx*s.Frames)) * s.Pixels)
		if c.laid {
			out.Cache += float64(s.Laid * s.Frames)
		}
		out.File += float64(c.filePx * s.Channels * s.Pixels)
	}
	n := float64(len(of))
	out.Seconds += partSeconds + float64(c.perPair*n*n*1e-3)
	return out
}

// drawn tells whether a kind of part works on pixels of pictures, not of frames.
func drawn(kind string) bool {
	step, _ := path.Split(kind)
	return step != "captures/" && step != "frames/" && step != "stacks/" || kind == "stacks/mean"
}

// Fine tells how many pixels a block's pictures have, along a side, to one of a frame.
func (c Costs) Fine(m *pipeline.Manifest, b *pipeline.Block) float64 {
	if b == nil {
		return 1
	}
	if s, ok := settingsOf[stacks.Settings](b); ok {
		return s.Scale
	}
	fine := 1.0
	for _, r := range b.Refs {
		fine = max(fine, c.Fine(m, m.Block(r)))
	}
	return fine
}

// ranksOf counts the blocks of a clip's kept frames that are not in its sample.
func ranksOf(keep string) func(pipeline.Size) int {
	return func(s pipeline.Size) int {
		n := int(s.Frames)
		sample := float64(stacks.SampleSize(n)) / max(s.Frames, 1)
		return blocks(float64(float64(stacks.Kept(n, keep)) * (1 - sample)))
	}
}

// Guess lists what a block will be cut into: the expansions of the steps, as far
// as they can be told without what earlier parts find.
func (Costs) Guess(m *pipeline.Manifest, b *pipeline.Block, clips []pipeline.Size) []pipeline.Guess {
	var out []pipeline.Guess
	each := func(kind string, count func(pipeline.Size) int) {
		for _, s := range clips {
			for range count(s) {
				out = append(out, pipeline.Guess{Kind: kind, Of: []pipeline.Size{s}})
			}
		}
	}
	one := func(pipeline.Size) int { return 1 }
	of := clips // what a picture is made of
	picture := func(joined bool, kinds ...string) {
		for _, k := range kinds {
			if joined {
				out = append(out, pipeline.Guess{Kind: k, Of: of})
			} else {
				each(k, one)
			}
		}
	}
	switch b.Kind {
	case "master":
		each("captures/index", one)
		if len(clips) > 0 {
			out = append(out, pipeline.Guess{Kind: "frames/mean", Of: clips[:1]})
		}
	case "clips":
		picture(false, clipKinds(b)...)
		if len(clips) > 0 && hasFlat(m, b) {
			out = append(out, pipeline.Guess{Kind: "frames/flat", Of: clips[:1]})
		}
	case "stack":
		each("stacks/reference", one)
		each("stacks/even", func(s pipeline.Size) int { return blocks(float64(stacks.SampleSize(int(s.Frames)))) })
		each("stacks/ranks", ranksOf(stackKeep(b)))
		each("stacks/mean", one)
		if m.Night.ScaleArcsecPerPx() > 0 {
			each("stacks/resolution", one)
		}
	case "panels":
		picture(false, "panels/head", "panels/read")
	case "mosaic":
		each("mosaic/look", one)
		picture(true, "mosaic/links", "mosaic/place", "mosaic/levels", "mosaic/sharpness", "mosaic/join", "mosaic/orient", "mosaic/spectra")
		if hasPages(m) {
			picture(true, "mosaic/outlines", "mosaic/finest")
		}
	case "detail":
		picture(joined(m, b.Refs), detailKinds(b)...)
	case "finish":
		picture(joined(m, b.Refs), "finish/levels", "finish/layout", "finish/tone")
	case "publish":
		out = append(out, files(m, b, clips)...)
	case "teststrip":
		picture(true, "publish/crop", "publish/sheet")
	}
	return out
}

func blocks(frames float64) int { return int(frames+fieldFrames-1) / fieldFrames }

// settingsOf finds a block's settings of a type.
func settingsOf[S any](b *pipeline.Block) (*S, bool) {
	for _, s := range b.Steps {
		if set, ok := s.Settings.(*S); ok {
			return set, true
		}
	}
	return nil, false
}

// hasPages tells whether a manifest asks for pages, which alone ask for some parts.
func hasPages(m *pipeline.Manifest) bool {
	for _, b := range m.Blocks {
		if s, ok := settingsOf[publish.Settings](b); ok && len(s.Pages) > 0 {
			return true
		}
	}
	return false
}

func clipKinds(b *pipeline.Block) []string {
	out := []string{"captures/index", "frames/grade"}
	if s, ok := settingsOf[captures.ClipSettings](b); ok && s.Filter != nil {
		out = append(out, "captures/light")
	}
	return out
}

// hasFlat tells whether one of a block's masters is of flat frames.
func hasFlat(m *pipeline.Manifest, b *pipeline.Block) bool {
	for _, r := range b.Refs {
		up := m.Block(r)
		if up == nil {
			continue
		}
		s, ok := settingsOf[frames.MasterSettings](up)
		if !ok {
			continue
		}
		if kind, err := frames.KindOf(s.Kind, r.Name); err == nil && kind == "flat" {
			return true
		}
	}
	return false
}

func stackKeep(b *pipeline.Block) string {
	if s, ok := settingsOf[stacks.Settings](b); ok {
		return s.Keep
	}
	return stacks.DefaultKeep
}

func detailKinds(b *pipeline.Block) []string {
	var out []string
	s, ok := settingsOf[detail.Settings](b)
	all := !ok || s.Deconvolve == nil && len(s.Bands) == 0
	if all || s.Deconvolve != nil {
		out = append(out, "detail/blur", "detail/deconvolve")
	}
	if all || len(s.Bands) > 0 {
		out = append(out, "detail/decompose", "detail/recombine")
	}
	return out
}

// joined tells whether a picture is made of all clips together.
func joined(m *pipeline.Manifest, refs []pipeline.Ref) bool {
	for _, r := range refs {
		if r.Kind == "mosaic" {
			return true
		}
		if up := m.Block(r); up != nil && r.Kind != "stack" && r.Kind != "panels" && joined(m, up.Refs) {
			return true
		}
	}
	return false
}

func files(m *pipeline.Manifest, b *pipeline.Block, clips []pipeline.Size) []pipeline.Guess {
	var out []pipeline.Guess
	s, ok := settingsOf[publish.Settings](b)
	if !ok {
		return nil
	}
	for _, p := range s.Pictures {
		kind := "publish/encode" + path.Ext(p.File)
		if p.Caption {
			out = append(out, pipeline.Guess{Kind: "publish/caption.txt", File: p.File + ".txt", Of: clips[:min(1, len(clips))]})
		}
		if joined(m, []pipeline.Ref{p.Image}) {
			out = append(out, pipeline.Guess{Kind: kind, File: p.File, Of: clips})
			continue
		}
		for _, c := range clips {
			out = append(out, pipeline.Guess{Kind: kind, File: p.File + " of " + c.ID.Short(), Of: []pipeline.Size{c}})
		}
	}
	for _, p := range s.Panels {
		for _, c := range clips {
			out = append(out, pipeline.Guess{Kind: "publish/panel.fits", File: p.Folder + " of " + c.ID.Short(), Of: []pipeline.Size{c}})
		}
	}
	for _, p := range s.Pages {
		if joined(m, []pipeline.Ref{p.Image}) {
			out = append(out, pipeline.Guess{Kind: "publish/tiles", File: p.Folder, Of: clips}, pipeline.Guess{Kind: "publish/pages", Of: clips})
			if p.Beside.Name != "" {
				out = append(out, pipeline.Guess{Kind: "publish/tiles", File: p.Folder, Of: clips})
			}
			continue
		}
		for _, c := range clips {
			out = append(out, pipeline.Guess{Kind: "publish/tiles", File: p.Folder + " of " + c.ID.Short(), Of: []pipeline.Size{c}},
				pipeline.Guess{Kind: "publish/pages", Of: []pipeline.Size{c}})
		}
	}
	return out
}

// Knows tells whether there are figures for a kind of part.
func (Costs) Knows(kind string) bool {
	_, ok := lookUp(kind)
	return ok
}

func lookUp(kind string) (cost, bool) {
	kind = strings.TrimSuffix(kind, "-again") // what is done once more costs as much
	ext := strings.ToLower(path.Ext(kind))
	if same, ok := alike[ext]; ok {
		ext = same
	}
	c, ok := costs[strings.TrimSuffix(kind, path.Ext(kind))+ext]
	return c, ok
}
