package captures

import (
	"fmt"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/format/raw"
	"plenilune/steps/format/ser"
	"plenilune/steps/kernel/calibrate"
)

// Index is what later steps know of a capture.
type Index struct {
	Layout      raw.Layout `json:"layout"`
	Frames      int        `json:"frames"`        // whole frames to be used
	Declared    int64      `json:"declared"`      // as the header has it
	CutShort    bool       `json:"cut_short"`     // fewer frames than declared
	Depth       int        `json:"depth"`         // true bits a sample
	White       float64    `json:"white"`         // the largest possible sample, in sample units
	TimesUnixNS []int64    `json:"times_unix_ns"` // of each frame, UTC, 0 where unknown; empty if all are
	StartUnixNS int64      `json:"start_unix_ns"` // UTC, 0 if unknown
	TimeSource  string     `json:"time_source"`   // "trailer", "header" or ""
	Level       float64    `json:"level"`         // mean of the samples looked at, share of white
	Empty       bool       `json:"empty"`         // no frames

	// Foreign tells that the file holds no plain frames; nothing else is told of it then. They are laid out first.
	Foreign string `json:"foreign,omitempty"`

	FilePattern string     `json:"file_pattern"`    // as the header has it; Layout has what holds
	Sites       *siteGains `json:"sites,omitempty"` // where filters are ignored
}

// capture is a file that was looked at.
type capture struct {
	file    *ser.File
	layout  raw.Layout // with what settings say of it
	sites   *siteGains // where filters are ignored
	level   ser.Level
	light   ser.Light
	big     bool   // samples are big-endian
	orderBy string // what decided it: "samples", "flag", "setting", "" for one byte
}

func look(f pipeline.File, s partSettings) (*capture, error) {
	file, err := ser.Open(f, f.Size())
	if err != nil {
		return nil, err
	}
	return lookAt(f, file, s, false)
}

// lookAt looks at the samples of a file that was opened. Of one that was laid out here the order of bytes is known.
func lookAt(f pipeline.File, file *ser.File, s partSettings, laid bool) (*capture, error) {
	c := &capture{file: file, layout: file.Layout}
	seen, err := ser.Sample(f, file.Layout, file.Frames)
	if err != nil {
		return nil, fmt.Errorf("look at frames: %w", err)
	}
	depth := int(file.Header.Depth)
	if s.DepthBits != 0 {
		depth = min(s.DepthBits, 8*file.Layout.SampleBytes)
	}
	if file.Layout.SampleBytes > 1 && !laid {
		c.orderBy = "samples"
		var decided bool
		if c.big, decided = seen.Order(depth, file.Layout.BigEndian); !decided {
			c.orderBy = "flag"
		}
		if s.ByteOrder == "little" || s.ByteOrder == "big" {
			c.big, c.orderBy = s.ByteOrder == "big", "setting"
		}
	}
	c.level = seen.Level(depth, c.big)
	c.light = seen.Light(c.big, c.level.White, calibrate.SaturationLevel)
	c.layout.BigEndian = c.big
	return c, c.overrule(f, s.Bayer)
}

func (c *capture) index() Index {
	f := c.file
	x := Index{
		Layout: c.layout, FilePattern: f.Layout.Pattern, Sites: c.sites,
		Frames: f.Frames, Declared: int64(f.Header.Frames), CutShort: f.CutShort, Empty: f.Frames == 0,
		Depth: c.level.Bits, White: c.level.White, Level: math.Round(c.light.Mean*1e6) / 1e6, TimesUnixNS: f.Times,
	}
	if x.TimesUnixNS == nil {
		x.TimesUnixNS = []int64{}
	}
	x.StartUnixNS, x.TimeSource = f.Start()
	return x
}

// state tells what was found, for people and records.
func (c *capture) state(t *pipeline.Task, s partSettings) {
	f := c.file
	t.Fact("frames", float64(f.Frames), "frames")
	t.Fact("width", float64(f.Layout.Width), "px")
	t.Fact("height", float64(f.Layout.Height), "px")
	t.FactText("pattern", c.layout.Pattern)
	t.Fact("depth", float64(c.level.Bits), "bit")
	t.Fact("white level", c.level.White, "sample units")
	t.Fact("mean level", 100*c.light.Mean, "% of white")
	if s.Timed {
		t.Fact("saturated", 100*c.light.Full, "% of the bright ground")
	}
	if c.level.High {
		t.FactText("samples stand", "at the top of their words")
	}
	if c.orderBy != "" {
		t.FactText("byte order", orderName(c.big)+", told by the "+c.orderBy)
	}
	if _, source := f.Start(); source != "" {
		t.FactText("times from", source)
	}
	if n := len(f.Times); n > 1 && f.Times[0] > 0 && f.Times[n-1] > f.Times[0] {
		t.Fact("duration", float64(f.Times[n-1]-f.Times[0])/1e9, "s")
	}
}

func orderName(big bool) string {
	if big {
		return "big-endian"
	}
	return "little-endian"
}
