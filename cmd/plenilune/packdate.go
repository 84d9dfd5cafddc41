package main

import (
	"time"

	"plenilune/pipeline"
	"plenilune/steps/captures"
	"plenilune/steps/panels"
)

// packTaken is when a clip or a panel was taken, in Unix nanoseconds UTC, as a run has it count; 0 if nothing tells it. One that cannot
// be read tells no time.
func packTaken(c pipeline.PackClip) int64 {
	for _, s := range c.Block.Steps {
		switch says := s.Settings.(type) {
		case *captures.ClipSettings:
			return clipTaken(c, says)
		case *panels.Settings:
			return panelTaken(c, says)
		}
	}
	return 0
}

func clipTaken(c pipeline.PackClip, says *captures.ClipSettings) int64 {
	for _, t := range says.Taken {
		if c.Named(t.Clip) {
			return momentIn(t.UTC)
		}
	}
	look := func() (captures.Index, error) { return probe(c.Path) }
	if c.Path == "" {
		look = func() (captures.Index, error) { return probePictures(c.Pictures) }
	}
	x, err := look()
	if err != nil {
		return 0
	}
	return says.BeganUnixNS(x)
}

func panelTaken(c pipeline.PackClip, says *panels.Settings) int64 {
	x, err := probePanel(c.Path)
	if err != nil {
		return 0
	}
	for _, t := range says.Taken {
		if !x.Own && c.Named(t.Panel) { // our own tell it themselves, whatever a block says
			return momentIn(t.UTC)
		}
	}
	return x.TakenUnixNS
}

// momentIn reads a time that a step has checked, in Unix nanoseconds.
func momentIn(utc string) int64 {
	t, err := time.Parse(time.RFC3339, utc)
	if err != nil {
		return 0
	}
	return t.UnixNano()
}
