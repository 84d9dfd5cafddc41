package mosaic

import (
	"context"
	"errors"
	"fmt"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/robust"
)

// levelsSettings name the panels, for the placements table and warnings only, and hold what else it depends on.
type levelsSettings struct {
	IDs               []string
	Extent            string
	StatedArcsecPerPx float64 // of the sensor's pixels
}

// levelsTable is what joining needs to know of brightness, in panel order.
type levelsTable struct {
	Levels   []level   // of the mean of the channels
	Channels [][]level // of each panel's channels; none where all have one
	Falloff  falloff   // of the sensor
	Sensor   []bool    // which panels were taken with all of it
	Glows    glows     // of the mean of the channels
	Tints    []glows   // of each channel; none where all panels have one
}

// falloff returns what a panel's pixels are to be freed of before they are levelled.
func (l levelsTable) falloff(i int) *falloff {
	if i < len(l.Sensor) && l.Sensor[i] {
		return &l.Falloff
	}
	return &falloff{}
}

// glows returns a panel's glow in each of its channels.
func (l levelsTable) glows(i, channels int) []glow {
	out := make([]glow, channels)
	for c := range out {
		if out[c] = l.Glows.of(i); channels > 1 && c < len(l.Tints) {
			out[c] = l.Tints[c].of(i)
		}
	}
	return out
}

// of returns a panel's level in each channel.
func (l levelsTable) of(i int) []level {
	if i < len(l.Channels) {
		return l.Channels[i]
	}
	return l.Levels[i : i+1]
}

// placementsTable is the mosaic's account of itself, for the stages after and for people.
type placementsTable struct {
	Panels      []placement `json:"panels"`
	Overlaps    []overlap   `json:"overlaps"`
	Limb        limbRow     `json:"limb"`
	Scale       float64     `json:"scale_arcsec_per_px"` // 0: unknown
	ScaleSource string      `json:"scale_source"`        // "stated", "limb" or ""
	Estimated   bool        `json:"estimated"`
	ScaleMoon   string      `json:"scale_moon,omitempty"` // whose size gave an estimated scale: moonOfSite, moonOfHour or moonOfMean
	Extent      string      `json:"extent"`               // "disk" or "region"
	Holes       []hole      `json:"holes"`
	NoiseSigma  float64     `json:"noise_sigma"`

	Vignetting float64 `json:"vignetting_pct"` // by how much the sensor's corners were the darker, and are no more

	Fineness float64 `json:"px_per_sensor_px"` // along a side
}

type placement struct {
	ID      string  `json:"id"`
	Placed  bool    `json:"placed"`
	X       float64 `json:"x"` // of the panel's middle, px
	Y       float64 `json:"y"`
	TurnDeg float64 `json:"turn_deg"`
	Scale   float64 `json:"scale"`
	Factor  float64 `json:"factor"`
	Offset  float64 `json:"offset"`
	Glow    float64 `json:"glow_pct"` // of white, by how much its light rose from the middle to the rim, and does no more
	RMS     float64 `json:"overlap_rms_px"`
	Why     string  `json:"why,omitempty"`
}

type limbRow struct {
	Found  bool    `json:"found"`
	X      float64 `json:"x"`
	Y      float64 `json:"y"`
	Radius float64 `json:"radius_px"`
	RMS    float64 `json:"rms_px"`
	ArcDeg float64 `json:"arc_deg"`
}

// extentOf decides whether the picture is a disk or a region, as asked for or by how much it shows, and lists its holes.
func extentOf(t *pipeline.Task, c coverage, g geometry, asked string) (string, []hole) {
	sunlit, share := c.sunlitCells(g)
	extent := asked
	if asked == "auto" {
		if extent = "region"; share >= wholeShare {
			extent = "disk"
		}
	}
	t.FactText("extent", extent)
	if g.Limb.Found {
		t.Fact("sunlit_shown", 100*share, "% of the sunlit disk")
	}
	return extent, c.holes(g, sunlit, extent == "disk")
}

func runLevels(ctx context.Context, s levelsSettings, t *pipeline.Task) error {
	var g geometry
	if err := t.One("geometry").Table(&g); err != nil {
		return err
	}
	tables, err := readTables(t)
	if err != nil {
		return err
	}
	if n := len(g.Panels); len(s.IDs) != n || len(tables) != n || len(t.In("image")) != n || len(t.In("full")) != n {
		return errors.New("the table of placements does not fit the panels")
	}
	fine, err := fineness(tables)
	if err != nil {
		return err
	}
	c := mapFor(g)
	looks, err := lookForLevels(ctx, t, g, c)
	if err != nil {
		return err
	}
	b, err := matchBrightness(ctx, t, looks)
	if err != nil {
		return err
	}
	channels, tints, err := b.channels(ctx, t, looks)
	if err != nil {
		return err
	}
	out := placementsTable{Limb: limbRow{g.Limb.Found, g.Limb.X, g.Limb.Y, g.Limb.R, g.Limb.RMS, g.Limb.ArcDeg},
		Vignetting: 100 * b.falloff.corner(), Fineness: fine}
	out.Panels, out.NoiseSigma = placementsOf(t, g, s.IDs, tables, b)
	out.Overlaps = overlapsOf(s.IDs, b.ties, b.levels, g.Overlaps)
	stateLevels(t, out.Panels, out.Overlaps)
	size := moonFor(g, tables)
	out.Scale, out.ScaleSource, out.Estimated = chooseScale(t, s.StatedArcsecPerPx/fine, g.Limb, size)
	if out.Estimated {
		out.ScaleMoon = size.from
	}
	c.fill(looks, b.levels)
	warnOverexposed(t, c.overexposed())
	out.Extent, out.Holes = extentOf(t, c, g, s.Extent)
	warnHoles(t, g, out.Holes)
	if err := warnTwice(t, g, s.IDs); err != nil {
		return err
	}
	warnSky(t, g)
	warnClocks(t, g, s.IDs)
	if s.Extent == "disk" && !g.Limb.Found {
		t.Warn("disk-open", "the mosaic is to be a disk, but no limb was found in it: whether it is whole cannot be told")
	}
	if err := t.PutTable("levels", levelsTable{b.levels, channels, b.falloff, b.has, b.glows, tints}); err != nil {
		return err
	}
	return t.PutTable("placements", out)
}

// placementsOf tells where each panel lies, or why it does not, and the usual noise of those that do.
func placementsOf(t *pipeline.Task, g geometry, ids []string, tables []panelTable, b brightness) (out []placement, noise float64) {
	var all []float64
	for i, p := range g.Panels {
		row := placement{ID: ids[i], Placed: p.Placed, Scale: 1, Factor: 1, Why: warnPanel(t, g, ids, i, tables[i].SkyOnly)}
		if p.Placed {
			row.X, row.Y, row.TurnDeg, row.Scale, row.RMS = p.X, p.Y, p.TurnRad*180/math.Pi, p.Scale, p.RMS
			row.Factor, row.Offset = b.levels[i].Factor, b.levels[i].Offset
			row.Glow = 100 * b.glows.of(i).strength()
			all = append(all, tables[i].NoiseSigma*b.levels[i].Factor)
		}
		out = append(out, row)
	}
	if len(all) > 0 {
		noise = robust.Median(all)
	}
	return out, noise
}

// warnPanel says why a panel is not in the mosaic; empty if it is.
func warnPanel(t *pipeline.Task, g geometry, ids []string, i int, told bool) string {
	p := g.Panels[i]
	name := func(k int) string { return clipOf(ids[k]) }
	switch {
	case p.Placed:
		if p.Empty {
			t.Warn("panel-sky-only", "%s shows nothing but sky or unlit ground", name(i))
		}
		warnHint(t, p, name(i))
		return p.Hint
	case p.Hint == hintUseless:
		warnHint(t, p, name(i))
	}
	switch {
	case p.Empty:
		if !told {
			t.Warn("panel-sky-only", "%s shows nothing but sky or unlit ground and is left out", name(i))
		}
		return "nothing but sky or unlit ground"
	case p.Group != i || groupSize(g, p.Group) > 1:
		for k, q := range g.Panels {
			if k != i && q.Group == p.Group {
				t.Warn("panel-not-placed", "%s is left out: it joins %s, but neither joins the rest; clips between them are missing", name(i), name(k))
				return "joins other panels, but not the largest group"
			}
		}
	}
	t.Warn("panel-not-placed", "%s is left out: nothing in it was found in any other panel", name(i))
	return "nothing in it was found in any other panel"
}

// clipOf is how a warning speaks of a clip by its content.
func clipOf(id string) string {
	var c pipeline.ID
	if err := c.UnmarshalText([]byte(id)); err != nil {
		return id
	}
	return pipeline.ClipName(c)
}

// takenTwice is the share of a panel that another shows too, from which on the two are takes of one field.
const takenTwice = 0.85

// warnTwice names panels of one field.
func warnTwice(t *pipeline.Task, g geometry, ids []string) error {
	ms, err := g.mappings()
	if err != nil {
		return err
	}
	for i, p := range g.Panels {
		for j, q := range g.Panels[:i] {
			if p.Placed && q.Placed && min(p.within(q, &ms[i], &ms[j]), q.within(p, &ms[j], &ms[i])) >= takenTwice {
				t.Warn("panel-twice", "%s and %s are takes of the same field: both are used", clipOf(ids[j]), clipOf(ids[i]))
			}
		}
	}
	return nil
}

// within is the share of a panel that lies inside another, found at 20 by 20 places.
func (p placed) within(q placed, mp, mq *mapping) float64 {
	const side = 20
	n := 0
	for k := range side * side {
		x, y := mq.pixel(mp.at((float64(k%side)+0.5)/side*float64(p.W), (float64(k/side)+0.5)/side*float64(p.H)))
		if x >= 0 && y >= 0 && x < float64(q.W) && y < float64(q.H) {
			n++
		}
	}
	return float64(n) / (side * side)
}

// warnSky says that there is no Moon in what was placed.
func warnSky(t *pipeline.Task, g geometry) {
	for _, p := range g.Panels {
		if p.Placed && !p.Empty {
			return
		}
	}
	t.Warn("mosaic-sky-only", "no panel shows any sunlit ground: the picture shows nothing but sky; look at the clips' exposure and aim")
}

func groupSize(g geometry, group int) int {
	n := 0
	for _, p := range g.Panels {
		if p.Group == group {
			n++
		}
	}
	return n
}

func warnHoles(t *pipeline.Task, g geometry, holes []hole) {
	for _, h := range holes {
		where := fmt.Sprintf("at x = %.0f px, y = %.0f px", h.X, h.Y)
		if g.Limb.Found {
			dx, dy := h.X-g.Limb.X, h.Y-g.Limb.Y
			d := math.Sqrt(float64(dx*dx) + float64(dy*dy))
			where = fmt.Sprintf("%.0f px %s and %.0f px %s of the disk's middle (%.2f of its radius)",
				math.Abs(dx), side(dx, "right", "left"), math.Abs(dy), side(dy, "below", "above"), d/g.Limb.R)
		}
		t.Warn(HoleCode, "no panel shows the ground %s: a hole of %.0f px², %.1f %% of the disk", where, h.Area, h.Share)
	}
}

// worstOverexposed is how much of the lit ground may be overexposed wherever it is shown without a word: the peaks of
// some craters' walls.
const worstOverexposed = 0.005

func warnOverexposed(t *pipeline.Task, share float64) {
	if share > worstOverexposed {
		t.Fact("overexposed", 100*share, "% of the lit ground")
		t.Warn("ground-overexposed", "%.1f %% of the lit ground is overexposed in every clip that shows it, so that its brightness is not known; a clip of it that is exposed for a shorter time would tell", 100*share)
	}
}

func side(v float64, plus, minus string) string {
	if v >= 0 {
		return plus
	}
	return minus
}
