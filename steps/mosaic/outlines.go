package mosaic

import (
	"context"
	"math"

	"plenilune/pipeline"
)

// outlineSteps is into how many pieces each side of a panel is cut: bends and the sphere make them no straight lines.
const outlineSteps = 12

// outlinesPart tells where the panels' borders lie in the joined picture, for whoever draws them: in geometry, out outlines.
func outlinesPart(geometry pipeline.Input) pipeline.Part {
	return pipeline.Part{Name: "outlines", Version: 1, In: []pipeline.Input{geometry}, Out: []string{"outlines"}, Memory: 1 << 20, Run: runOutlines}
}

func runOutlines(_ context.Context, t *pipeline.Task) error {
	var g geometry
	if err := t.One("geometry").Table(&g); err != nil {
		return err
	}
	ms, err := g.mappings()
	if err != nil {
		return err
	}
	out := make([][][2]float64, len(g.Panels)) // in panel order; none of a panel that is not placed
	for i, p := range g.Panels {
		if p.Placed {
			out[i] = p.outline(&ms[i])
		}
	}
	return t.PutTable("outlines", out)
}

// outline walks round a panel's border, clockwise as it was shot from its first pixel's corner on: places of the joined picture, px.
func (p placed) outline(m *mapping) (out [][2]float64) {
	right, low := float64(p.W), float64(p.H)
	corners := [5][2]float64{{0, 0}, {right, 0}, {right, low}, {0, low}, {0, 0}}
	for k, a := range corners[:4] {
		b := corners[k+1]
		for j := range outlineSteps {
			f := float64(j) / outlineSteps
			x, y := m.bent(p.Bend, a[0]+float64(f*(b[0]-a[0]))-0.5, a[1]+float64(f*(b[1]-a[1]))-0.5)
			out = append(out, [2]float64{math.Round(100*x) / 100, math.Round(100*y) / 100})
		}
	}
	return out
}

// bent is at for a panel with a bend: where its join shows a pixel. The bend is looked up at places of the picture, and thus found
// round by round; it differs by less than a tenth of itself over its own length.
func (m *mapping) bent(b bend, x, y float64) (float64, float64) {
	x0, y0 := m.at(x, y)
	x, y = x0, y0
	for range 4 {
		dx, dy := b.at(m.toPanel.at(x, y))
		x, y = x0+dx, y0+dy
	}
	return x, y
}
