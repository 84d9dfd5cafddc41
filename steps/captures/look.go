package captures

import (
	"fmt"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/format/clips"
	"plenilune/steps/format/raw"
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
	TimeSource  string     `json:"time_source"`   // what told the times, as "trailer" or "header"; "" for nothing
	Level       float64    `json:"level"`         // mean of the samples looked at, share of white
	Empty       bool       `json:"empty"`         // no frames

	// Foreign tells that the file holds no plain frames; nothing else is told of it then. They are laid out first.
	Foreign string `json:"foreign,omitempty"`

	ClockUnixNS int64 `json:"-"` // when it began by a clock of which it does not say how that stands to UTC; told by a probe alone

	FilePattern string     `json:"file_pattern"`    // as the header has it; Layout has what holds
	Sites       *siteGains `json:"sites,omitempty"` // where filters are ignored
}

// capture is a file that was looked at.
type capture struct {
	clip    *raw.Clip
	layout  raw.Layout // with what samples and settings say of it
	sites   *siteGains // where filters are ignored
	level   raw.Level
	light   raw.Light
	big     bool   // samples are big-endian
	orderBy string // what decided it: "samples", "flag", "setting", "" where there is no doubt
	told    bool   // the block tells why no time is taken from it, if none is
	byClock bool   // some of its frames tell their time by a clock
}

func look(f pipeline.File, s partSettings) (*capture, error) {
	clip, err := clips.Open(f, f.Size())
	if err != nil {
		return nil, err
	}
	if s.TakenUnixNS != 0 {
		clip = retimed(clip, s.TakenUnixNS)
	}
	return lookAt(f, clip, s)
}

// lookAt looks at the samples of a clip that was opened.
func lookAt(f pipeline.File, clip *raw.Clip, s partSettings) (*capture, error) {
	c := &capture{clip: clip, layout: clip.Layout, big: clip.Layout.BigEndian}
	seen, err := raw.Sample(f, clip.Layout, clip.Frames)
	if err != nil {
		return nil, fmt.Errorf("look at frames: %w", err)
	}
	depth := clip.Depth
	if s.DepthBits != 0 {
		depth = min(s.DepthBits, 8*clip.Layout.SampleBytes, 16)
	}
	if clip.OrderOpen && clip.Layout.SampleBytes > 1 {
		c.orderBy = "samples"
		var decided bool
		if c.big, decided = seen.Order(depth, clip.Layout.BigEndian); !decided {
			c.orderBy = "flag"
		}
		if s.ByteOrder == "little" || s.ByteOrder == "big" {
			c.big, c.orderBy = s.ByteOrder == "big", "setting"
		}
	}
	words := c.big && clip.Layout.Words()
	c.level = seen.Level(depth, words)
	c.light = seen.Light(words, c.level.White, calibrate.SaturationLevel)
	c.layout.BigEndian = c.big
	c.layout = seen.Spread(c.layout)
	return c, c.overrule(f, s.Bayer)
}

func (c *capture) index() Index {
	f := c.clip
	x := Index{
		Layout: c.layout, FilePattern: f.Layout.Pattern, Sites: c.sites,
		Frames: f.Frames, Declared: f.Declared, CutShort: f.CutShort, Empty: f.Frames == 0,
		Depth: c.level.Bits, White: c.level.White, Level: math.Round(c.light.Mean*1e6) / 1e6, TimesUnixNS: f.Times,
	}
	if x.TimesUnixNS == nil {
		x.TimesUnixNS = []int64{}
	}
	x.StartUnixNS, x.TimeSource = f.Start, f.TimeSource
	return x
}

// state tells what was found, for people and records.
func (c *capture) state(t *pipeline.Task, s partSettings) {
	f := c.clip
	if f.Format != "SER" { // the usual
		t.FactText("format", f.Format)
	}
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
	if f.TimeSource != "" {
		t.FactText("times from", f.TimeSource)
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
