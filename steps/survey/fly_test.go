package survey

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"plenilune/pipeline"
)

// flight is a night flown: a raster over the sky about the disk's middle, and which of it lies on ground that counts.
type flight struct {
	need []int32 // the raster's points that must be shown
	side int
	seen []uint32
	turn uint32
}

// raster is the distance of points in arcmin.
const raster = 0.1

func newFlight(r *Report, cover string) *flight {
	radius := r.View.SemidiameterArcsec / 60
	f := &flight{side: 2*int(radius/raster+2) + 1}
	f.seen = make([]uint32, f.side*f.side)
	disk := r.View.Disk()
	for j := range f.side {
		for i := range f.side {
			east, north := f.place(i), f.place(j)
			p, ok := disk.Unproject(r.View.OnDisk(60*east, 60*north))
			if ok && (cover == "disk" || r.View.Incidence(p) > 0) {
				f.need = append(f.need, int32(j*f.side+i))
			}
		}
	}
	return f
}

func (f *flight) place(i int) float64 { return float64(i-f.side/2) * raster }

// pose is where the camera stood at one instant.
type pose struct{ sin, cos, east, north float64 }

// poses are those of the first and the last frame of each clip: a picture holds what both show. Between them the Moon goes on, and the field
// turns and stays behind.
func poses(r *Report) (out [][2]pose) {
	for _, p := range r.Grid.Panels {
		var two [2]pose
		for k := range two {
			off := float64(2*k-1) * r.How.ClipS / 2
			when := p.At.Add(seconds(r.How.ClipS/2 + off))
			sin, cos := math.Sincos(r.upDeg(when) * math.Pi / 180)
			d := r.drift(when)
			two[k] = pose{sin, cos, p.EastArcmin - d.x*off/60, p.NorthArcmin - d.y*off/60}
		}
		out = append(out, two)
	}
	return out
}

// gaps shoots all panels with errors of aim and tells how much ground none of them shows.
func (f *flight) gaps(r *Report, all [][2]pose, sigma float64, dice *rand.Rand) int {
	f.turn++
	w, h := r.Optics.WidthArcmin/2, r.Optics.HeightArcmin/2
	reach := math.Hypot(w, h)
	for _, two := range all {
		dx, dy := sigma*dice.NormFloat64(), sigma*dice.NormFloat64()
		for j := f.index(two[0].north + dy - reach); j <= f.index(two[0].north+dy+reach); j++ {
			from, to := math.Inf(-1), math.Inf(1)
			for _, q := range two {
				// On a row |y·sin − x·cos| ≤ w and |x·sin + y·cos| ≤ h bound x, which counts from the panel's middle.
				x, y := q.east+dx, f.place(j)-q.north-dy
				a, b := within(-q.cos, y*q.sin, w)
				c, d := within(q.sin, y*q.cos, h)
				from, to = max(from, x+a, x+c), min(to, x+b, x+d)
			}
			for i := max(0, int(math.Ceil(from/raster))+f.side/2); i < f.side && f.place(i) <= to; i++ {
				f.seen[j*f.side+i] = f.turn
			}
		}
	}
	n := 0
	for _, i := range f.need {
		if f.seen[i] != f.turn {
			n++
		}
	}
	return n
}

// within returns between which x |k·x + c| ≤ most.
func within(k, c, most float64) (from, to float64) {
	if math.Abs(k) < 1e-12 {
		if math.Abs(c) <= most {
			return math.Inf(-1), math.Inf(1)
		}
		return 0, -1
	}
	a, b := (-most-c)/k, (most-c)/k
	return min(a, b), max(a, b)
}

func (f *flight) index(v float64) int {
	return min(max(int(math.Floor(v/raster))+f.side/2, 0), f.side-1)
}

// TestGridsClose flies every grid a hundred times with the errors of aim that were stated, or that it says it bears: the ground must be closed 99
// times. The field turns as the ephemeris has it, and the Moon drifts.
func TestGridsClose(t *testing.T) {
	type night struct {
		day   string
		n     pipeline.Night
		error float64 // stated, arcmin; negative: not
	}
	var nights []night
	add := func(day, mount string, overlap, sigma float64, cover string) {
		n := bench(1936, 1096)
		n.Mount, n.Survey.Overlap, n.Survey.Cover, n.Camera.AngleDeg = mount, overlap, cover, 25
		if sigma >= 0 {
			n.Survey.PointingErrorArcmin = &sigma
		}
		nights = append(nights, night{day, n, sigma})
	}
	for _, overlap := range []float64{0.15, 0.30, 0.50} {
		for _, sigma := range []float64{-1, 0.25} {
			add("2027-03-19", "equatorial", overlap, sigma, "disk")
			add("2027-03-19", "altaz", overlap, sigma, "lit")
		}
	}
	add("2027-03-11", "altaz", 0.15, 0.25, "lit")
	add("2027-03-14", "altaz", 0.15, 0.25, "lit")
	add("2027-06-18", "altaz", 0.30, 0.25, "lit")
	small := bench(1280, 960)
	small.Tracking, small.Survey.ClipS = "sidereal", 120
	nights = append(nights, night{"2027-03-19", small, -1})
	still := bench(4144, 2822)
	still.Tracking, still.Survey.ClipS, still.Mount = "none", 8, "altaz"
	nights = append(nights, night{"2027-03-19", still, -1})
	for _, c := range nights {
		name := fmt.Sprintf("%s %s %s overlap %.2f, error %.2f′", c.day, c.n.Mount, c.n.Tracking, c.n.Survey.Overlap, c.error)
		r := plan(t, c.n, c.day)
		if r.Grid == nil {
			t.Errorf("%s: no grid: %s", name, r.NoGrid)
			continue
		}
		sigma := c.error
		if sigma < 0 {
			sigma = r.Grid.BearsArcmin
		}
		f, all, dice := newFlight(r, c.n.Survey.Cover), poses(r), rand.New(rand.NewPCG(7, 11))
		const flights = 100
		open := 0
		for range flights {
			if f.gaps(r, all, sigma, dice) > 0 {
				open++
			}
		}
		t.Logf("%s: %d panels, overlap %.2f × %.2f, error %.3f′: %d of %d open", name, len(r.Grid.Panels), r.Grid.OverlapX, r.Grid.OverlapY, sigma, open, flights)
		if open > flights/100 {
			t.Errorf("%s: %d of %d flights left gaps", name, open, flights)
		}
	}
}

// A flight with a panel left out, or with larger errors, must find gaps: the flights above can fail.
func TestFlightsFindGaps(t *testing.T) {
	r := plan(t, bench(1936, 1096), "2027-03-19")
	f, all, dice := newFlight(r, "lit"), poses(r), rand.New(rand.NewPCG(7, 11))
	if n := f.gaps(r, all, 0, dice); n > 0 {
		t.Fatalf("%d points open without any error", n)
	}
	open := 0
	for range 50 {
		if f.gaps(r, all, 4*r.Grid.BearsArcmin, dice) > 0 {
			open++
		}
	}
	if open < 25 {
		t.Errorf("with errors four times as large only %d of 50 flights left gaps", open)
	}
	if f.gaps(r, append(all[:5:5], all[6:]...), 0, dice) == 0 {
		t.Error("a panel is left out, and there is no gap")
	}
}
