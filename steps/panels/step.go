// Package panels starts a night from panels that were stacked earlier, by this program or elsewhere, where the clips are
// no longer at hand.
package panels

import (
	"errors"
	"fmt"
	"strings"

	"plenilune/pipeline"
	"plenilune/steps/format/moment"
	"plenilune/steps/format/panel"
)

// Settings is a panels block of the manifest.
type Settings struct {
	Files  pipeline.Files `hcl:"files"`
	Except pipeline.Files `hcl:"except,optional"`
	// Encoding is how samples of pictures stand to light; panels that this program wrote are linear, whatever it says.
	Encoding string `hcl:"encoding,optional" oneof:"auto linear srgb"`
	// White is what a sample of white has in the files' units; 0 is as their kind has it.
	White float64 `hcl:"white,optional" min:"0" max:"4294967295"`
	// Taken says when pictures were taken that do not say so themselves. What this program stacked does.
	Taken []Taken `hcl:"taken,block"`
	// Filter is what light reached the sensor, for panels that do not say so themselves.
	Filter *Filter `hcl:"filter,block"`
}

// Taken is when one panel was taken.
type Taken struct {
	Panel pipeline.Clip `hcl:"panel,label"`
	UTC   string        `hcl:"utc"` // the middle of the clip: 2024-03-19T20:04:00Z
}

// Filter is what light reached the sensor.
type Filter struct {
	WavelengthNM float64 `hcl:"wavelength_nm" min:"300" max:"1100"`
}

// Step serves panels blocks.
func Step() pipeline.Step {
	return pipeline.Step{
		Name:   "panels",
		Block:  "panels",
		New:    func() any { return &Settings{Encoding: encodingAuto} },
		Check:  check,
		Expand: expand,
	}
}

func check(settings any, _ pipeline.Night) (out []pipeline.Problem) {
	for _, t := range settings.(*Settings).Taken {
		if _, err := moment.Parse(t.UTC); err != nil {
			out = append(out, pipeline.Problem{Path: "taken." + string(t.Panel) + ".utc", Text: err.Error(), Hint: moment.Hint})
		}
	}
	return out
}

func expand(x *pipeline.Expansion) error {
	set := x.Settings().(*Settings)
	items := x.Items()
	heads := make([]pipeline.Value, len(items))
	for i, it := range items {
		heads[i] = x.Add(headPart(it)).Out("head")
	}
	taken := map[pipeline.ID]int64{}
	for _, t := range set.Taken {
		if id, ok := x.Clip(t.Panel); ok {
			taken[id], _ = moment.Parse(t.UTC)
		}
	}
	x.Emit()
	var pending error
	var timeless []string
	said := unused{set: set}
	seen := map[pipeline.ID]pipeline.ID{}
	for i, it := range items {
		var h head
		if err := x.Table(heads[i], &h); errors.Is(err, pipeline.ErrPending) {
			pending = err
			continue
		} else if err != nil {
			continue // told where it failed
		}
		if h.From.IsZero() {
			if h.TakenUnixNS == 0 && taken[it.ID] == 0 {
				timeless = append(timeless, pipeline.ClipName(it.ID))
			}
			said.others = true
			x.Emit(withLight(x, foreign(x, it, h, pictureSettings{Encoding: set.Encoding, White: set.White, TakenUnixNS: taken[it.ID]}), set.Filter))
			continue
		}
		if first, ok := seen[h.From]; ok {
			x.Warn("panel-twice", fmt.Sprintf("%s and %s were stacked from the same clip, and only the first is used",
				pipeline.ClipName(first), pipeline.ClipName(it.ID)))
			continue
		}
		seen[h.From] = it.ID
		if taken[it.ID] != 0 || taken[h.From] != 0 { // the panel stands for its clip once that is known
			said.taken = append(said.taken, pipeline.ClipName(it.ID))
		}
		x.StandFor(it.ID, h.From)
		x.Emit(withLight(x, own(x, it, h), set.Filter))
	}
	if pending == nil && len(seen) > 0 {
		said.warn(x)
	}
	if len(timeless) > 0 && pending == nil {
		x.Warn("panels-without-times", fmt.Sprintf("%d of %d panels do not say when they were taken, or not in UTC, which a block taken \"PANEL\" { utc = … } states: %s",
			len(timeless), len(items), strings.Join(timeless, ", ")))
	}
	return pending
}

// unused is what a block says of panels that tell it themselves, as this program stacked them.
type unused struct {
	set    *Settings
	taken  []string // panels of ours for which a time is stated
	others bool     // of the block's panels some are pictures
}

func (u unused) warn(x *pipeline.Expansion) {
	var names []string
	if u.set.Encoding != encodingAuto && !u.others {
		names = append(names, "encoding")
	}
	if u.set.White != 0 && !u.others {
		names = append(names, "white")
	}
	if len(u.taken) > 0 {
		names = append(names, "taken of "+strings.Join(u.taken, ", "))
	}
	if len(names) > 0 {
		x.Warn("panels-say-themselves", fmt.Sprintf("what the block says changes nothing, as panels that this program stacked hold it themselves: %s", strings.Join(names, "; ")))
	}
}

// headPart looks at what a file is.
func headPart(it pipeline.Item) pipeline.Part {
	return pipeline.Part{
		Name: "head", Item: it, Version: 3, In: []pipeline.Input{{Port: "file", Value: it.Values["file"]}},
		Out: []string{"head"}, Memory: 64 << 20, Run: runHead,
	}
}

// own adds the part that takes a panel with all its planes and tables from its file. The panel goes by the clip that it was
// stacked from, as it would have then.
func own(x *pipeline.Expansion, it pipeline.Item, h head) pipeline.Item {
	p := pipeline.Part{
		Name: "read", Item: pipeline.Item{ID: h.From}, Version: 1,
		In:  []pipeline.Input{{Port: "file", Value: it.Values["file"]}},
		Out: append(append([]string{}, h.Planes...), h.Tables...), Memory: 64 << 20, Run: runRead,
	}
	ports := p.Out
	if h.Record {
		p.Out, p.Lineage = append(p.Out[:len(p.Out):len(p.Out)], recordPort), recordPort
	}
	return made(x.Add(p), h.From, ports)
}

// foreign adds the part that makes a panel of a picture that another program stacked.
func foreign(x *pipeline.Expansion, it pipeline.Item, h head, s pictureSettings) pipeline.Item {
	ports := append(panel.PlaneNames(), "panel", "index", "frames", "finest")
	// Samples as in the file and as they are in light, their mean, what noise is measured on, and four flags a pixel.
	memory := 64<<20 + int64(h.Width)*int64(h.Height)*int64(8*h.Channels+12)
	return made(x.Add(pipeline.Part{
		Name: "picture", Item: pipeline.Item{ID: it.ID}, Version: 3, Settings: s,
		In: []pipeline.Input{{Port: "file", Value: it.Values["file"]}}, Out: ports, Memory: memory, Run: pipeline.Bind(runPicture),
	}), it.ID, ports)
}

// made is a part's outputs as an item.
func made(n *pipeline.Node, id pipeline.ID, ports []string) pipeline.Item {
	out := pipeline.Item{ID: id}
	for _, port := range ports {
		out = out.With(port, n.Out(port))
	}
	return out
}
