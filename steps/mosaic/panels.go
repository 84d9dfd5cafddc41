package mosaic

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/plane"
)

// panelTable is what the stack says of a panel.
type panelTable struct {
	NoiseSigma   float64 `json:"noise_sigma"`         // of the luminance
	ChannelSigma float64 `json:"channel_noise_sigma"` // of one channel; 0: that of the luminance
	SkyOnly      bool    `json:"sky_only"`
	MidUnixNS    int64   `json:"mid_unix_ns"`
	Fineness     float64 `json:"px_per_sensor_px"` // along a side
}

// fineness is how many pixels of the panels, along a side, show one of the sensor: joined panels have it in common.
func fineness(tables []panelTable) (float64, error) {
	first := 1.0
	for i, t := range tables {
		switch f := cmp.Or(t.Fineness, 1); {
		case i == 0:
			first = f
		case f != first:
			return 0, fmt.Errorf("panels with %g and with %g px to one of the sensor cannot be joined: give their stacks the same scale", first, f)
		}
	}
	return first, nil
}

// readPanel reads a panel's brightness: the mean of its channels, NaN where one has no data.
func readPanel(s pipeline.Source) (panel, error) {
	r, err := s.Plane()
	if err != nil {
		return panel{}, err
	}
	w, h, _ := r.Size()
	pix, err := r.ReadAll()
	if err != nil {
		return panel{}, err
	}
	return panel{w, h, plane.Of(w, h, pix...).Luminance()}, nil
}

// fullFew is in what share of the frames a place may be overexposed and still be taken for what it shows: a hot pixel that
// passes by, or a flicker of the air, whose frames carry no weight.
const fullFew = 0.1

// without makes holes where the panel is overexposed in more than a few of its frames, of which full holds the share: it
// says little of the ground there.
func (p panel) without(full panel) error {
	if full.w != p.w || full.h != p.h {
		return fmt.Errorf("what is overexposed is told of %d×%d px, the panel has %d×%d", full.w, full.h, p.w, p.h)
	}
	for i, f := range full.v {
		if f > fullFew {
			p.v[i] = nan32
		}
	}
	return nil
}

// readSound reads a panel without what is overexposed.
func readSound(image, full pipeline.Source) (panel, error) {
	p, err := readPanel(image)
	if err != nil {
		return p, err
	}
	f, err := readPanel(full)
	if err != nil {
		return p, fmt.Errorf("read what is overexposed: %w", err)
	}
	return p, p.without(f)
}

// readPanels reads all panels without what is overexposed.
func readPanels(ctx context.Context, t *pipeline.Task) ([]panel, error) {
	in, fulls := t.In("image"), t.In("full")
	if len(fulls) != len(in) {
		return nil, errors.New("it is not told of every panel where it is overexposed")
	}
	ps := make([]panel, len(in))
	err := t.Each(ctx, len(in), func(i int) (err error) {
		if ps[i], err = readSound(in[i], fulls[i]); err != nil {
			err = fmt.Errorf("read panel %d: %w", i+1, err)
		}
		return err
	})
	return ps, err
}

func readTables(t *pipeline.Task) ([]panelTable, error) {
	in := t.In("panel")
	out := make([]panelTable, len(in))
	for i, s := range in {
		if err := s.Table(&out[i]); err != nil {
			return nil, fmt.Errorf("read table of panel %d: %w", i+1, err)
		}
	}
	return out, nil
}

// pointsTable is seen as it is stored: one column a property.
type pointsTable struct {
	W, H, Reduce     int
	Tones            tonalRange
	X, Y, Size, Turn []float32
	Desc             []byte
	BrinkX, BrinkY   []float32
	BrinkNX, BrinkNY []float32
}

func (s seen) table() pointsTable {
	t := pointsTable{W: s.W, H: s.H, Reduce: s.Reduce, Tones: s.Tones}
	for _, p := range s.Points {
		t.X, t.Y = append(t.X, float32(p.X)), append(t.Y, float32(p.Y))
		t.Size, t.Turn = append(t.Size, float32(p.Size)), append(t.Turn, float32(p.Turn))
		t.Desc = append(t.Desc, p.Desc[:]...)
	}
	for _, b := range s.Brinks {
		t.BrinkX, t.BrinkY = append(t.BrinkX, float32(b.X)), append(t.BrinkY, float32(b.Y))
		t.BrinkNX, t.BrinkNY = append(t.BrinkNX, float32(b.NX)), append(t.BrinkNY, float32(b.NY))
	}
	return t
}

func (t pointsTable) seen() (seen, error) {
	n, m := len(t.X), len(t.BrinkX)
	if len(t.Y) != n || len(t.Size) != n || len(t.Turn) != n || len(t.Desc) != n*descLen ||
		len(t.BrinkY) != m || len(t.BrinkNX) != m || len(t.BrinkNY) != m {
		return seen{}, fmt.Errorf("table of points: columns of different length")
	}
	s := seen{W: t.W, H: t.H, Reduce: t.Reduce, Tones: t.Tones, Points: make([]point, n), Brinks: make([]brink, m)}
	for i := range n {
		p := &s.Points[i]
		p.X, p.Y, p.Size, p.Turn = float64(t.X[i]), float64(t.Y[i]), float64(t.Size[i]), float64(t.Turn[i])
		copy(p.Desc[:], t.Desc[i*descLen:])
	}
	for i := range m {
		s.Brinks[i] = brink{float64(t.BrinkX[i]), float64(t.BrinkY[i]), float64(t.BrinkNX[i]), float64(t.BrinkNY[i])}
	}
	return s, nil
}

func runLook(ctx context.Context, t *pipeline.Task) error {
	p, err := readPanel(t.One("image"))
	if err != nil {
		return err
	}
	s, even := lookAt(p)
	t.Fact("points", float64(len(s.Points)), "points")
	if err := t.PutTable("points", s.table()); err != nil {
		return err
	}
	for i, m := range even.mask {
		if m == 0 {
			even.v[i] = float32(math.NaN())
		}
	}
	return t.PutPlane(ctx, "even", even.w, even.h, even.v)
}

// readLooks reads what runLook left of every panel.
func readLooks(ctx context.Context, t *pipeline.Task) ([]seen, []small, error) {
	points, evens := t.In("points"), t.In("even")
	ss, es := make([]seen, len(points)), make([]small, len(points))
	err := t.Each(ctx, len(points), func(i int) error {
		var tab pointsTable
		err := points[i].Table(&tab)
		if err == nil {
			ss[i], err = tab.seen()
		}
		if err != nil {
			return fmt.Errorf("read points of panel %d: %w", i+1, err)
		}
		p, err := readPanel(evens[i])
		if err != nil {
			return fmt.Errorf("read evened panel %d: %w", i+1, err)
		}
		es[i] = small{w: p.w, h: p.h}
		es[i].mask, es[i].v = maskOf(p.v)
		return nil
	})
	return ss, es, err
}
