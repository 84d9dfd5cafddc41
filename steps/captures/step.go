// Package captures looks at each file of a night just enough to know what is in
// it: where the frames lie, how samples are to be read, when they were taken.
package captures

import (
	"context"

	"plenilune/pipeline"
)

// Settings are what a block of masters says of its files.
type Settings struct {
	Files  pipeline.Files `hcl:"files"`
	Except pipeline.Files `hcl:"except,optional"`

	// Sequences are clips of single pictures.
	Sequences pipeline.Sequences `hcl:"sequences,optional"`
	// Encoding overrides what pictures and films say of how their samples stand to light.
	Encoding string `hcl:"encoding,optional" oneof:"auto linear srgb bt709"`

	// ByteOrder overrides what the samples of SER files tell; other kinds of file have one order, or state it rightly.
	ByteOrder string `hcl:"byte_order,optional" oneof:"auto little big"`
	// DepthBits overrides the depth in the files' headers; 0 believes them.
	DepthBits int `hcl:"depth_bits,optional" min:"1" max:"16"`
}

// ClipSettings are those of a block of clips: Settings, and what lay in front of the sensor.
type ClipSettings struct {
	Files     pipeline.Files     `hcl:"files"`
	Except    pipeline.Files     `hcl:"except,optional"`
	Sequences pipeline.Sequences `hcl:"sequences,optional"`
	Encoding  string             `hcl:"encoding,optional" oneof:"auto linear srgb bt709"`
	ByteOrder string             `hcl:"byte_order,optional" oneof:"auto little big"`
	DepthBits int                `hcl:"depth_bits,optional" min:"1" max:"16"`

	// Bayer is the pattern of a colour camera's filters, overriding the files' headers, or ignore where an infrared-pass
	// filter lets the same light onto all of them.
	Bayer  string  `hcl:"bayer,optional" oneof:"auto ignore RGGB GRBG GBRG BGGR CYYM YCMY YMCY MYYC"`
	Filter *Filter `hcl:"filter,block"`

	// Clock is how far the clock was ahead of UTC that times of films and pictures are from, as +02:00, where they do not say it;
	// utc is +00:00, and of auto such times do not count.
	Clock string `hcl:"clock,optional"`
	// Taken says when clips were taken that do not say so themselves, or say it wrongly.
	Taken []Taken `hcl:"taken,block"`
}

// ClipsStep indexes the files of a block of clips.
func ClipsStep() pipeline.Step {
	return pipeline.Step{
		Name:  "captures",
		Block: "clips",
		New: func() any {
			return &ClipSettings{ByteOrder: "auto", Bayer: bayerAuto, Encoding: encodingAuto, Clock: clockAuto}
		},
		Check: checkTimes,
		Expand: func(x *pipeline.Expansion) error {
			s := x.Settings().(*ClipSettings)
			set := partSettings{ByteOrder: s.ByteOrder, DepthBits: s.DepthBits, Timed: true, Bayer: s.Bayer}
			return expand(x, asked{set, s.Encoding, s.Clock, s.takenOf(x)}, s.Filter)
		},
	}
}

// MastersStep indexes the files of a block of dark or flat frames.
func MastersStep() pipeline.Step {
	return pipeline.Step{
		Name:  "captures",
		Block: "master",
		New:   func() any { return &Settings{ByteOrder: "auto", Encoding: encodingAuto} },
		Expand: func(x *pipeline.Expansion) error {
			s := x.Settings().(*Settings)
			set := partSettings{ByteOrder: s.ByteOrder, DepthBits: s.DepthBits, Bayer: bayerAuto}
			return expand(x, asked{partSettings: set, encoding: s.Encoding}, nil)
		},
	}
}

// partSettings are what varies an index.
type partSettings struct {
	ByteOrder string
	DepthBits int
	Timed     bool // clips: times of frames and exposure matter
	Bayer     string

	TakenUnixNS int64  // the middle of the clip, as the manifest has it; 0: as the file tells
	Clock       string // of what was laid out alone, see clockOf
}

// asked is what a block says of all its files.
type asked struct {
	partSettings
	encoding string
	clock    string
	taken    map[pipeline.ID]int64
}

// of is what holds for one of them.
func (a asked) of(it pipeline.Item) partSettings {
	s := a.partSettings
	s.TakenUnixNS = a.taken[it.ID]
	return s
}

func expand(x *pipeline.Expansion, a asked, f *Filter) error {
	var items []pipeline.Item
	for _, it := range x.Items() {
		if !it.Values["file"].IsZero() {
			it = it.With("index", x.Add(indexPart(it, a.of(it))).Out("index"))
		}
		if f != nil {
			it = it.With("light", x.Add(lightPart(it, f.WavelengthNM)).Out("light"))
		}
		items = append(items, it)
	}
	items, err := layOut(x, items, a)
	x.Emit(items...)
	return err
}

func indexPart(it pipeline.Item, s partSettings) pipeline.Part {
	return pipeline.Part{
		Name:     "index",
		Item:     it,
		Version:  5,
		Settings: s,
		In:       []pipeline.Input{{Port: "file", Value: it.Values["file"]}},
		Out:      []string{"index"},
		Memory:   8 << 20,
		Run:      pipeline.Bind(runIndex),
	}
}

func runIndex(_ context.Context, s partSettings, t *pipeline.Task) (err error) {
	src := t.One("file")
	f, closer, err := src.File()
	if err != nil {
		return err
	}
	defer func() {
		if e := closer.Close(); err == nil {
			err = e
		}
	}()
	c, err := look(f, s)
	if err != nil {
		if kind := foreign(f, err); kind != "" {
			return t.PutTable("index", Index{Foreign: kind, TimesUnixNS: []int64{}})
		}
		return err
	}
	c.state(t, s)
	c.warn(t, pipeline.ClipName(src.ID()), s)
	return t.PutTable("index", c.index())
}
