package finish

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"plenilune/pipeline"
	"plenilune/steps/kernel/gazetteer"
	"plenilune/steps/kernel/moon"
)

const (
	auto   = "auto"
	asShot = "as_shot"
)

// layoutSettings are how a picture is turned, cut and written on. Where the observer stood is not among them: how the Moon stood
// comes from the mosaic.
type layoutSettings struct {
	North      string
	Crop       string
	MarginPct  float64
	Names      bool
	NamesMost  int
	SmallestKM float64
	ScaleBar   bool
	Letters    float64  // 0 where nothing is written
	Region     Region   // zero: none
	Panels     []string // content ids of the clips, in the order of the tables on the port panel
}

// layoutTable is how a finished picture lies, for what comes after and for people.
type layoutTable struct {
	frame
	North       string    `json:"north"` // "up", "down" or "as_shot"
	Disk        limb      `json:"disk"`  // in the finished picture
	ArcsecPerPx float64   `json:"scale_arcsec_per_px"`
	KMPerPx     float64   `json:"km_per_px"` // at the disk's middle; 0: unknown
	Names       []nameRow `json:"names,omitempty"`
	Bar         *barRow   `json:"bar,omitempty"`
}

// sight is what earlier parts found of the picture.
type sight struct {
	placements struct {
		Panels []struct {
			ID     string `json:"id"`
			Placed bool   `json:"placed"`
		} `json:"panels"`
		Limb   arc     `json:"limb"`
		Scale  float64 `json:"scale_arcsec_per_px"`
		Extent string  `json:"extent"`
	}
	lies struct {
		orientation
		View struct {
			Known      bool    `json:"known"`
			SubLonDeg  float64 `json:"sub_lon_deg"`
			SubLatDeg  float64 `json:"sub_lat_deg"`
			DistanceKM float64 `json:"distance_km"`
		} `json:"view"`
	}
	light lightTable
	disk  *moon.Disk // nil: not known how the Moon stood
	view  string     // where that is from
	km    float64    // distance of the Moon's middle: from there, or the mean one
}

// arc is the limb as far as it was found.
type arc struct {
	limb
	ArcDeg float64 `json:"arc_deg"`
}

// leastArcDeg is how much of the limb tells its radius and its middle: the sagitta of 60° is 13 % of the radius, so that the limb's relief
// moves it by half a per cent; that of 20° is 1.5 %, and it moves by 4 %.
const leastArcDeg = 60.0

// lacks tells why the limb is not good enough for something to be done by it; "" if it is.
func (a arc) lacks(to string) string {
	switch {
	case !a.Found:
		return "no limb was found " + to
	case a.ArcDeg < leastArcDeg:
		return fmt.Sprintf("only %.0f° of the limb were found, and it takes %.0f° %s", a.ArcDeg, leastArcDeg, to)
	}
	return ""
}

// known tells whether the limb is good enough to measure by.
func (a arc) known() bool { return a.Found && a.ArcDeg >= leastArcDeg }

func readSight(t *pipeline.Task, panels []string) (*sight, error) {
	s := &sight{km: meanDistanceKM}
	if err := t.One("light").Table(&s.light); err != nil {
		return nil, err
	}
	if t.Has("placements") {
		if err := t.One("placements").Table(&s.placements); err != nil {
			return nil, err
		}
	}
	if t.Has("orientation") {
		if err := t.One("orientation").Table(&s.lies); err != nil {
			return nil, err
		}
	}
	if v := s.lies.View; v.Known {
		d := moon.DiskOf(v.SubLonDeg, v.SubLatDeg, v.DistanceKM)
		s.disk, s.view, s.km = &d, "as seen from the site", v.DistanceKM
		return s, nil
	}
	at, err := s.middle(t, panels)
	if err == nil && at > 0 {
		v := moon.Centre(moon.Unix(at))
		d := v.Disk()
		s.disk, s.view, s.km = &d, "as seen from the Earth's middle: no site is stated", v.DistanceKM
	}
	return s, err
}

// middle is the median of the times of the panels in the picture, in nanoseconds since 1970; 0 if none is known.
func (s *sight) middle(t *pipeline.Task, panels []string) (int64, error) {
	var times []int64
	for i, src := range t.In("panel") {
		var p struct {
			MidUnixNS int64 `json:"mid_unix_ns"`
		}
		if err := src.Table(&p); err != nil {
			return 0, err
		}
		if p.MidUnixNS > 0 && i < len(panels) && s.shows(panels[i]) {
			times = append(times, p.MidUnixNS)
		}
	}
	if len(times) == 0 {
		return 0, nil
	}
	slices.Sort(times)
	return times[len(times)/2], nil
}

// shows tells whether a panel is in the picture.
func (s *sight) shows(id string) bool {
	for _, p := range s.placements.Panels {
		if p.ID == id {
			return p.Placed
		}
	}
	return len(s.placements.Panels) == 0
}

func runLayout(_ context.Context, set layoutSettings, t *pipeline.Task) error {
	s, err := readSight(t, set.Panels)
	if err != nil {
		return err
	}
	l := layoutTable{North: s.north(t, set.North)}
	l.frame = s.cropped(t, set, frameFor(s.light.Width, s.light.Height, s.lies.orientation, l.North))
	if set.Region != (Region{}) && l.beyond(s.light.Width, s.light.Height) {
		t.Warn("region-empty", "the region lies wholly beyond the picture, and what is cut from it is black: the picture as it is turned, uncut, is %s", s.uncut(l))
	}
	s.scale(&l)
	if set.ScaleBar {
		s.bar(t, &l, set.Letters)
	}
	if set.Names {
		s.names(t, set, &l)
	}
	t.Fact("width", float64(l.W), "px")
	t.Fact("height", float64(l.H), "px")
	if l.KMPerPx > 0 {
		t.Fact("scale_at_the_middle", l.KMPerPx, "km/px")
	}
	return t.PutTable("layout", l)
}

// north decides how the picture is turned, and says so.
func (s *sight) north(t *pipeline.Task, wanted string) string {
	known := s.lies.Known
	switch {
	case wanted == asShot:
		t.FactText("north", "as shot")
	case !known:
		t.FactText("north", "as shot: how the Moon lies in the picture is not known")
		if wanted != auto {
			t.Warn("north-unknown", "the picture is left as it was shot: how the Moon lies in it was not found; state it with an orientation block in the mosaic")
		}
	case wanted == auto && !s.lies.sure():
		t.FactText("north", fmt.Sprintf("as shot: where north is, is known to %.0f° only", s.lies.UnsureDeg))
	case wanted == "down":
		t.FactText("north", "down")
		return "down"
	default:
		t.FactText("north", "up")
		return "up"
	}
	return asShot
}

// cropped cuts a turned picture to a region or to the disk.
func (s *sight) cropped(t *pipeline.Task, set layoutSettings, f frame) frame {
	disk, r := s.placements.Limb, set.Region
	switch {
	case r.WidthPx > 0:
		return f.cut(float64(r.LeftPx), float64(r.TopPx), r.WidthPx, r.HeightPx)
	case r.WidthArcmin > 0 && disk.known() && s.placements.Scale > 0:
		px := 60 / s.placements.Scale
		w, h := max(1, int(math.Round(float64(r.WidthArcmin*px)))), max(1, int(math.Round(float64(r.HeightArcmin*px))))
		x, y := f.fromSource(disk.X, disk.Y)
		x, y = x+float64(r.RightArcmin*px), y-float64(r.UpArcmin*px)
		return f.cut(x-float64(float64(w-1)/2), y-float64(float64(h-1)/2), w, h)
	case r.WidthArcmin > 0:
		why := cmp.Or(disk.lacks("to measure it from"), "no scale is known")
		t.Warn("crop-unknown", "the picture is not cut to the region: %s; give it in pixels", why)
	case set.Crop == "disk" && !disk.known():
		t.Warn("crop-unknown", "the picture is not cut to the disk: %s", disk.lacks("to cut it by"))
	case disk.known() && (set.Crop == "disk" || set.Crop == auto && s.placements.Extent == "disk"):
		return f.toDisk(disk.limb, set.MarginPct)
	}
	return f
}

// uncut tells how large the whole picture is, turned.
func (s *sight) uncut(l layoutTable) string {
	whole := frameFor(s.light.Width, s.light.Height, s.lies.orientation, l.North)
	return fmt.Sprintf("%d × %d px", whole.W, whole.H)
}

// scale fills in how large things are in the finished picture: by the limb, or, where too little of it was found, by the optics.
func (s *sight) scale(l *layoutTable) {
	l.ArcsecPerPx = s.placements.Scale
	p := s.placements.Limb
	if !p.known() {
		l.KMPerPx = l.ArcsecPerPx * math.Pi / 648000 * (s.km - moon.RadiusKM)
		return
	}
	l.Disk = limb{Found: true, Radius: p.Radius}
	l.Disk.X, l.Disk.Y = l.fromSource(p.X, p.Y)
	across, _ := moon.DiskOf(0, 0, s.km).Scale(moon.At(0, 0))
	l.KMPerPx = moon.RadiusKM / (p.Radius * across)
}

// meanDistanceKM is that of the Moon's middle from the Earth's over time (Meeus 1998, ch. 47).
const meanDistanceKM = 385000.56

func (s *sight) bar(t *pipeline.Task, l *layoutTable, size float64) {
	if l.KMPerPx <= 0 {
		t.Warn("scale-bar-not-drawn", "no scale bar is drawn: %s, and no optics are stated", s.placements.Limb.lacks("to measure the scale by"))
		return
	}
	letters := max(leastLetters, float64(size*lettersOfDisk*float64(min(l.W, l.H))))
	b := newBar(l.W, l.H, l.KMPerPx, math.Round(1.2*letters), func(x, y float64) float64 { return s.light.at(l.ToSource.Apply(x, y)) })
	l.Bar = &b
	t.Fact("scale_bar", b.KM, "km")
}

func (s *sight) names(t *pipeline.Task, set layoutSettings, l *layoutTable) {
	why := ""
	switch {
	case !s.placements.Limb.known():
		why = s.placements.Limb.lacks("to place them by")
	case !s.lies.Known:
		why = "how the Moon lies in the picture was not found; state it with an orientation block in the mosaic"
	case !s.lies.sure():
		why = fmt.Sprintf("where the Moon's north lies in the picture is known to %.0f° only; state it with an orientation block in the mosaic", s.lies.UnsureDeg)
	case s.disk == nil:
		why = "the clips say no times, so that how the Moon was turned is not known"
	}
	if why != "" {
		t.Warn("names-not-drawn", "no names are drawn: %s", why)
		return
	}
	c := chart{frame: l.frame, limb: s.placements.Limb.limb, lies: s.lies.orientation, disk: *s.disk, light: &s.light, size: set.Letters}
	if l.Bar != nil {
		c.taken = append(c.taken, l.Bar.box())
	}
	l.Names = c.names(gazetteer.Features(), set.NamesMost, set.SmallestKM)
	t.Fact("names", float64(len(l.Names)), "")
	t.FactText("names_placed", fmt.Sprintf("on the Moon %s", s.view))
	if s.lies.UnsureDeg > 0 {
		t.Fact("names_error", s.lies.UnsureDeg, "° about the disk's middle")
	}
}
