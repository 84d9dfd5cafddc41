package mosaic

import (
	"context"
	"errors"
	"fmt"
	"image"
	"math"
	"slices"

	"plenilune/pipeline"
	"plenilune/steps/kernel/moon"
	"plenilune/steps/kernel/portable"
	"plenilune/steps/mosaic/orient"
)

// Orientation states how the Moon lies in the joined picture, where that is not to be found.
type Orientation struct {
	// NorthDeg is the direction of the Moon's north, in degrees anticlockwise from the picture's top.
	NorthDeg float64 `hcl:"north_deg" min:"-360" max:"360"`
	// Mirrored says that the optics change left and right over, as a star diagonal does.
	Mirrored bool `hcl:"mirrored,optional"`
}

// orientSettings are what is stated, if anything.
type orientSettings struct {
	Stated   bool
	NorthDeg float64
	Mirrored bool
}

func statedNorth(stated *Orientation) orientSettings {
	if stated == nil {
		return orientSettings{}
	}
	return orientSettings{true, stated.NorthDeg, stated.Mirrored}
}

func orientPart(in []pipeline.Input, stated *Orientation) pipeline.Part {
	return pipeline.Part{Name: "orient", Version: 3, Settings: statedNorth(stated), In: in, Out: []string{"orientation"}, Memory: perPanel, Run: pipeline.Bind(runOrient)}
}

// orientationTable is how the Moon lies in the joined picture, and how it stood.
type orientationTable struct {
	orient.Orientation
	View  viewTable   `json:"view"`
	Holes []holePlace `json:"holes,omitempty"` // in the order of the placements' holes
}

// viewTable is the sub-observer point and the distance of the Moon's middle that the picture is drawn for.
type viewTable struct {
	Known      bool    `json:"known"`
	SubLonDeg  float64 `json:"sub_lon_deg"`
	SubLatDeg  float64 `json:"sub_lat_deg"`
	DistanceKM float64 `json:"distance_km"`
}

// holePlace is a place on the Moon, in degrees east and north.
type holePlace struct {
	Known  bool    `json:"known"` // its middle lies on the disk
	LonDeg float64 `json:"lon_deg"`
	LatDeg float64 `json:"lat_deg"`
}

// runOrient tells which way the Moon's north is and whether the picture is mirrored: as stated, or by how the ball turned under the
// panels, or by its maria.
func runOrient(ctx context.Context, s orientSettings, t *pipeline.Task) error {
	var p placementsTable
	var g geometry
	if err := errors.Join(t.One("placements").Table(&p), t.One("geometry").Table(&g)); err != nil {
		return err
	}
	o := orientationTable{}
	if d := g.Sphere.DistanceKM; d > 0 {
		o.View = viewTable{true, g.Sphere.SubLonDeg, g.Sphere.SubLatDeg, d}
	}
	var middle *moon.View
	if p.Limb.Found {
		light, err := diskLight(ctx, t, p.Limb)
		if err != nil {
			return err
		}
		tables, err := readTables(t)
		if err != nil {
			return err
		}
		middle = fromTheMiddle(g, tables)
		o.findByMaria(orient.NewFace(light), middle)
	}
	if g.Sphere.Carried { // the maria tell north better, if they tell it
		turn := orient.Orientation{Known: true, Source: "turn", NorthDeg: g.Sphere.north(), Mirrored: g.Sphere.Mirrored, UnsureDeg: turnUnsure}
		if turn = o.hold(t, turn); !o.Known {
			o.Orientation = turn
		}
	}
	if s.Stated {
		o.Orientation = o.hold(t, orient.Orientation{Known: true, Source: "stated", NorthDeg: wrap(s.NorthDeg*math.Pi/180) * 180 / math.Pi, Mirrored: s.Mirrored})
	}
	if p.Limb.Found {
		o.placeHoles(t, p, middle)
	}
	o.state(t)
	return t.PutTable("orientation", o)
}

// turnUnsure is by how many degrees north is off, at the most, that the overlaps of panels carried over the ball tell: the air bends them
// more than a ball does that turned by a fraction of a degree. Measured on three simulated nights: 15.5°, 2.9° and 4.0°.
const turnUnsure = 15.0

// fromTheMiddle is how the Moon stood for the Earth's middle at the middle one of the clips' times; nil where they tell none.
func fromTheMiddle(g geometry, tables []panelTable) *moon.View {
	at := middleTime(g, tables)
	if at == 0 {
		return nil
	}
	v := moon.Centre(moon.Unix(at))
	return &v
}

// middleTime is the middle one of the times of the panels that are placed, in nanoseconds since 1970; 0 if they tell none.
func middleTime(g geometry, tables []panelTable) int64 {
	var times []int64
	for i, p := range g.Panels {
		if at := tables[i].MidUnixNS; p.Placed && at > 0 {
			times = append(times, at)
		}
	}
	if len(times) == 0 {
		return 0
	}
	slices.Sort(times)
	return times[len(times)/2]
}

// findByMaria looks for north where the maria are. From above which place the Moon is seen is known with a site; without one, the Earth's
// middle at the clips' times is tried besides.
func (o *orientationTable) findByMaria(face orient.Face, middle *moon.View) {
	if o.View.Known {
		if o.Orientation = orient.Find(face, orient.GlobesFrom(o.View.SubLatDeg, o.View.SubLonDeg)); o.Known {
			o.UnsureDeg = orient.FoundUnsureFrom
		}
		return
	}
	maps := orient.Globes()
	tried := len(maps)
	if middle != nil {
		maps = append(maps, orient.GlobesFrom(middle.SubLatDeg, middle.SubLonDeg)...)
	}
	if o.Orientation = orient.Find(face, maps); o.Known && o.Map >= tried {
		o.UnsureDeg = orient.FoundUnsureFrom
	}
}

// hold holds an orientation from elsewhere against what is known, and returns it with that.
func (o *orientationTable) hold(t *pipeline.Task, other orient.Orientation) orient.Orientation {
	out := other.Against(o.Orientation)
	if out.Belied {
		how := map[string]string{"stated": "as stated", "turn": "as the Moon turned under the panels", "found": "as the maria show it"}
		used := other
		if other.Source == "turn" {
			used = o.Orientation
		}
		t.Warn("orientation-differs", "%s, north lies %.0f° anticlockwise from the top, %s; %s, %.0f°, %s: the picture is taken to lie %s",
			how[other.Source], out.NorthDeg, mirrorWord(out.Mirrored), how[o.Source], out.FoundDeg, mirrorWord(out.FoundMirrored), how[used.Source])
	}
	return out
}

func (o *orientationTable) state(t *pipeline.Task) {
	if o.Likeness != 0 {
		t.Fact("map_likeness", o.Likeness, "of 1")
		t.Fact("next_likeness", o.Rival, "of 1")
	}
	if !o.Known {
		t.FactText("orientation", "unknown")
		return
	}
	t.Fact("north", o.NorthDeg, "° anticlockwise from the top")
	t.Fact("north_unsure", o.UnsureDeg, "°")
	t.FactText("handedness", mirrorWord(o.Mirrored))
	t.FactText("orientation", o.Source)
}

// meanDistanceKM is that of the Moon's middle from the Earth's over time (Meeus 1998, ch. 47).
const meanDistanceKM = 385000.56

// placeHoles says where on the Moon the holes are, if the orientation tells; from the Earth's middle to 1°, the Moon's parallax, and
// without the libration to some 8°.
func (o *orientationTable) placeHoles(t *pipeline.Task, p placementsTable, middle *moon.View) {
	if !o.Known {
		return
	}
	disk, unsure := moon.DiskOf(0, 0, meanDistanceKM), max(8, o.UnsureDeg)
	switch {
	case o.View.Known:
		disk, unsure = moon.DiskOf(o.View.SubLonDeg, o.View.SubLatDeg, o.View.DistanceKM), o.UnsureDeg
	case middle != nil:
		disk, unsure = middle.Disk(), max(1, o.UnsureDeg)
	}
	about := ""
	if unsure > 0 {
		about = fmt.Sprintf("some %.0f° about ", unsure)
	}
	for _, h := range p.Holes {
		x, y := o.northUp((h.X-p.Limb.X)/p.Limb.Radius, (p.Limb.Y-h.Y)/p.Limb.Radius)
		at, ok := disk.Unproject(x, y)
		if !ok { // a hole's middle may lie beyond the limb
			o.Holes = append(o.Holes, holePlace{})
			continue
		}
		lon, lat := at.LonLat()
		o.Holes = append(o.Holes, holePlace{true, lon, lat})
		t.Warn("hole-place", "on the Moon, the hole of %.0f px² is at %s%.1f° %s, %.1f° %s",
			h.Area, about, math.Abs(lat), side(lat, "north", "south"), math.Abs(lon), side(lon, "east", "west"))
	}
}

// northUp turns a place, to the right and up in the picture, so that north is up and east to the right.
func (o *orientationTable) northUp(x, y float64) (float64, float64) {
	sin, cos := portable.Sincos(o.NorthDeg * math.Pi / 180)
	u, v := float64(cos*x)+float64(sin*y), float64(cos*y)-float64(sin*x)
	if o.Mirrored {
		u = -u
	}
	return u, v
}

func mirrorWord(mirrored bool) string {
	if mirrored {
		return "mirrored"
	}
	return "not mirrored"
}

// diskLight averages the joined picture, its middle channel, over the samples of an orient.Face: NaN where it shows nothing.
func diskLight(ctx context.Context, t *pipeline.Task, limb limbRow) ([]float64, error) {
	r, err := t.One("image").Plane()
	if err != nil {
		return nil, err
	}
	defer r.Close()
	w, h, channels := r.Size()
	sum, n := make([]float64, orient.Side*orient.Side), make([]float64, orient.Side*orient.Side)
	step := 2 * limb.Radius / orient.Side
	sample := func(at int, middle float64) int { // of a column or row of pixels
		return int(math.Floor((float64(at) - (middle - limb.Radius)) / step))
	}
	box := image.Rect(int(math.Ceil(limb.X-limb.Radius)), int(math.Ceil(limb.Y-limb.Radius)), int(limb.X+limb.Radius), int(limb.Y+limb.Radius))
	box = box.Intersect(image.Rect(0, 0, w, h))
	buf := make([]float32, box.Dx()*min(bandOfRows, box.Dy()))
	for y0 := box.Min.Y; y0 < box.Max.Y; y0 += bandOfRows {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		band := image.Rect(box.Min.X, y0, box.Max.X, min(y0+bandOfRows, box.Max.Y))
		if err := r.ReadRect(channels/2, band, buf[:band.Dx()*band.Dy()]); err != nil {
			return nil, fmt.Errorf("read the joined picture: %w", err)
		}
		for k, v := range buf[:band.Dx()*band.Dy()] {
			i, j := sample(band.Min.X+k%band.Dx(), limb.X), sample(band.Min.Y+k/band.Dx(), limb.Y)
			if v == v && min(i, j) >= 0 && max(i, j) < orient.Side {
				sum[j*orient.Side+i] += float64(v)
				n[j*orient.Side+i]++
			}
		}
	}
	for k := range sum {
		if n[k] > 0.5*step*step || n[k] > 0 && step < 2 {
			sum[k] /= n[k]
		} else {
			sum[k] = math.NaN()
		}
	}
	return sum, nil
}

// bandOfRows is how many rows of a picture are read at once.
const bandOfRows = 256
