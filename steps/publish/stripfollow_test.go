package publish

import (
	"bytes"
	stdpng "image/png"
	"math"
	"math/rand/v2"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/kernel/warp"
)

// hills is ground whose finest pattern is so many pixels across: bumps at random places, seen at a scale, with its first corner
// off by so many of its own pixels.
func hills(w, h int, scale, dx, dy float64) pipelinetest.Plane {
	r := rand.New(rand.NewPCG(6, 6))
	pix := make([]float32, w*h)
	for i := range pix {
		pix[i] = 0.4
	}
	for range 900 {
		x, y, high := 420*r.Float64(), 420*r.Float64(), 0.1*r.NormFloat64()
		x, y = float64(x*scale)+dx, float64(y*scale)+dy
		s := 3 * scale
		for v := max(0, int(y-4*s)); v < min(h, int(y+4*s)); v++ {
			for u := max(0, int(x-4*s)); u < min(w, int(x+4*s)); u++ {
				a, b := (float64(u)-x)/s, (float64(v)-y)/s
				pix[v*w+u] += float32(high * math.Exp(-(a*a+b*b)/2))
			}
		}
	}
	for i := range pix {
		pix[i] += float32(1e-4 * r.NormFloat64())
	}
	return pipelinetest.Plane{W: w, H: h, Pix: [][]float32{pix}}
}

func sheetOf(t *testing.T, s sheetSettings, c cropTable, planes []any, lays []any) *pipelinetest.Result {
	t.Helper()
	part := pipeline.Part{Name: "sheet", Settings: s, Out: []string{"file"}, Run: pipeline.Bind(drawSheet)}
	return pipelinetest.Run(t, part, map[string][]any{"crop": {c}, "linear": planes, "image": planes, "layout": lays})
}

// Of one ground at twice the scale, joined anew so that it lies elsewhere, a tile shows what the first does, and says the same
// arcseconds by its own scale.
func TestTilesOfAnotherScale(t *testing.T) {
	c := cropTable{120, 100, 128}
	// With a limb whose radius is far amiss, as where a short arc of it is in view, the sizes tell.
	for _, of := range []struct {
		known  bool
		radius float64
	}{{true, 380}, {true, 300}, {false, 0}} {
		one, two := hills(420, 420, 1, 0, 0), hills(852, 850, 2, 7, 4)
		a := lay{W: 420, H: 420, ToSource: warp.Identity(), Scale: 0.8, Disk: disk{of.known, 210, 210, 190}}
		// the limb is measured 5 px amiss
		b := lay{W: 852, H: 850, ToSource: warp.Identity(), Scale: 0.4, Disk: disk{of.known, 2*210 + 7 + 5, 2*210 + 4 - 5, of.radius}}
		r := sheetOf(t, sheetSettings{Labels: []string{"1", "2"}, Zoom: 1}, c, []any{one, two}, []any{a, b})
		facts := map[string]float64{}
		for _, f := range r.Facts {
			facts[f.Name] = f.Value
		}
		x, y := facts["tile_1_finest_detail_on_the_sky"], facts["tile_2_finest_detail_on_the_sky"]
		if x == 0 || math.Abs(y/x-1) > 0.15 || r.Warned("tile-not-found") {
			t.Errorf("%+v: detail to %.2f″ and %.2f″ (%v)", of, x, y, r.Warnings)
		}
		img, err := stdpng.Decode(bytes.NewReader(r.Bytes("file")))
		if err != nil {
			t.Fatal(err)
		}
		// Both tiles have 256 px a side and show the same to a level of some, a pixel of the first as two by two.
		worst := 0.0
		for v := 8; v < 248; v++ {
			for u := 8; u < 248; u++ {
				p, _, _, _ := img.At(sheetGap+u, sheetTitle+v).RGBA()
				q, _, _, _ := img.At(2*sheetGap+256+u, sheetTitle+v).RGBA()
				worst = max(worst, math.Abs(float64(p)-float64(q))/65535)
			}
		}
		if worst > 0.1 {
			t.Errorf("%+v: the tiles differ by %.2f of white: they show other ground", of, worst)
		}
	}
}

// A crop that is not in another picture is told to be lost, and nothing is measured of what is shown in its place.
func TestTileThatIsNotFound(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 7))
	noise := pipelinetest.Plane{W: 430, H: 430, Pix: [][]float32{grain(r, 430, 430, 0.4, 0.1)}}
	a := lay{W: 420, H: 420, ToSource: warp.Identity()}
	b := lay{W: 430, H: 430, ToSource: warp.Identity()}
	got := sheetOf(t, sheetSettings{Labels: []string{"1", "2"}, Zoom: 1}, cropTable{120, 100, 128}, []any{hills(420, 420, 1, 0, 0), noise}, []any{a, b})
	if !got.Warned("tile-not-found") {
		t.Error("noise passes for the crop")
	}
	for _, f := range got.Facts {
		if f.Name == "tile_2_finest_detail" {
			t.Errorf("of other ground, detail to %g px is told", f.Value)
		}
	}
	if text := (tileFigures{lost: true}).text(); text != "place not found" {
		t.Errorf("under the tile stands %q", text)
	}
}

// What a strip asks for grows with its crop and its columns; and a sheet that nobody could open is refused.
func TestStripIsBounded(t *testing.T) {
	small, large := sheetSettings{Columns: 2, Zoom: 1}, sheetSettings{Columns: 64, Zoom: 1}
	if a, b := small.memory(2048), large.memory(2048); a < 4*64*2048*2048 || b-a < 62*3*4*2048*2048 {
		t.Errorf("%d and %d bytes are asked for", a, b)
	}
	s := &StripSettings{File: "a.png", SizePx: 2048, Zoom: 8, Tiles: make([]Tile, 1)}
	if p := checkStrip(s, pipeline.Night{}); len(p) != 1 || p[0].Path != "size_px" {
		t.Errorf("of a sheet of 268 million pixels is said %v", p)
	}
	s.Zoom = 4
	if p := checkStrip(s, pipeline.Night{}); len(p) != 0 {
		t.Errorf("of a sheet of 67 million pixels is said %v", p)
	}
	sh := &sheet{sheetSettings: sheetSettings{Labels: make([]string, 4)}, side: 4000}
	if sh.grow(8000); sh.side != 4000 {
		t.Errorf("for a finer picture the sheet grew to 4 tiles of %d px a side", sh.side)
	}
	if sh.grow(5000); sh.side != 5000 {
		t.Errorf("with room for 5000 px, a tile has %d", sh.side)
	}
}
