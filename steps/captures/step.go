// Package captures looks at each file of a night just enough to know what is in
// it: where the frames lie, how samples are to be read, when they were taken.
package captures

import (
	"context"

	"plenilune/pipeline"
)

// Settings are what a block of clips or masters says of its files.
type Settings struct {
	Files  pipeline.Files `hcl:"files"`
	Except pipeline.Files `hcl:"except,optional"`

	// ByteOrder overrides what the samples tell.
	ByteOrder string `hcl:"byte_order,optional" oneof:"auto little big"`
	// DepthBits overrides the depth in the files' headers; 0 believes them.
	DepthBits int `hcl:"depth_bits,optional" min:"1" max:"16"`
}

// ClipsStep indexes the files of a block of clips.
func ClipsStep() pipeline.Step { return step("clips") }

// MastersStep indexes the files of a block of dark or flat frames.
func MastersStep() pipeline.Step { return step("master") }

func step(block string) pipeline.Step {
	return pipeline.Step{
		Name:   "captures",
		Block:  block,
		New:    func() any { return &Settings{ByteOrder: "auto"} },
		Expand: func(x *pipeline.Expansion) error { return expand(x, block == "clips") },
	}
}

// partSettings are what varies an index.
type partSettings struct {
	ByteOrder string
	DepthBits int
	Timed     bool // clips: times of frames and exposure matter
}

func expand(x *pipeline.Expansion, timed bool) error {
	s := x.Settings().(*Settings)
	for _, it := range x.Items() {
		n := x.Add(indexPart(it, partSettings{s.ByteOrder, s.DepthBits, timed}))
		x.Emit(it.With("index", n.Out("index")))
	}
	return nil
}

func indexPart(it pipeline.Item, s partSettings) pipeline.Part {
	return pipeline.Part{
		Name:     "index",
		Item:     it,
		Version:  2,
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
		return err
	}
	c.state(t, s)
	c.warn(t, pipeline.ClipName(src.ID()), s)
	return t.PutTable("index", c.index())
}
