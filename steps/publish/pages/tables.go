package pages

import (
	"fmt"
	"math"

	"plenilune/pipeline"
)

// What the earlier stages tell, as far as pages show it.

type placementsTable struct {
	Panels     []placement `json:"panels"`
	Overlaps   []overlap   `json:"overlaps"`
	Limb       limb        `json:"limb"`
	Scale      float64     `json:"scale_arcsec_per_px"` // 0: unknown
	Source     string      `json:"scale_source"`
	Estimated  bool        `json:"estimated"`
	ScaleMoon  string      `json:"scale_moon"` // "site", "hour" or "mean": whose size gave an estimated scale
	Extent     string      `json:"extent"`
	Holes      []hole      `json:"holes"`
	Vignetting float64     `json:"vignetting_pct"`
	Fineness   float64     `json:"px_per_sensor_px"`
}

type placement struct {
	ID      string  `json:"id"`
	Placed  bool    `json:"placed"`
	TurnDeg float64 `json:"turn_deg"`
	Factor  float64 `json:"factor"`
	RMS     float64 `json:"overlap_rms_px"`
	Why     string  `json:"why"`
}

type overlap struct {
	A       string  `json:"a"`
	B       string  `json:"b"`
	Places  int     `json:"places"`
	Ratio   float64 `json:"brightness_ratio"`
	RMS     float64 `json:"brightness_rms"`
	Offset  float64 `json:"brightness_median"`
	Windows int     `json:"windows"`
	OffPx   float64 `json:"rms_px"`
}

type limb struct {
	Found  bool    `json:"found"`
	X      float64 `json:"x"`
	Y      float64 `json:"y"`
	Radius float64 `json:"radius_px"`
	RMS    float64 `json:"rms_px"`
	ArcDeg float64 `json:"arc_deg"`
}

// leastArcDeg is how much of the limb tells its radius and its middle: the sagitta of 60° is 13 % of the radius, so that the limb's relief
// moves it by half a per cent; that of 20° is 1.5 %, and it moves by 4 %.
const leastArcDeg = 60.0

// known tells whether the limb is good enough to measure by.
func (l limb) known() bool { return l.Found && l.Radius > 0 && l.ArcDeg >= leastArcDeg }

// beyond tells whether a place of the mosaic lies outside the limb by more than so many pixels; false where the limb is not known.
func (l limb) beyond(x, y, px float64) bool {
	dx, dy := x-l.X, y-l.Y
	return l.known() && math.Sqrt(float64(dx*dx)+float64(dy*dy)) > l.Radius+px
}

type hole struct {
	X     float64 `json:"x"`
	Y     float64 `json:"y"`
	Area  float64 `json:"area_px"`
	Share float64 `json:"share_of_disk_pct"`
}

type orientationTable struct {
	Known    bool    `json:"known"`
	Source   string  `json:"source"`
	NorthDeg float64 `json:"north_deg"`
	Mirrored bool    `json:"mirrored"`
	Unsure   float64 `json:"unsure_deg"` // how far off north may be
	View     struct {
		Known      bool    `json:"known"`
		SubLonDeg  float64 `json:"sub_lon_deg"`
		SubLatDeg  float64 `json:"sub_lat_deg"`
		DistanceKM float64 `json:"distance_km"`
	} `json:"view"`
}

// geometryTable tells how large a panel is, as it was joined, and how many pixels of the joined picture show one of it, along a side.
type geometryTable struct {
	Panels []struct {
		W     int
		Scale float64
	}
}

// windowsTable is how fine a stack's detail is in windows of it.
type windowsTable struct {
	Width  int       `json:"width"` // of the stack, px
	Window int       `json:"window_px"`
	Limit  []float64 `json:"limit_cycles_per_px"` // pixels of the stack; 0: unknown
}

type panelTable struct {
	Width       int     `json:"width"`  // px
	Height      int     `json:"height"` // px
	FramesTotal int     `json:"frames_total"`
	FramesKept  int     `json:"frames_kept"`
	MidUnixNS   int64   `json:"mid_unix_ns"`
	SkyOnly     bool    `json:"sky_only"`
	NoiseSigma  float64 `json:"noise_sigma"`
	Fineness    float64 `json:"px_per_sensor_px"`
	Limit       float64 `json:"limit_cycles_per_px"` // of the sensor; 0: unknown
}

type framesTable struct {
	Grade    []float64    `json:"grade"` // 1 is the clip's mean, 0 rejected
	Shift    [][2]float64 `json:"shift"` // px of the sensor
	Gain     []float64    `json:"gain"`
	Rejected []struct {
		Frame  int    `json:"frame"`
		Reason string `json:"reason"`
	} `json:"rejected"`
}

type indexTable struct {
	Frames      int     `json:"frames"`
	TimesUnixNS []int64 `json:"times_unix_ns"`
	StartUnixNS int64   `json:"start_unix_ns"`
	Level       float64 `json:"level"`
	CutShort    bool    `json:"cut_short"`
}

type lightTable struct {
	WavelengthNM float64 `json:"wavelength_nm"` // 0: unknown
}

// clip is all that is told of one clip.
type clip struct {
	id     string // of its content
	panel  panelTable
	frames framesTable
	index  indexTable
	fine   windowsTable
}

// short is the head of the content's id, by which records call a clip.
func (c clip) short() string { return c.id[:min(12, len(c.id))] }

// stacked tells of a panel that came stacked already what is known of it; "" of one whose frames are known.
func (c clip) stacked() string {
	if c.panel.FramesTotal > 0 {
		return ""
	}
	return fmt.Sprintf("%d × %d px, noise %.2g %% of white", c.panel.Width, c.panel.Height, 100*c.panel.NoiseSigma)
}

// night is all that is told of a night. Without a mosaic, placed is false and there are no clips.
type night struct {
	placed   bool
	place    placementsTable
	face     orientationTable
	geo      geometryTable
	outlines [][][2]float64 // of the panels, in pixels of the joined picture; none of one that is not placed
	finest   finestTable
	light    lightTable
	clips    []clip // in the order of the placements
}

func readNight(t *pipeline.Task) (night, error) {
	var n night
	if !t.Has("placements") {
		return n, nil
	}
	n.placed = true
	for _, in := range []struct {
		port string
		to   any
	}{{"placements", &n.place}, {"orientation", &n.face}, {"geometry", &n.geo}, {"outlines", &n.outlines}, {"finest_map", &n.finest}} {
		if err := t.One(in.port).Table(in.to); err != nil {
			return n, err
		}
	}
	if t.Has("light") {
		if err := t.One("light").Table(&n.light); err != nil {
			return n, err
		}
	}
	panels, frames, indices, fine := t.In("panel"), t.In("frames"), t.In("index"), t.In("finest")
	count := len(n.place.Panels)
	if len(panels) != count || len(frames) != count || len(indices) != count || len(fine) != count || len(n.geo.Panels) != count || len(n.outlines) != count {
		return n, fmt.Errorf("%d panels, but tables of %d stacks, %d clips' frames and %d clips", count, len(panels), len(frames), len(indices))
	}
	for i, p := range n.place.Panels {
		c := clip{id: p.ID}
		for _, in := range []struct {
			src pipeline.Source
			to  any
		}{{panels[i], &c.panel}, {frames[i], &c.frames}, {indices[i], &c.index}, {fine[i], &c.fine}} {
			if err := in.src.Table(in.to); err != nil {
				return n, err
			}
		}
		n.clips = append(n.clips, c)
	}
	return n, nil
}
