package pages

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"plenilune/steps/kernel/gazetteer"
	"plenilune/steps/kernel/moon"
)

// scene is what the page's script draws: all places in pixels of the picture, from its first pixel's middle.
type scene struct {
	Title  string `json:"title"`
	Width  int    `json:"width"`
	Height int    `json:"height"`
	Tile   int    `json:"tile"`
	// Versions are the names of two finishes that are compared; none if there is but one.
	Versions []string `json:"versions"`
	Scales   []int    `json:"scales"`

	ArcsecPerPx float64 `json:"arcsecPerPx,omitempty"`
	KMPerPx     float64 `json:"kmPerPx,omitempty"` // at the disk's middle

	Panels     []scenePanel `json:"panels"`
	PanelsWhy  string       `json:"panelsWhy,omitempty"` // why there are none
	Features   []feature    `json:"features"`
	PlacesWhy  string       `json:"placesWhy,omitempty"`  // why neither names nor grid are known
	PlacesNote string       `json:"placesNote,omitempty"` // what they lack
	Grid       []gridLine   `json:"grid"`
	Holes      []sceneHole  `json:"holes"`
	Fine       *sceneFine   `json:"fine,omitempty"`
	Disk       *sceneDisk   `json:"disk,omitempty"`
	Limb       *[3]float64  `json:"limb,omitempty"` // its middle and radius
}

// sceneDisk lets the script tell longitude and latitude under the pointer.
type sceneDisk struct {
	X, Y      float64    // of the disk's middle
	PerEast   [2]float64 // step in the picture of one limb radius to the lunar east
	PerNorth  [2]float64
	SubLonDeg float64
	SubLatDeg float64
	Near      float64 // the Moon's radius over the observer's distance
}

type scenePanel struct {
	Number  int          `json:"number"`
	Clip    string       `json:"clip"`
	Outline [][2]float64 `json:"outline,omitempty"`
	Middle  [2]float64   `json:"middle"`
	Kept    int          `json:"kept"`
	Frames  int          `json:"frames"`
	Stacked string       `json:"stacked,omitempty"` // of one that came stacked already: what is known of it
	FinePx  float64      `json:"finePx,omitempty"`  // period of the finest detail, in pixels of the sensor
	FineAs  float64      `json:"fineArcsec,omitempty"`
	LimitAs float64      `json:"limitArcsec,omitempty"`
	OffPx   float64      `json:"offPx,omitempty"` // how far its overlaps lie off
	Why     string       `json:"why,omitempty"`   // why it is not placed
}

// feature is name, x, y and extent in pixels, extent in km, whether it is lit, and the pixels of extent that its name counts for.
type feature [7]any

type gridLine struct {
	Degrees float64      `json:"deg"`
	Kind    string       `json:"kind"` // "lon" or "lat"
	Every   []int        `json:"every"`
	Points  [][2]float64 `json:"points"`
}

type sceneHole struct {
	X     float64 `json:"x"`
	Y     float64 `json:"y"`
	R     float64 `json:"r"` // of a circle of its area
	Text  string  `json:"text"`
	Place string  `json:"place,omitempty"`
}

// sceneOf puts together what the page shows.
func (n night) sceneOf(s pageSettings, l layoutTable, f frame, fine *fineMap) scene {
	out := scene{Title: s.Title, Width: l.Width, Height: l.Height, Tile: l.TileSide, Scales: l.layout().Scales(),
		Versions: append([]string{}, s.Versions...), Panels: []scenePanel{}, Features: []feature{}, Grid: []gridLine{}, Holes: []sceneHole{}}
	if !n.placed {
		out.PanelsWhy = "The picture is one panel."
	}
	out.ArcsecPerPx, out.KMPerPx = n.place.Scale, tidy(n.kmPerPx(), 1e5)
	if n.place.Limb.known() {
		x, y := f.picture(n.place.Limb.X, n.place.Limb.Y)
		out.Limb = &[3]float64{tidy(x, 10), tidy(y, 10), tidy(n.place.Limb.Radius, 10)}
	}
	for i := range n.clips {
		out.Panels = append(out.Panels, n.panelOf(i, s, f))
	}
	out.Fine = fine.scene()
	g, why := n.globeOf(f)
	out.PlacesWhy = why
	if g != nil {
		out.PlacesNote = g.about
		out.Features, out.Grid, out.Disk = g.features(l), g.grid(), g.sceneDisk(n)
	}
	for _, h := range n.place.Holes {
		x, y := f.picture(h.X, h.Y)
		hole := sceneHole{X: tidy(x, 10), Y: tidy(y, 10), R: tidy(math.Sqrt(h.Area/math.Pi), 10), Text: fmt.Sprintf("%.0f px²", h.Area)}
		if h.Share > 0 {
			hole.Text += fmt.Sprintf(", %.2g %% of the disk", h.Share)
		}
		if g != nil {
			if lon, lat, ok := g.placeOf(h.X, h.Y); ok {
				hole.Place = placeText(tidy(lon, 10), tidy(lat, 10))
			}
		}
		out.Holes = append(out.Holes, hole)
	}
	return out
}

// script is the scene as a file that a page from a disk can load; nothing in it can end the script or begin markup.
func (s scene) script() ([]byte, error) {
	b, err := json.Marshal(s)
	if err != nil {
		return nil, fmt.Errorf("write the scene: %w", err)
	}
	return fmt.Appendf(nil, "\"use strict\";\nconst scene = %s;\n", b), nil
}

// panelOf tells of one panel, and where its border lies.
func (n night) panelOf(i int, s pageSettings, f frame) scenePanel {
	c, p := n.clips[i], n.place.Panels[i]
	out := scenePanel{Number: i + 1, Clip: c.short(), Kept: c.panel.FramesKept, Frames: c.panel.FramesTotal, Stacked: c.stacked()}
	out.FinePx, out.FineAs = n.finestOf(i)
	out.LimitAs = tidy(n.limitArcsec(s), 1e3)
	if !p.Placed {
		if out.Why = p.Why; out.Why == "" {
			out.Why = "not placed"
		}
		return out
	}
	out.OffPx = tidy(p.RMS, 100)
	for _, q := range n.outlines[i] {
		x, y := f.picture(q[0], q[1])
		out.Outline = append(out.Outline, [2]float64{tidy(x, 10), tidy(y, 10)})
		out.Middle[0], out.Middle[1] = out.Middle[0]+x, out.Middle[1]+y
	}
	if k := float64(len(n.outlines[i])); k > 0 {
		out.Middle = [2]float64{tidy(out.Middle[0]/k, 10), tidy(out.Middle[1]/k, 10)}
	}
	return out
}

// kmPerPx is how much ground a pixel shows at the disk's middle: by the limb, or, where too little of it was found, by the optics; 0 if
// neither tells.
func (n night) kmPerPx() float64 {
	km := cmp.Or(n.face.View.DistanceKM, n.hourKM(), meanDistanceKM)
	if !n.place.Limb.known() {
		return n.place.Scale * math.Pi / 648000 * (km - moon.RadiusKM)
	}
	across, _ := moon.DiskOf(0, 0, km).Scale(moon.At(0, 0))
	return moon.RadiusKM / (n.place.Limb.Radius * across)
}

// hourKM is how far the Moon's middle was from the Earth's at the clips' times; 0 if they say none.
func (n night) hourKM() float64 {
	at := n.middle()
	if at == 0 {
		return 0
	}
	return moon.Centre(moon.Unix(at)).DistanceKM
}

// finestOf is the period of the finest detail that two halves of clip i's frames agree on, in pixels of the sensor and in arcsec; 0 where
// unknown.
func (n night) finestOf(i int) (px, arcsec float64) {
	c := n.clips[i]
	if c.panel.Limit <= 0 {
		return 0, 0
	}
	px = 1 / c.panel.Limit
	return tidy(px, 100), tidy(px*n.sensorArcsec(i), 1000)
}

// sensorArcsec is how wide a pixel of the sensor is that took clip i: that of the joined picture, by what the panel was enlarged, as it
// was stacked, drawn to the scale of the others, and joined. 0 if unknown.
func (n night) sensorArcsec(i int) float64 {
	drawn := 1.0
	if w := n.clips[i].fine.Width; w > 0 {
		drawn = float64(n.geo.Panels[i].W) / float64(w)
	}
	return n.place.Scale * cmp.Or(n.clips[i].panel.Fineness, 1) * drawn * cmp.Or(n.geo.Panels[i].Scale, 1)
}

// limitArcsec is the period of the finest detail that the telescope passes, λ/D; 0 if unknown.
func (n night) limitArcsec(s pageSettings) float64 {
	if s.ApertureMM == 0 {
		return 0
	}
	nm := n.light.WavelengthNM
	if nm == 0 {
		nm = 550 // green
	}
	return 206264.806 * nm * 1e-6 / s.ApertureMM
}

// leastSlant is the cosine of the angle beyond which ground is too near the limb for its name to be read.
const leastSlant = 0.07

// leastSize is what a feature must measure in the picture, in pixels, for its name to be any help.
const leastSize = 3

// features lists what has a name, the most conspicuous first.
func (g *globe) features(l layoutTable) []feature {
	out := []feature{}
	perKM := g.limb.Radius / moon.RadiusKM
	for _, f := range gazetteer.Features() {
		x, y, slant, seen := g.at(f.Longitude, f.Latitude)
		if !seen || slant < leastSlant || f.DiameterKM*perKM < leastSize || x < 0 || y < 0 || x >= float64(l.Width) || y >= float64(l.Height) {
			continue
		}
		lit := 0
		if l.lit(x, y) {
			lit = 1
		}
		size := f.DiameterKM * perKM
		out = append(out, feature{f.Name, tidy(x, 1), tidy(y, 1), tidy(size, 1), f.DiameterKM, lit, tidy(size*weightOf(f.Name), 1)})
	}
	slices.SortStableFunc(out, func(a, b feature) int { return cmp.Compare(b[6].(float64), a[6].(float64)) })
	return out
}

// thin are the first words of names of what is long and narrow: its extent says little of how it strikes the eye.
var thin = map[string]float64{"Rima": 0.2, "Rimae": 0.2, "Dorsum": 0.15, "Dorsa": 0.15, "Catena": 0.2, "Vallis": 0.4, "Rupes": 0.4, "Montes": 0.5, "Mons": 0.6, "Promontorium": 0.6}

// weightOf is how much a name counts beside others of the same extent; a crater with a letter stands behind the one that it is
// called after.
func weightOf(name string) float64 {
	first, _, _ := strings.Cut(name, " ")
	if w, ok := thin[first]; ok {
		return w
	}
	if n := len(name); n > 2 && name[n-2] == ' ' {
		return 0.4
	}
	return 1
}

// gridStep is by how many degrees the points of a line of the grid lie apart.
const gridStep = 3

// grid returns meridians and parallels, every 10 and every 15 degrees, as far as they are on the near side.
func (g *globe) grid() []gridLine {
	out := []gridLine{}
	for deg := -180; deg < 180; deg += 5 {
		every := everyOf(deg)
		if len(every) == 0 {
			continue
		}
		for _, points := range g.lines(-90, 90, func(t float64) (lon, lat float64) { return float64(deg), t }) {
			out = append(out, gridLine{float64(deg), "lon", every, points})
		}
		if deg <= -90 || deg >= 90 {
			continue
		}
		for _, points := range g.lines(-180, 180, func(t float64) (lon, lat float64) { return t, float64(deg) }) {
			out = append(out, gridLine{float64(deg), "lat", every, points})
		}
	}
	return out
}

func everyOf(deg int) []int {
	var out []int
	for _, step := range []int{10, 15} {
		if deg%step == 0 {
			out = append(out, step)
		}
	}
	return out
}

// lines follows a line of the grid, and breaks it where it goes behind the limb.
func (g *globe) lines(from, to int, at func(t float64) (lon, lat float64)) [][][2]float64 {
	var out [][][2]float64
	var line [][2]float64
	for t := from; t <= to; t += gridStep {
		lon, lat := at(float64(t))
		x, y, _, seen := g.at(lon, lat)
		if seen {
			line = append(line, [2]float64{tidy(x, 10), tidy(y, 10)})
		}
		if (!seen || t == to) && len(line) > 1 {
			out = append(out, line)
		}
		if !seen {
			line = nil
		}
	}
	return out
}

func (g *globe) sceneDisk(n night) *sceneDisk {
	x, y := g.onPicture(0, 0)
	ex, ey := g.onPicture(1, 0)
	nx, ny := g.onPicture(0, 1)
	d := &sceneDisk{X: tidy(x, 100), Y: tidy(y, 100), PerEast: [2]float64{tidy(ex-x, 1e3), tidy(ey-y, 1e3)}, PerNorth: [2]float64{tidy(nx-x, 1e3), tidy(ny-y, 1e3)}}
	middle, _ := g.disk.Unproject(0, 0)
	lon, lat := middle.LonLat()
	d.SubLonDeg, d.SubLatDeg = tidy(lon, 1e3), tidy(lat, 1e3)
	km := cmp.Or(n.face.View.DistanceKM, n.hourKM(), meanDistanceKM)
	d.Near = tidy(moon.RadiusKM/km, 1e6)
	return d
}

// meanDistanceKM is that of the Moon's middle from the Earth's over time (Meeus 1998, ch. 47).
const meanDistanceKM = 385000.56

func placeText(lonDeg, latDeg float64) string {
	ns, ew := "N", "E"
	if latDeg < 0 {
		ns = "S"
	}
	if lonDeg < 0 {
		ew = "W"
	}
	return fmt.Sprintf("%.1f° %s, %.1f° %s", math.Abs(latDeg), ns, math.Abs(lonDeg), ew)
}

// tidy rounds to parts of one, so that a page does not carry digits that nobody sees; never to −0.
func tidy(v, parts float64) float64 { return math.Round(v*parts)/parts + 0 }
