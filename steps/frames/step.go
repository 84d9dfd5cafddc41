// Package frames takes the camera's marks out of the frames of a clip, judges
// how sharp each is, and follows the Moon through them.
package frames

import (
	"errors"

	"plenilune/pipeline"
)

// MasterSettings is what this stage reads of a master block.
type MasterSettings struct {
	// Kind is what the frames are of; by default what the block's name begins with.
	Kind string `hcl:"kind,optional" oneof:"dark flat"`
	// Masters, of flats, are darks of the flats' own exposure.
	Masters []pipeline.Ref `hcl:"masters,optional" refs:"master"`
	// ExposureMS and Gain are what the frames were recorded with; nil is unknown.
	ExposureMS *float64 `hcl:"exposure_ms,optional" min:"0.001"`
	Gain       *float64 `hcl:"gain,optional" min:"0"`
}

// ClipSettings is what this stage reads of a clips block.
type ClipSettings struct {
	Masters []pipeline.Ref `hcl:"masters,optional" refs:"master"`
	// ExposureMS and Gain are what the clips were recorded with; nil is unknown.
	ExposureMS *float64 `hcl:"exposure_ms,optional" min:"0.001"`
	Gain       *float64 `hcl:"gain,optional" min:"0"`
}

// Masters serves master blocks: one master of each group of like clips.
func Masters() pipeline.Step {
	return pipeline.Step{
		Name:   "frames",
		Block:  "master",
		New:    func() any { return &MasterSettings{} },
		Expand: expandMasters,
	}
}

// Step serves clips blocks: each clip gets its masters and a table of its frames.
func Step() pipeline.Step {
	return pipeline.Step{
		Name:   "frames",
		Block:  "clips",
		New:    func() any { return &ClipSettings{} },
		Expand: expandClips,
	}
}

// indexed reads the items' indices; items whose capture could not be read, or
// holds no frame, are left out.
func indexed(x *pipeline.Expansion, items []pipeline.Item) ([]pipeline.Item, []clipIndex, error) {
	var out []pipeline.Item
	var idx []clipIndex
	for _, it := range items {
		var i clipIndex
		err := x.Table(it.Values["index"], &i)
		if errors.Is(err, pipeline.ErrPending) {
			return nil, nil, err
		}
		if err == nil && !i.Empty {
			out, idx = append(out, it), append(idx, i)
		}
	}
	return out, idx, nil
}

// openBlock reads the indices of a block's items and finds the masters that it names.
func openBlock(x *pipeline.Expansion, masters []pipeline.Ref) ([]pipeline.Item, []clipIndex, *shelf, error) {
	items, idx, err := indexed(x, x.Items())
	if err != nil {
		return nil, nil, nil, err
	}
	s, err := openShelf(x, masters)
	return items, idx, s, err
}

func expandClips(x *pipeline.Expansion) error {
	set := x.Settings().(*ClipSettings)
	items, idx, shelf, err := openBlock(x, set.Masters)
	if err != nil {
		return err
	}
	for _, i := range idx {
		shelf.clips = max(shelf.clips, i.Level)
	}
	for i, it := range items {
		m := shelf.fit(x, pipeline.ClipName(it.ID), idx[i], camera{set.ExposureMS, set.Gain})
		for port, v := range map[string]pipeline.Value{"dark": m.dark, "hot": m.hot, "flat": m.flat} {
			if !v.IsZero() {
				it = it.With(port, v)
			}
		}
		p := gradePart(pipeline.Item{ID: it.ID}, idx[i])
		for _, port := range []string{"file", "index", "dark", "flat", "hot"} {
			if v := it.Values[port]; !v.IsZero() {
				p.In = append(p.In, pipeline.Input{Port: port, Value: v})
			}
		}
		x.Emit(it.With("frames", x.Add(p).Out("frames")))
	}
	shelf.tellBright(x)
	if len(items) == 0 {
		x.Emit()
	}
	return nil
}
