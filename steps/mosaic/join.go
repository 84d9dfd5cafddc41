package mosaic

import (
	"context"
	"errors"
	"fmt"
	"image"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/warp"
)

// sheet is a placed panel ready to be drawn tile by tile.
type sheet struct {
	index          int
	w, h, channels int
	pixels         *pipeline.PlaneReader
	voice          voice
	toPanel        similarity
	bend           bend
	level          level
	sharp          sharpness
	box            image.Rectangle // in the joined picture
	noise          float64         // standard deviation
}

// runJoin draws the joined picture, its weight and which panel counts most where.
func runJoin(ctx context.Context, t *pipeline.Task) error {
	var g geometry
	var lv levelsTable
	var sharp sharpTable
	if err := errors.Join(t.One("geometry").Table(&g), t.One("levels").Table(&lv), t.One("sharpness").Table(&sharp)); err != nil {
		return err
	}
	tables, err := readTables(t)
	if err != nil {
		return err
	}
	sheets, err := openSheets(ctx, t, g, lv.Levels, sharp.Panels)
	for i, s := range sheets {
		if s != nil && i < len(tables) {
			s.noise = tables[i].NoiseSigma
		}
	}
	defer func() {
		for _, s := range sheets {
			if s != nil {
				s.pixels.Close()
			}
		}
	}()
	if err != nil {
		return err
	}
	channels := 1
	for _, s := range sheets {
		if s != nil {
			channels = max(channels, s.channels)
		}
	}
	out := func(port string, c int, pick func(tile) [][]float32) error {
		return t.WritePlane(ctx, port, g.Width, g.Height, c, func(r image.Rectangle, dst [][]float32) error {
			d, err := drawTile(sheets, r, channels, port == "image")
			if err != nil {
				return err
			}
			for k, p := range pick(d) {
				copy(dst[k], p)
			}
			return nil
		})
	}
	if err := out("image", channels, func(d tile) [][]float32 { return d.image }); err != nil {
		return err
	}
	t.Progress(0.8)
	if err := out("weight", 1, func(d tile) [][]float32 { return [][]float32{d.weight} }); err != nil {
		return err
	}
	return out("source", 1, func(d tile) [][]float32 { return [][]float32{d.source} })
}

// openSheets prepares the placed panels; the others stay nil.
func openSheets(ctx context.Context, t *pipeline.Task, g geometry, lv []level, sharp []sharpness) ([]*sheet, error) {
	in, weights := t.In("image"), t.In("weight")
	if len(in) != len(g.Panels) || len(lv) != len(in) || len(sharp) != len(in) || len(weights) != len(in) {
		return nil, errors.New("the table of placements does not fit the panels")
	}
	sheets := make([]*sheet, len(in))
	err := t.Each(ctx, len(in), func(i int) error {
		p := g.Panels[i]
		if !p.Placed {
			return nil
		}
		r, err := in[i].Plane()
		if err != nil {
			return err
		}
		s := &sheet{index: i, pixels: r, toPanel: p.toMosaic().inverse(), bend: p.Bend, level: lv[i], sharp: sharp[i]}
		s.w, s.h, s.channels = r.Size()
		sheets[i] = s
		x0, y0, x1, y1 := bounds(p.toMosaic(), p.W, p.H)
		s.box = image.Rect(int(math.Floor(x0)), int(math.Floor(y0)), int(math.Ceil(x1))+1, int(math.Ceil(y1))+1)
		v := make([]float32, s.w*s.h)
		if err := r.ReadRect(0, image.Rect(0, 0, s.w, s.h), v); err != nil {
			return fmt.Errorf("read panel %d: %w", i+1, err)
		}
		weight, err := readPanel(weights[i])
		if err != nil {
			return fmt.Errorf("read weight of panel %d: %w", i+1, err)
		}
		if weight.w != s.w || weight.h != s.h {
			return fmt.Errorf("the weight of panel %d has another size than the panel", i+1)
		}
		s.voice = voiceOf(v, weight.v, s.w, s.h)
		return nil
	})
	return sheets, err
}

// tile is a part of the joined picture.
type tile struct {
	image          [][]float32
	weight, source []float32
}

// drawTile blends the panels that touch a rectangle. A pixel's weight goes as one over the variance of its fine noise:
// of values with variances 1/w, averaged with says s, it is (Σs)²/Σ(s²/w).
func drawTile(sheets []*sheet, r image.Rectangle, channels int, pixels bool) (tile, error) {
	n := r.Dx() * r.Dy()
	d := tile{weight: make([]float32, n), source: make([]float32, n)}
	var b *blend
	around := r.Inset(-accordReach)
	if pixels {
		b = newBlend(around, channels)
	}
	best, sum, square := make([]float32, n), make([]float32, n), make([]float32, n)
	for i := range d.source {
		d.source[i] = nan32
	}
	for _, s := range sheets {
		if s == nil {
			continue
		}
		if in := around.Intersect(s.box); pixels && !in.Empty() {
			img, err := s.draw(in.Inset(-margin))
			if err != nil {
				return d, err
			}
			b.add(in, img, s.says(in, true), s.level, s.sharp, s.noise)
		}
		if pixels {
			continue // weight and source are drawn by themselves
		}
		in := r.Intersect(s.box)
		if in.Empty() {
			continue
		}
		k := s.says(in, false)
		near := k.fine[0]
		for y := range in.Dy() {
			at := (in.Min.Y+y-r.Min.Y)*r.Dx() + in.Min.X - r.Min.X
			for x, v := range k.wide[y*in.Dx() : (y+1)*in.Dx()] {
				i := at + x
				if v > 0 {
					sum[i] += near[y*in.Dx()+x]
					square[i] += float32(near[y*in.Dx()+x] * near[y*in.Dx()+x] / max(leastSay, k.stack[y*in.Dx()+x]))
				}
				if v > best[i] {
					best[i], d.source[i] = v, float32(s.index)
				}
			}
		}
	}
	for i, s := range sum {
		if s > 0 {
			d.weight[i] = float32(s*s) / square[i]
		}
	}
	if pixels {
		for _, p := range b.finish() {
			d.image = append(d.image, cutOut(p, around, r))
		}
	}
	return d, nil
}

// cutOut takes a rectangle out of pixels of a larger one.
func cutOut(pix []float32, from, r image.Rectangle) []float32 {
	out := make([]float32, 0, r.Dx()*r.Dy())
	for y := r.Min.Y; y < r.Max.Y; y++ {
		out = append(out, pix[(y-from.Min.Y)*from.Dx()+r.Min.X-from.Min.X:][:r.Dx()]...)
	}
	return out
}

// says returns the panel's say at each pixel of a rectangle, 0…1; of all planes, or of the finest alone.
func (s *sheet) says(r image.Rectangle, fine bool) says {
	k := says{wide: make([]float32, r.Dx()*r.Dy()), stack: make([]float32, r.Dx()*r.Dy())}
	planes := 1
	if fine {
		planes = len(k.fine)
	}
	for j := range planes {
		k.fine[j] = make([]float32, len(k.wide))
	}
	for y := range r.Dy() {
		for x := range r.Dx() {
			far, weight := s.voice.at(s.toPanel.at(float64(r.Min.X+x), float64(r.Min.Y+y)))
			if far == 0 {
				continue
			}
			i := y*r.Dx() + x
			k.wide[i], k.stack[i] = say(far, weight, s.voice.wide), weight
			for j := range planes {
				k.fine[j][i] = say(far, weight, float32(int(fineReach)<<j))
			}
		}
	}
	return k
}

// draw resamples the panel, once, onto a rectangle of the joined picture.
func (s *sheet) draw(r image.Rectangle) (*plane.Image, error) {
	const reach = 6
	in := image.Rectangle{image.Pt(math.MaxInt32, math.MaxInt32), image.Pt(math.MinInt32, math.MinInt32)}
	for _, c := range [4]image.Point{r.Min, {r.Max.X - 1, r.Min.Y}, {r.Min.X, r.Max.Y - 1}, r.Max.Sub(image.Pt(1, 1))} {
		u, v := s.toPanel.at(float64(c.X), float64(c.Y))
		in.Min.X, in.Min.Y = min(in.Min.X, int(math.Floor(u))-reach), min(in.Min.Y, int(math.Floor(v))-reach)
		in.Max.X, in.Max.Y = max(in.Max.X, int(math.Ceil(u))+reach+1), max(in.Max.Y, int(math.Ceil(v))+reach+1)
	}
	in = in.Intersect(image.Rect(0, 0, s.w, s.h))
	dst := plane.New(r.Dx(), r.Dy(), s.channels)
	if in.Empty() {
		return dst, nil
	}
	src := plane.New(in.Dx(), in.Dy(), s.channels)
	for c := range src.Pix {
		if err := s.pixels.ReadRect(c, in, src.Pix[c]); err != nil {
			return nil, fmt.Errorf("read panel %d: %w", s.index+1, err)
		}
	}
	mx, my := s.chart(r)
	for i := range mx {
		mx[i] -= float32(in.Min.X)
		my[i] -= float32(in.Min.Y)
	}
	warp.Remap(dst, src, mx, my, warp.Lanczos3)
	mend(dst, src, mx, my)
	return dst, nil
}

// chart returns where each pixel of a rectangle lies in the panel. The bend is looked up on a coarse grid and
// interpolated: it is smooth over many pixels.
func (s *sheet) chart(r image.Rectangle) (mx, my []float32) {
	const cell = 8
	nx, ny := (r.Dx()+cell-1)/cell+1, (r.Dy()+cell-1)/cell+1
	dx, dy := make([]float64, nx*ny), make([]float64, nx*ny)
	for j := range ny {
		for i := range nx {
			x, y := float64(r.Min.X+i*cell), float64(r.Min.Y+j*cell)
			dx[j*nx+i], dy[j*nx+i] = s.bend.at(s.toPanel.at(x, y))
		}
	}
	mx, my = make([]float32, r.Dx()*r.Dy()), make([]float32, r.Dx()*r.Dy())
	for y := range r.Dy() {
		j, v := y/cell, float64(y%cell)/cell
		for x := range r.Dx() {
			i, u := x/cell, float64(x%cell)/cell
			k := j*nx + i
			mix := func(d []float64) float64 {
				top := d[k] + float64(u*(d[k+1]-d[k]))
				low := d[k+nx] + float64(u*(d[k+nx+1]-d[k+nx]))
				return top + float64(v*(low-top))
			}
			px, py := s.toPanel.at(float64(r.Min.X+x)-mix(dx), float64(r.Min.Y+y)-mix(dy))
			mx[y*r.Dx()+x], my[y*r.Dx()+x] = float32(px), float32(py)
		}
	}
	return mx, my
}

// mend fills pixels next to a border, where too much of the kernel hangs over, by linear interpolation.
func mend(dst, src *plane.Image, mx, my []float32) {
	for c, p := range dst.Pix {
		for i, v := range p {
			if v != v {
				p[i] = warp.At(src, c, float64(mx[i]), float64(my[i]), warp.Linear)
			}
		}
	}
}
