package frames

import (
	"errors"
	"fmt"
	"regexp"
	"strings"

	"plenilune/pipeline"
)

// flatDarkName matches names such as flatdark, dark-flats, Flat_Dark 3, darks for flats.
var flatDarkName = regexp.MustCompile(`^(?i)(darks?[-_ ]?(for|of)?[-_ ]?flat|flats?[-_ ]?dark)`)

// NamesFlatDarks tells whether a name, of a file, a folder or a block, begins like one of dark
// frames of flat frames' own exposure.
func NamesFlatDarks(name string) bool { return flatDarkName.MatchString(name) }

// KindOf tells what a master's frames are of, "dark" or "flat", from its setting kind or, if
// that is empty, its name.
func KindOf(kind, name string) (string, error) {
	name = strings.ToLower(name)
	switch {
	case kind != "":
		return kind, nil
	case strings.HasPrefix(name, "dark"), NamesFlatDarks(name):
		return "dark", nil
	case strings.HasPrefix(name, "flat"):
		return "flat", nil
	}
	return "", errors.New("the name does not tell whether these are dark or flat frames: add kind = \"dark\" or kind = \"flat\"")
}

func expandMasters(x *pipeline.Expansion) error {
	set := x.Settings().(*MasterSettings)
	kind, err := KindOf(set.Kind, x.Name())
	if err != nil {
		return err
	}
	if kind != "flat" && len(set.Masters) > 0 {
		return errors.New("these are dark frames, and nothing is taken off them: drop masters")
	}
	items, idx, shelf, err := openBlock(x, set.Masters)
	if err != nil {
		return err
	}
	for _, m := range shelf.masters {
		if m.index.Kind != "dark" {
			return errors.New("what is taken off flat frames must be dark frames: masters names flats")
		}
	}
	var out []pipeline.Item
	done := map[group]bool{}
	for i := range items {
		if g := idx[i].group(); !done[g] {
			done[g] = true
			it := makeMaster(x, kind, set, items[i:], idx[i:])
			if len(set.Masters) > 0 {
				it = shelf.darkFor(x, it, g, set)
			}
			out = append(out, it)
		}
	}
	x.Emit(out...)
	return nil
}

// makeMaster queues the mean of all items of the first one's group.
func makeMaster(x *pipeline.Expansion, kind string, set *MasterSettings, items []pipeline.Item, idx []clipIndex) pipeline.Item {
	var in []pipeline.Input
	frames := 0
	for j := range items {
		if idx[j].group() == idx[0].group() {
			frames += idx[j].Frames
			in = append(in, pipeline.Input{Port: "file", Value: items[j].Values["file"]},
				pipeline.Input{Port: "index", Value: items[j].Values["index"]})
		}
	}
	if frames == 1 {
		x.Warn("master-of-one-frame", fmt.Sprintf("%s holds one %s frame of %s: its noise goes into every picture; a dozen or more is better",
			x.Name(), kind, idx[0].group()))
	}
	p := meanPart(pipeline.Item{ID: items[0].ID}, meanSettings{kind, set.ExposureMS, set.Gain}, idx[0])
	p.In = in
	node := x.Add(p)
	it := pipeline.Item{ID: items[0].ID}
	for _, port := range p.Out {
		it = it.With(port, node.Out(port))
	}
	return it
}

// darkFor gives a flat the dark that its block names, if one fits.
func (s *shelf) darkFor(x *pipeline.Expansion, it pipeline.Item, g group, set *MasterSettings) pipeline.Item {
	d, why := s.nearest("dark", g, camera{set.ExposureMS, set.Gain}, true)
	if d == nil {
		if why != nil {
			s.say(x, "master-does-not-fit", fmt.Sprintf("the dark frames of %s do not fit the frames of %s in master.%s, which names them: the nearest differ in %s",
				namesOf(set.Masters), g, x.Name(), strings.Join(why, ", ")))
		}
		return it // one of the clips' darks may do
	}
	return it.With("dark", d.item.Values["mean"]).With("dark_index", d.item.Values["index"])
}

// namesOf lists blocks, "master.a and master.b".
func namesOf(refs []pipeline.Ref) string {
	var out []string
	for _, r := range refs {
		out = append(out, r.String())
	}
	return strings.Join(out, " and ")
}
