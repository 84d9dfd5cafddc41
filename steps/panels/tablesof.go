package panels

import (
	"encoding/json"
	"fmt"
)

// panelTable is what is checked of the table that a stack makes of a panel.
type panelTable struct {
	Width       int   `json:"width"`
	Height      int   `json:"height"`
	FramesTotal int   `json:"frames_total"`
	FramesKept  int   `json:"frames_kept"`
	MidUnixNS   int64 `json:"mid_unix_ns"`
	Channels    int   `json:"channels"`
}

// panelMore is what else is read of that table.
type panelMore struct {
	panelTable
	NoiseSigma        float64 `json:"noise_sigma"`
	ChannelNoiseSigma float64 `json:"channel_noise_sigma"`
	SkyOnly           bool    `json:"sky_only"`
	Scale             float64 `json:"px_per_sensor_px"` // 0: 1
	Limit             float64 `json:"limit_cycles_per_px"`
}

func (c *tableCheck) ofPanel(t panelMore) {
	c.same("width", t.Width, c.panel.Width)
	c.same("height", t.Height, c.panel.Height)
	c.same("channels", t.Channels, c.panel.Channels)
	if c.err == nil && t.Channels != 1 && t.Channels != 3 {
		c.err = fmt.Errorf("channels is %d, and may be 1 or 3", t.Channels)
	}
	within(c, "frames_total", t.FramesTotal, 0, mostFrames)
	within(c, "frames_kept", t.FramesKept, 0, t.FramesTotal)
	within(c, "mid_unix_ns", t.MidUnixNS, 0, latest)
	within(c, "noise_sigma", t.NoiseSigma, 0, 1e9)
	within(c, "channel_noise_sigma", t.ChannelNoiseSigma, 0, 1e9)
	within(c, "limit_cycles_per_px", t.Limit, 0, mostScale)
	scale := 1.0
	if t.Scale != 0 {
		within(c, "px_per_sensor_px", t.Scale, 1, mostScale)
		scale = max(1, t.Scale)
	}
	within(c, "width times height", float64(t.Width)*float64(t.Height), 1, mostPixels*float64(scale*scale))
	c.panel = t.panelTable
}

type spectrumShape struct {
	Bands []struct {
		Frequency   float64 `json:"cycles_per_px"`
		Power       float64 `json:"power"`
		Correlation float64 `json:"correlation"`
		Samples     float64 `json:"samples"`
	} `json:"bands"`
}

func (c *tableCheck) ofSpectrum(t spectrumShape) {
	within(c, "bands", len(t.Bands), 0, mostBands)
	last := 0.0
	for i, b := range t.Bands {
		field := func(name string) string { return fmt.Sprintf("bands[%d].%s", i, name) }
		within(c, field("cycles_per_px"), b.Frequency, last, 1)
		within(c, field("correlation"), b.Correlation, -1.01, 1.01) // rounding
		within(c, field("samples"), b.Samples, 0, mostPixels*mostScale*mostScale)
		last = b.Frequency
	}
}

func (c *tableCheck) ofLight(t lightTable) { within(c, "wavelength_nm", t.WavelengthNM, 0, mostNM) }

type indexShape struct {
	Frames      int     `json:"frames"`
	TimesUnixNS []int64 `json:"times_unix_ns"`
	StartUnixNS int64   `json:"start_unix_ns"`
	Level       float64 `json:"level"`
	CutShort    bool    `json:"cut_short"`
}

func (c *tableCheck) ofIndex(t indexShape) {
	c.same("frames", t.Frames, c.panel.FramesTotal)
	c.ofAll("times_unix_ns", len(t.TimesUnixNS))
	each(c, "times_unix_ns", t.TimesUnixNS, 0, latest)
	within(c, "start_unix_ns", t.StartUnixNS, 0, latest)
}

// count is how many numbers a list has, of which no more is kept.
type count int

func (n *count) UnmarshalJSON(b []byte) error {
	var list []float64
	err := json.Unmarshal(b, &list)
	*n = count(len(list))
	return err
}

type framesShape struct {
	Grade []float64 `json:"grade"`
	Cells struct {
		NX    int     `json:"nx"`
		NY    int     `json:"ny"`
		Grade []count `json:"grade"`
	} `json:"cells"`
	Shift    [][2]float64 `json:"shift"`
	Gain     []float64    `json:"gain"`
	Fit      []float64    `json:"fit"`
	Rejected []struct {
		Frame  int    `json:"frame"`
		Reason string `json:"reason"`
	} `json:"rejected"`
	Reference int       `json:"reference"`
	Level     []float64 `json:"level"`
}

func (c *tableCheck) ofFrames(t framesShape) {
	c.ofAll("grade", len(t.Grade))
	each(c, "grade", t.Grade, 0, 1e6)
	within(c, "cells.nx", t.Cells.NX, 0, mostCells)
	within(c, "cells.ny", t.Cells.NY, 0, mostCells)
	c.ofAll("cells.grade", len(t.Cells.Grade))
	for i, n := range t.Cells.Grade {
		if n > 0 {
			c.long(fmt.Sprintf("cells.grade[%d]", i), int(n), t.Cells.NX*t.Cells.NY)
		}
	}
	c.ofAll("shift", len(t.Shift))
	eachShift(c, t.Shift)
	c.ofAll("gain", len(t.Gain))
	c.ofAll("fit", len(t.Fit))
	c.ofAll("level", len(t.Level))
	last := max(0, c.panel.FramesTotal-1)
	for i, r := range t.Rejected {
		within(c, fmt.Sprintf("rejected[%d].frame", i), r.Frame, 0, last)
	}
	within(c, "reference", t.Reference, 0, last)
}

func eachShift(c *tableCheck, shift [][2]float64) {
	for _, s := range shift {
		each(c, "shift", s[:], -mostShift, mostShift)
	}
}

type trackShape struct {
	Frames []int        `json:"frames"`
	Shift  [][2]float64 `json:"shift"`
}

func (c *tableCheck) ofTrack(t trackShape) {
	each(c, "frames", t.Frames, 0, c.panel.FramesTotal-1)
	c.long("shift", len(t.Shift), len(t.Frames))
	eachShift(c, t.Shift)
	for i := 1; i < len(t.Frames) && c.err == nil; i++ {
		if t.Frames[i] <= t.Frames[i-1] {
			c.err = fmt.Errorf("frames[%d] is %d, after %d: frames rise", i, t.Frames[i], t.Frames[i-1])
		}
	}
}

type finestShape struct {
	Width  int       `json:"width"`
	Height int       `json:"height"`
	Window int       `json:"window_px"`
	NX     int       `json:"nx"`
	NY     int       `json:"ny"`
	X0     float64   `json:"x0"`
	Y0     float64   `json:"y0"`
	StepX  float64   `json:"step_x"`
	StepY  float64   `json:"step_y"`
	Limit  []float64 `json:"limit_cycles_per_px"`
}

func (c *tableCheck) ofFinest(t finestShape) {
	w, h := c.panel.Width, c.panel.Height
	c.same("width", t.Width, w)
	c.same("height", t.Height, h)
	within(c, "window_px", t.Window, 0, mostPixels)
	within(c, "nx", t.NX, 0, w)
	within(c, "ny", t.NY, 0, h)
	within(c, "x0", t.X0, 0, float64(w))
	within(c, "y0", t.Y0, 0, float64(h))
	within(c, "step_x", t.StepX, 0, float64(w))
	within(c, "step_y", t.StepY, 0, float64(h))
	c.long("limit_cycles_per_px", len(t.Limit), t.NX*t.NY)
	each(c, "limit_cycles_per_px", t.Limit, 0, 1)
}
