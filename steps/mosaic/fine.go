package mosaic

import (
	"context"
	"fmt"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/robust"
)

// windowsTable is what a stack says of how fine its detail is, place by place (see there).
type windowsTable struct {
	Width  int       `json:"width"`
	Height int       `json:"height"`
	NX     int       `json:"nx"`
	NY     int       `json:"ny"`
	X0     float64   `json:"x0"`
	Y0     float64   `json:"y0"`
	StepX  float64   `json:"step_x"`
	StepY  float64   `json:"step_y"`
	Limit  []float64 `json:"limit_cycles_per_px"` // pixels of the stack; 0: unknown
}

// at is the limit at a pixel of the stack, on straight lines between the windows' middles and flat beyond them; 0 where the windows about
// it tell nothing.
func (t *windowsTable) at(x, y float64) float64 {
	if t.NX*t.NY == 0 {
		return 0
	}
	i, u := between(x-t.X0, t.StepX, t.NX)
	j, v := between(y-t.Y0, t.StepY, t.NY)
	var sum, weight float64
	for k, w := range [4]float64{(1 - u) * (1 - v), u * (1 - v), (1 - u) * v, u * v} {
		if f := t.Limit[min(j+k/2, t.NY-1)*t.NX+min(i+k%2, t.NX-1)]; f > 0 {
			sum += float64(w * f)
			weight += w
		}
	}
	if weight < 0.5 {
		return 0
	}
	return sum / weight
}

// between returns the knot before a place, and how far behind it the place lies, 0…1.
func between(at, step float64, n int) (int, float64) {
	if step == 0 || at <= 0 {
		return 0, 0
	}
	f := min(at/step, float64(n-1))
	return int(f), f - math.Floor(f)
}

// finestTable is how fine the joined picture's detail is: periods in its pixels, in square cells from its first pixel on; 0 is unknown.
type finestTable struct {
	Cell     int       `json:"cell_px"`
	NX       int       `json:"nx"`
	NY       int       `json:"ny"`
	PeriodPx []float64 `json:"period_px"`
}

const (
	cellsMost = 256 // along the longer side
	leastCell = 16  // px; windows lie farther apart
)

func finestFor(w, h int) finestTable {
	t := finestTable{Cell: max(leastCell, (max(w, h)+cellsMost-1)/cellsMost)}
	t.NX, t.NY = (w+t.Cell-1)/t.Cell, (h+t.Cell-1)/t.Cell
	t.PeriodPx = make([]float64, t.NX*t.NY)
	return t
}

// middle is that of cell k, px.
func (t *finestTable) middle(k int) (x, y float64) {
	half := float64(float64(t.Cell-1) / 2)
	return float64(k%t.NX*t.Cell) + half, float64(k/t.NX*t.Cell) + half
}

// finestPart tells how fine the joined picture is at each place, by what the panels' stacks say of themselves. Ports are those of the
// join, and finest of each panel.
func finestPart(in []pipeline.Input, memory int64) pipeline.Part {
	return pipeline.Part{Name: "finest", Version: 1, In: in, Out: []string{"finest"}, Memory: memory / 2, Run: runFinest}
}

func runFinest(ctx context.Context, t *pipeline.Task) error {
	g, sheets, err := readSheets(t)
	if err != nil {
		return err
	}
	out := finestFor(g.Width, g.Height)
	told := make([][]cellSay, len(sheets))
	err = t.Each(ctx, len(sheets), func(i int) error {
		if sheets[i] == nil {
			return nil
		}
		var own windowsTable
		if err := t.In("finest")[i].Table(&own); err != nil {
			return fmt.Errorf("read how fine panel %d is: %w", i+1, err)
		}
		if len(own.Limit) == 0 {
			return nil
		}
		v, err := sheets[i].voiceAlone()
		if err != nil {
			return fmt.Errorf("read panel %d: %w", i+1, err)
		}
		told[i] = sheets[i].finest(&own, &v, g.Panels[i].Scale, &out)
		return nil
	})
	if err != nil {
		return err
	}
	out.blend(told)
	if known := out.known(); len(known) > 0 {
		t.Fact("finest_period", robust.Median(known), "px")
	}
	return t.PutTable("finest", out)
}

// cellSay is what a panel says of a cell: a frequency in cycles a pixel of the joined picture, and what it counts.
type cellSay struct {
	cell          int
	limit, weight float64
}

// finest is what a panel of a voice and a scale says of each cell in which it shows something. It counts as its finest plane does in the join.
func (s *sheet) finest(own *windowsTable, voice *voice, scale float64, cells *finestTable) (out []cellSay) {
	gain := s.sharp.gain(0)
	perPx := float64(own.Width) / float64(s.w) / scale // of the stack's pixels to one of the joined picture's
	for k := range cells.PeriodPx {
		x, y := cells.middle(k)
		if x < float64(s.box.Min.X) || y < float64(s.box.Min.Y) || x >= float64(s.box.Max.X) || y >= float64(s.box.Max.Y) {
			continue
		}
		u, v := s.lies(x, y)
		far, weight := voice.at(u, v)
		if far == 0 {
			continue
		}
		limit := own.at(float64((u+0.5)*float64(own.Width)/float64(s.w))-0.5, float64((v+0.5)*float64(own.Height)/float64(s.h))-0.5)
		if limit > 0 {
			out = append(out, cellSay{k, limit * perPx, float64(s.steady*say(far, weight, fineReach)) / float64(gain*gain)})
		}
	}
	return out
}

// lies returns where a place of the joined picture lies in the panel.
func (s *sheet) lies(x, y float64) (u, v float64) {
	dx, dy := s.bend.at(s.toPanel.at(x, y))
	return s.globe.pixel(s.toPanel.at(x-dx, y-dy))
}

// blend fills the cells with the mean of what the panels say, in their order.
func (t *finestTable) blend(told [][]cellSay) {
	sum, weight := make([]float64, len(t.PeriodPx)), make([]float64, len(t.PeriodPx))
	for _, panel := range told {
		for _, c := range panel {
			sum[c.cell] += float64(c.weight * c.limit)
			weight[c.cell] += c.weight
		}
	}
	for k, w := range weight {
		if w > 0 {
			t.PeriodPx[k] = math.Round(100*w/sum[k]) / 100
		}
	}
}

// known lists the periods of the cells that are known.
func (t *finestTable) known() (out []float64) {
	for _, p := range t.PeriodPx {
		if p > 0 {
			out = append(out, p)
		}
	}
	return out
}
