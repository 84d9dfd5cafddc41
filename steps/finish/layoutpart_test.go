package finish

import (
	"math"
	"strings"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
)

type placementsIn struct {
	Panels []struct {
		ID     string `json:"id"`
		Placed bool   `json:"placed"`
	} `json:"panels"`
	Limb   arc     `json:"limb"`
	Scale  float64 `json:"scale_arcsec_per_px"`
	Extent string  `json:"extent"`
}

type viewIn struct {
	Known      bool    `json:"known"`
	SubLonDeg  float64 `json:"sub_lon_deg"`
	SubLatDeg  float64 `json:"sub_lat_deg"`
	DistanceKM float64 `json:"distance_km"`
}

type orientationIn struct {
	orientation
	View viewIn `json:"view"`
}

type panelIn struct {
	MidUnixNS int64 `json:"mid_unix_ns"`
}

func laidOut(t *testing.T, s layoutSettings, in map[string][]any) (*pipelinetest.Result, layoutTable) {
	t.Helper()
	in["light"] = []any{lightTable{Width: 640, Height: 640, Cell: 640, W: 1, H: 1, Light: []int{500}}}
	r := pipelinetest.Run(t, pipeline.Part{Name: "layout", Settings: s, Out: []string{"layout"}, Run: pipeline.Bind(runLayout)}, in)
	var l layoutTable
	r.Table("layout", &l)
	return r, l
}

func said(r *pipelinetest.Result, code string) string {
	for _, w := range r.Warnings {
		if w.Code == code {
			return w.Text
		}
	}
	return ""
}

// What is asked for and cannot be done is not done, and the reason is said.
func TestWhatIsNotKnown(t *testing.T) {
	disk := placementsIn{Limb: arc{limb{true, 320, 310, 250}, 180}, Extent: "disk"}
	lies := orientationIn{orientation: orientation{true, 40, false, 0}}
	view := lies
	view.View = viewIn{true, 2, -3, 380000}
	all := layoutSettings{North: "up", Crop: "disk", MarginPct: 4, Names: true, ScaleBar: true, Letters: 1, Panels: []string{"a"}}
	for _, c := range []struct {
		name string
		in   map[string][]any
		want map[string]string // code: part of its text
		up   bool
	}{
		{"a bare picture", map[string][]any{}, map[string]string{"north-unknown": "was not found", "crop-unknown": "no limb", "names-not-drawn": "no limb", "scale-bar-not-drawn": "no limb"}, false},
		{"no orientation", map[string][]any{"placements": {disk}, "orientation": {orientationIn{}}, "panel": {panelIn{1710873600e9}}},
			map[string]string{"north-unknown": "orientation block", "names-not-drawn": "how the Moon lies in the picture was not found"}, false},
		{"no times", map[string][]any{"placements": {disk}, "orientation": {lies}, "panel": {panelIn{}}}, map[string]string{"names-not-drawn": "no times"}, true},
		{"times", map[string][]any{"placements": {disk}, "orientation": {lies}, "panel": {panelIn{1710873600e9}}}, nil, true},
		{"a view", map[string][]any{"placements": {disk}, "orientation": {view}}, nil, true},
	} {
		r, l := laidOut(t, all, c.in)
		for _, code := range []string{"north-unknown", "crop-unknown", "names-not-drawn", "scale-bar-not-drawn"} {
			if got, want := said(r, code), c.want[code]; want == "" && got != "" || !strings.Contains(got, want) {
				t.Errorf("%s: %s says %q, want %q", c.name, code, got, want)
			}
		}
		if (l.North == "up") != c.up || (len(l.Names) > 0) != (c.want["names-not-drawn"] == "") {
			t.Errorf("%s: north %s, %d names", c.name, l.North, len(l.Names))
		}
	}
}

// By themselves pictures are turned and cut where that can be done, and else there is no word of warning.
func TestOnItsOwn(t *testing.T) {
	s := layoutSettings{North: auto, Crop: auto, MarginPct: 4}
	r, l := laidOut(t, s, map[string][]any{})
	if len(r.Warnings) > 0 || l.North != asShot || l.W != 640 || l.H != 640 || !l.Exact {
		t.Errorf("a bare picture: %+v, %v", l, r.Warnings)
	}
	disk := placementsIn{Limb: arc{limb{true, 320, 310, 250}, 180}, Extent: "disk"}
	_, l = laidOut(t, s, map[string][]any{"placements": {disk}, "orientation": {orientationIn{orientation: orientation{true, -2, false, 6}}}})
	if l.W != 540 || !l.Exact || l.North != "up" {
		t.Errorf("a disk that lies nearly upright: %+v", l)
	}
	// Where north is known to 15° only, turning and naming would say what is not known.
	named := s
	named.Names = true
	r, l = laidOut(t, named, map[string][]any{"placements": {disk}, "orientation": {orientationIn{orientation: orientation{true, -40, false, 15}}}})
	if l.North != asShot || !l.Exact || len(l.Names) > 0 || len(r.Warnings) != 1 || !strings.Contains(r.Warnings[0].Text, "known to 15° only") {
		t.Errorf("a disk whose north is hardly known: %+v, %v", l, r.Warnings)
	}
	disk.Extent = "region"
	if _, l = laidOut(t, s, map[string][]any{"placements": {disk}}); l.W != 640 {
		t.Errorf("a region is cut: %+v", l)
	}
}

// A short arc of the limb tells neither the Moon's radius nor its middle: nothing is measured by it, and that is said. Lengths come from the
// optics and the Moon's distance: that of the view; of the hour, 406,294 km at the apogee of 2024 March 23, 15:45 UTC (as almanacs have it);
// or the mean one.
func TestShortArcs(t *testing.T) {
	short := placementsIn{Limb: arc{limb{true, 320, 310, 250}, 32}, Scale: 3, Extent: "disk"}
	lies := orientationIn{orientation: orientation{true, 40, false, 0}}
	view := lies
	view.View = viewIn{true, 2, -3, 380000}
	all := layoutSettings{North: "up", Crop: "disk", MarginPct: 4, Names: true, ScaleBar: true, Letters: 1, Panels: []string{"a"}}
	for _, c := range []struct {
		name  string
		in    map[string][]any
		km    float64
		exact float64
	}{
		{"a view", map[string][]any{"placements": {short}, "orientation": {view}}, 380000, 1e-9},
		{"times", map[string][]any{"placements": {short}, "orientation": {lies}, "panel": {panelIn{1711208700e9}}}, 406294, 1e-4},
		{"neither", map[string][]any{"placements": {short}, "orientation": {lies}}, 385000.56, 1e-9},
	} {
		r, l := laidOut(t, all, c.in)
		if want := 3 * math.Pi / 648000 * (c.km - 1737.4); math.Abs(l.KMPerPx/want-1) > c.exact {
			t.Errorf("%s: %.5f km/px, want %.5f", c.name, l.KMPerPx, want)
		}
		for _, code := range []string{"crop-unknown", "names-not-drawn"} {
			if !strings.Contains(said(r, code), "only 32° of the limb were found, and it takes 60°") {
				t.Errorf("%s: %s says %q", c.name, code, said(r, code))
			}
		}
		if l.W < 640 || len(l.Names) > 0 || l.Disk.Found || l.Bar == nil {
			t.Errorf("%s: %+v", c.name, l)
		}
	}
	short.Scale = 0
	region := all
	region.Region = Region{WidthArcmin: 4, HeightArcmin: 2}
	r, l := laidOut(t, region, map[string][]any{"placements": {short}, "orientation": {view}})
	if l.KMPerPx != 0 || l.Bar != nil || !strings.Contains(said(r, "scale-bar-not-drawn"), "only 32°") || !strings.Contains(said(r, "crop-unknown"), "only 32°") {
		t.Errorf("without optics: %+v, %v", l, r.Warnings)
	}
}

// A region that shows nothing of the picture is told of, also where it lies in a corner that only the turn made.
func TestEmptyRegions(t *testing.T) {
	turned := orientationIn{orientation: orientation{true, 45, false, 0}}
	for _, c := range []struct {
		name  string
		north string
		r     Region
		empty bool
	}{
		{"within", asShot, Region{LeftPx: 100, TopPx: 50, WidthPx: 60, HeightPx: 70}, false},
		{"over the edge", asShot, Region{LeftPx: -59, TopPx: 639, WidthPx: 60, HeightPx: 70}, false},
		{"left of it", asShot, Region{LeftPx: -60, TopPx: 50, WidthPx: 60, HeightPx: 70}, true},
		{"below it", asShot, Region{LeftPx: 50, TopPx: 640, WidthPx: 60, HeightPx: 70}, true},
		{"its corner", "up", Region{LeftPx: 0, TopPx: 0, WidthPx: 200, HeightPx: 200}, true},
		{"its tip", "up", Region{LeftPx: 400, TopPx: 0, WidthPx: 100, HeightPx: 100}, false},
	} {
		r, _ := laidOut(t, layoutSettings{North: c.north, Crop: auto, Region: c.r}, map[string][]any{"orientation": {turned}})
		if (said(r, "region-empty") != "") != c.empty {
			t.Errorf("%s: %v", c.name, r.Warnings)
		}
	}
}

// A region in arcminutes lies where it is said about the disk's middle as the picture is turned; one in pixels where it is counted from
// the corner.
func TestRegions(t *testing.T) {
	disk := placementsIn{Limb: arc{limb{true, 320, 310, 250}, 180}, Extent: "disk", Scale: 6} // 10 px an arcminute
	in := func() map[string][]any {
		return map[string][]any{"placements": {disk}, "orientation": {orientationIn{orientation: orientation{true, 180, false, 0}}}}
	}
	_, l := laidOut(t, layoutSettings{North: "up", Crop: auto, Region: Region{RightArcmin: 3, UpArcmin: 5, WidthArcmin: 4.1, HeightArcmin: 2.1}}, in())
	if l.W != 41 || l.H != 21 {
		t.Errorf("%d×%d px, want 41×21", l.W, l.H)
	}
	if x, y := l.ToSource.Apply(20, 10); x != 320-30 || y != 310+50 { // the picture is turned by half
		t.Errorf("its middle comes from %g, %g, want 290, 360", x, y)
	}
	_, l = laidOut(t, layoutSettings{North: asShot, Crop: auto, Region: Region{LeftPx: 100, TopPx: 50, WidthPx: 60, HeightPx: 70}}, in())
	if x, y := l.ToSource.Apply(0, 0); x != 100 || y != 50 || l.W != 60 || l.H != 70 {
		t.Errorf("%d×%d px from %g, %g", l.W, l.H, x, y)
	}
	r, l := laidOut(t, layoutSettings{North: asShot, Crop: auto, Region: Region{WidthArcmin: 4, HeightArcmin: 2}}, map[string][]any{})
	if l.W != 640 || !strings.Contains(said(r, "crop-unknown"), "give it in pixels") {
		t.Errorf("a region that cannot be measured: %d px, %v", l.W, r.Warnings)
	}
	for _, bad := range []Region{{}, {WidthPx: 3}, {WidthArcmin: 3, HeightArcmin: 2, WidthPx: 1, HeightPx: 1}} {
		if len(check(&Settings{Region: &bad}, pipeline.Night{})) != 1 {
			t.Errorf("%+v was taken", bad)
		}
	}
}
