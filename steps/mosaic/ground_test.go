package mosaic

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"plenilune/cache"
	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
)

// ground is a made-up surface that can be looked at between pixels too: a sum of round bumps and pits, none
// narrower than 2 px, so that it holds nothing finer than a pixel grid can carry.
type ground struct {
	cells map[[2]int][]bump
	disk  *circle // if set, there is sky outside, with a soft edge
	rough float64 // px rms by which the disk's edge strays from the circle
}

type bump struct{ x, y, height, sigma float64 }

const groundCell = 24

func newGround(seed uint64, w, h, n int) *ground {
	rng := rand.New(rand.NewPCG(seed, 1))
	g := &ground{cells: map[[2]int][]bump{}}
	for range n {
		b := bump{rng.Float64() * float64(w), rng.Float64() * float64(h), 0.25 * (rng.Float64() - 0.5), 2 + 3*rng.Float64()}
		k := [2]int{int(b.x) / groundCell, int(b.y) / groundCell}
		g.cells[k] = append(g.cells[k], b)
	}
	return g
}

func (g *ground) at(x, y float64) float64 {
	v := 0.4
	cx, cy := int(math.Floor(x/groundCell)), int(math.Floor(y/groundCell))
	for j := cy - 1; j <= cy+1; j++ {
		for i := cx - 1; i <= cx+1; i++ {
			for _, b := range g.cells[[2]int{i, j}] {
				d2 := (x-b.x)*(x-b.x) + (y-b.y)*(y-b.y)
				v += b.height * math.Exp(-d2/(2*b.sigma*b.sigma))
			}
		}
	}
	if g.disk != nil {
		a := math.Atan2(y-g.disk.Y, x-g.disk.X)
		d := g.disk.R + g.hills(a) - math.Hypot(x-g.disk.X, y-g.disk.Y)
		v *= 0.5 * (1 + math.Erf(d/1.5))
	}
	return v + 0.02
}

// hills is how far the disk's edge lies outside the circle in a direction.
func (g *ground) hills(a float64) float64 {
	return g.rough * math.Sqrt(2.0/3) * (math.Sin(11*a) + math.Sin(23*a+1) + math.Sin(37*a+2))
}

// shot is one panel to be taken of a ground.
type shot struct {
	w, h         int
	pose         pose
	gain, offset float64
	ragged       bool // with borders of NaN, as stacks have them
	blank        bool // sky
	unixNS       int64
	dim          falloff // of the sensor
	glow         glow
	// sees, if set, is where in the ground's plane what the panel shows lies: it was taken from another side.
	sees func(x, y float64) (float64, float64)
}

// ground returns where in the ground's plane a pixel of the panel lies.
func (s shot) ground(x, y float64) (float64, float64) {
	x, y = s.pose.of(s.w, s.h).at(x, y)
	if s.sees != nil {
		return s.sees(x, y)
	}
	return x, y
}

func (s shot) take(g *ground, seed uint64) pipelinetest.Plane {
	rng := rand.New(rand.NewPCG(seed, 2))
	p := pipelinetest.Plane{W: s.w, H: s.h, Pix: [][]float32{make([]float32, s.w*s.h)}}
	for y := range s.h {
		for x := range s.w {
			v := 0.02
			if !s.blank {
				v = g.at(s.ground(float64(x), float64(y)))
			}
			if s.dim.Found {
				v *= s.dim.share(sensorPlace(float64(x), float64(y), s.w, s.h))
			}
			v = s.gain*v + s.offset + s.glow.at(sensorPlace(float64(x), float64(y), s.w, s.h)) + 2e-4*(rng.Float64()+rng.Float64()-1)
			if s.ragged && (x < 3+y%3 || y < 2 || x >= s.w-2-y%2) {
				v = math.NaN()
			}
			p.Pix[0][y*s.w+x] = float32(v)
		}
	}
	return p
}

// night is a set of shots with everything that came of them.
type night struct {
	shots      []shot
	geometry   geometry
	placements placementsTable
	image      pipelinetest.Plane
	weight     pipelinetest.Plane
	warnings   []pipeline.Warning
	outputs    map[string]pipeline.ID
}

func (n *night) warned(code string) int {
	k := 0
	for _, w := range n.warnings {
		if w.Code == code {
			k++
		}
	}
	return k
}

// join runs all parts of a mosaic on the shots.
func join(t *testing.T, g *ground, shots []shot, workers int) *night {
	t.Helper()
	return joinWith(t, g, shots, workers, placeSettings{}, "auto")
}

// joinWith is join with hints and an extent.
func joinWith(t *testing.T, g *ground, shots []shot, workers int, set placeSettings, extent string) *night {
	t.Helper()
	b := pipelinetest.New()
	b.Workers = workers
	run := func(p pipeline.Part, in map[string][]any) *pipelinetest.Result {
		t.Helper()
		r, err := b.Run(t, p, in)
		if err != nil {
			t.Fatalf("part %s: %v", p.Name, err)
		}
		return r
	}
	n := &night{shots: shots, outputs: map[string]pipeline.ID{}}
	in := map[string][]any{}
	var ids []string
	for i, s := range shots {
		p := s.take(g, uint64(i))
		weight := make([]float32, s.w*s.h)
		for k := range weight {
			weight[k] = 1
		}
		look := run(lookPart(pipeline.Item{}, ""), map[string][]any{"image": {p}})
		in["image"] = append(in["image"], p)
		in["full"] = append(in["full"], pipelinetest.Plane{W: s.w, H: s.h, Pix: [][]float32{make([]float32, s.w*s.h)}})
		in["noise"] = append(in["noise"], pipelinetest.Plane{W: s.w, H: s.h, Pix: [][]float32{slices.Repeat([]float32{1e-4}, s.w*s.h)}})
		in["weight"] = append(in["weight"], pipelinetest.Plane{W: s.w, H: s.h, Pix: [][]float32{weight}})
		in["panel"] = append(in["panel"], panelTable{NoiseSigma: 1e-4, MidUnixNS: s.unixNS})
		in["points"] = append(in["points"], look.Stored("points"))
		in["even"] = append(in["even"], look.Stored("even"))
		ids = append(ids, cache.Sum([]byte(fmt.Sprint(i))).String())
	}
	in["links"] = []any{run(linksPart(nil, "", 0), in).Stored("links")}
	place := run(placePart(nil, 0, set), in)
	place.Table("geometry", &n.geometry)
	in["geometry"] = []any{place.Stored("geometry")}
	levels := run(levelsPart(nil, 0, levelsSettings{IDs: ids, Extent: extent, StatedArcsecPerPx: set.StatedArcsecPerPx}), in)
	levels.Table("placements", &n.placements)
	in["levels"] = []any{levels.Stored("levels")}
	in["sharpness"] = []any{run(sharpPart(nil, 0), in).Stored("sharpness")}
	joined := run(joinPart(nil, 0), in)
	n.image, n.weight = joined.Plane("image"), joined.Plane("weight")
	n.warnings = append(levels.Warnings, place.Warnings...)
	for port, id := range joined.Outputs {
		n.outputs[port] = id
	}
	return n
}

// toGround returns the similarity from the joined picture to the ground, by least squares over the
// middles of the panels' quarters, and the largest distance left at one.
func (n *night) toGround() (similarity, float64) {
	var pts []pointPair
	for i, p := range n.geometry.Panels {
		if !p.Placed {
			continue
		}
		truth := n.shots[i].pose.of(p.W, p.H)
		for _, c := range [4][2]float64{{1, 1}, {3, 1}, {1, 3}, {3, 3}} {
			x, y := c[0]*float64(p.W)/4, c[1]*float64(p.H)/4
			ax, ay := p.toMosaic().at(x, y)
			bx, by := truth.at(x, y)
			pts = append(pts, pointPair{ax, ay, bx, by})
		}
	}
	s, _ := fitSimilarity(pts, nil)
	worst := 0.0
	for _, p := range pts {
		x, y := s.at(p.AX, p.AY)
		worst = max(worst, math.Hypot(x-p.BX, y-p.BY))
	}
	return s, worst
}

// psnr compares the joined picture with the ground, after one gain and offset, inside by px of its own border, in dB of
// the ground's range of 0.5.
func (n *night) psnr(g *ground, toGround similarity) float64 {
	mask, _ := maskOf(n.image.Pix[0])
	far := distance(mask, n.image.W, n.image.H)
	var k, sa, sb, saa, sab float64
	var as, bs []float64
	for i, v := range n.image.Pix[0] {
		if far[i] < 4 {
			continue
		}
		a, b := float64(v), g.at(toGround.at(float64(i%n.image.W), float64(i/n.image.W)))
		as, bs = append(as, a), append(bs, b)
		k++
		sa, sb, saa, sab = sa+a, sb+b, saa+a*a, sab+a*b
	}
	gain := (sab - sa*sb/k) / (saa - sa*sa/k)
	offset := (sb - gain*sa) / k
	sum := 0.0
	for i, a := range as {
		d := gain*a + offset - bs[i]
		sum += d * d
	}
	return -10 * math.Log10(sum/k/0.25)
}
