// Package simulate makes a night of raw clips of the Moon from a seed, with the
// truth kept apart: the sample night, and what tests measure against. Equal plans
// give equal bytes, whatever the number of workers.
package simulate

import "time"

// Plan is everything that decides a night.
type Plan struct {
	Title    string
	MoonSeed uint64 // of the ground
	Seed     uint64 // of the night
	Workers  int    // at once; changes no byte

	// The Moon.
	DiskPx            float64 // diameter in sensor pixels
	SubObserverLonDeg float64
	SubObserverLatDeg float64
	DistanceRadii     float64 // observer to Moon's centre
	PhaseDeg          float64 // 0 full, 90 half
	BrightLimbDeg     float64 // direction of the Sun on the sky, from right, counter-clockwise
	CratersAbove20Km  float64 // how many beside the named ones
	CraterSlope       float64 // the number above a size falls as its power −CraterSlope
	SmallestCraterKm  float64

	// The optics.
	CutoffCyclesPerPx float64 // D/λ, in cycles a sensor pixel
	Obstruction       float64 // of the aperture's diameter

	// The air.
	ApertureOverR0 float64 // D/r0 in the mean
	SeeingSpread   float64 // standard deviation of its logarithm over time
	WarpPx         float64 // rms of local displacement, each axis
	WarpScalePx    float64 // how far warp is alike
	CloudDepth     float64 // share of light that a passing cloud takes

	// The mount.
	Overlap      float64 // share of a panel's side that the next shows too
	PointingPx   float64 // how far an aim may be off
	DriftPx      float64 // over a clip
	JitterPx     float64 // from frame to frame
	TurnDeg      float64 // of the field over the night, to either side
	PanelsAcross int
	PanelsDown   int
	Aims         []Aim // instead of a grid: X and Y from the disk's middle, in pixels, before errors of aim; at most 40, whose names are drawn

	// The camera.
	Width, Height int
	Bits          int  // 8, or up to 16 in 16-bit words, left-aligned
	Colour        bool // an RGGB filter mosaic
	Frames        int  // a clip
	Calibration   int  // frames of dark and of flat; 0 none
	FullWell      float64
	ReadNoise     float64 // electrons
	Exposure      float64 // share of the full well that the brightest ground fills
	Pedestal      float64 // share of white
	HotPixels     float64 // share of pixels
	Vignetting    float64 // light lost in the corners
	Dust          int     // shadows

	Start     time.Time
	ClipTime  time.Duration
	ClipEvery time.Duration
}

func (p *Plan) channels() int {
	if p.Colour {
		return 3
	}
	return 1
}

// Sample is the night that demo writes: twelve panels of a gibbous Moon.
func Sample() Plan {
	return Plan{
		Title: "Gibbous Moon over the dye works", MoonSeed: 11, Seed: 4,
		DiskPx: 620, SubObserverLonDeg: 4.426, SubObserverLatDeg: -3.886, DistanceRadii: 216.718,
		PhaseDeg: 63.86, BrightLimbDeg: 2.76, CratersAbove20Km: 6000, CraterSlope: 2, SmallestCraterKm: 5,
		CutoffCyclesPerPx: 0.48, Obstruction: 0.32,
		ApertureOverR0: 2.6, SeeingSpread: 0.28, WarpPx: 0.6, WarpScalePx: 60, CloudDepth: 0.2,
		Overlap: 0.3, PointingPx: 9, DriftPx: 10, JitterPx: 0.8, TurnDeg: 1.6, PanelsAcross: 3, PanelsDown: 4,
		Width: 272, Height: 224, Bits: 8, Frames: 40, Calibration: 24,
		FullWell: 9000, ReadNoise: 3, Exposure: 0.75, Pedestal: 0.012, HotPixels: 2e-4, Vignetting: 0.18, Dust: 3,
		Start: time.Date(2026, 3, 27, 19, 42, 10, 0, time.UTC), ClipTime: 24 * time.Second, ClipEvery: 51 * time.Second,
	}
}

// Small is a night for tests: four panels, made in about a second.
func Small() Plan {
	p := Sample()
	p.Title = "A small Moon for tests"
	p.DiskPx, p.SmallestCraterKm, p.CratersAbove20Km = 210, 18, 500
	p.ApertureOverR0, p.WarpPx, p.DriftPx, p.PointingPx = 2, 0.3, 5, 3
	p.Width, p.Height, p.Frames, p.Calibration = 168, 144, 12, 8
	p.PanelsAcross, p.PanelsDown, p.Overlap, p.Dust = 2, 2, 0.4, 1
	return p
}
