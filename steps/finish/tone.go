package finish

import (
	"context"
	"fmt"
	"image"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/warp"
)

type toneSettings struct {
	ShadowLift  float64
	ColourBoost float64
}

func runTone(ctx context.Context, s toneSettings, t *pipeline.Task) error {
	var l levelsTable
	var lay layoutTable
	if err := t.One("levels").Table(&l); err != nil {
		return err
	}
	if err := t.One("layout").Table(&lay); err != nil {
		return err
	}
	src, err := t.One("image").Plane()
	if err != nil {
		return err
	}
	defer src.Close()
	dim, err := openDim(t)
	if err != nil {
		return err
	}
	defer dim.close()
	w, h, c := src.Size()
	if len(l.Black) != c || len(l.Gain) != c {
		return fmt.Errorf("levels of %d channels for a picture of %d", len(l.Black), c)
	}
	tones := newTones(newCurve(s.ShadowLift, l.White/l.Large), c == 3)
	write, err := newOverlay(lay.Names, lay.Bar, func(n int, f func(i int) error) error { return t.Each(ctx, n, f) })
	if err != nil {
		return err
	}
	look := window{src, image.Rect(0, 0, w, h), lay.frame}
	margin := 0
	if c == 3 && s.ColourBoost != 1 {
		margin = calmReach
	}
	return t.WritePlane(ctx, "image", lay.W, lay.H, c, func(r image.Rectangle, dst [][]float32) error {
		wide := r.Inset(-margin)
		m := plane.Of(r.Dx(), r.Dy(), dst...)
		if margin > 0 {
			m = plane.New(wide.Dx(), wide.Dy(), c)
		}
		if err := look.read(wide, m); err != nil {
			return err
		}
		l.level(m)
		if err := dim.apply(m, wide, look); err != nil {
			return err
		}
		if margin > 0 {
			boost(m, s.ColourBoost)
			for k, d := range dst {
				for y := range r.Dy() {
					copy(d[y*r.Dx():(y+1)*r.Dx()], m.Row(k, y+margin)[margin:])
				}
			}
		}
		tones.apply(dst)
		write.write(r, dst)
		return nil
	})
}

// level brings a picture to 0 black and 1 the brightest ground at large, neutral on the mean.
func (l *levelsTable) level(m *plane.Image) {
	for k, p := range m.Pix {
		black, gain := l.Black[k], l.Gain[k]/l.Large
		for i, v := range p {
			p[i] = float32((float64(v) - black) * gain) // NaN stays
		}
	}
}

// window reads a picture through a frame.
type window struct {
	src    *pipeline.PlaneReader
	bounds image.Rectangle
	frame  frame
}

// reach is how far Lanczos's kernel looks.
const reach = 3

// read fills m with the finished picture's rectangle r; what lies outside the source is NaN.
func (w window) read(r image.Rectangle, m *plane.Image) error {
	need := w.needs(r)
	part := plane.New(need.Dx(), need.Dy(), m.Channels())
	if need.Empty() {
		for _, p := range m.Pix {
			for i := range p {
				p[i] = float32(math.NaN())
			}
		}
		return nil
	}
	for c, p := range part.Pix {
		if err := w.src.ReadRect(c, need, p); err != nil {
			return fmt.Errorf("read %v: %w", need, err)
		}
	}
	a := w.frame.ToSource
	a[2], a[5] = a[2]-float64(need.Min.X), a[5]-float64(need.Min.Y)
	a[2], a[5] = a[2]+float64(a[0]*float64(r.Min.X))+float64(a[1]*float64(r.Min.Y)), a[5]+float64(a[3]*float64(r.Min.X))+float64(a[4]*float64(r.Min.Y))
	if w.frame.Exact {
		pick(m, part, a)
		return nil
	}
	warp.Resample(m, part, a, warp.Lanczos3)
	return nil
}

// needs is the part of the source that a rectangle is made from.
func (w window) needs(r image.Rectangle) image.Rectangle {
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, p := range [4]image.Point{r.Min, {r.Max.X - 1, r.Min.Y}, {r.Min.X, r.Max.Y - 1}, {r.Max.X - 1, r.Max.Y - 1}} {
		x, y := w.frame.ToSource.Apply(float64(p.X), float64(p.Y))
		x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), max(y1, y)
	}
	grow := 0
	if !w.frame.Exact {
		grow = reach
	}
	return image.Rect(int(math.Floor(x0))-grow, int(math.Floor(y0))-grow, int(math.Ceil(x1))+grow+1, int(math.Ceil(y1))+grow+1).Intersect(w.bounds)
}

// pick copies pixels that fall on pixels.
func pick(dst, src *plane.Image, a warp.Affine) {
	ax, ay, bx, by := int(a[0]), int(a[3]), int(a[1]), int(a[4])
	for y := range dst.H {
		sx, sy := int(a[2])+bx*y, int(a[5])+by*y
		for c, p := range dst.Pix {
			from := src.Pix[c]
			for x := range dst.W {
				u, v := sx+ax*x, sy+ay*x
				if u < 0 || v < 0 || u >= src.W || v >= src.H {
					p[y*dst.W+x] = float32(math.NaN())
					continue
				}
				p[y*dst.W+x] = from[v*src.W+u]
			}
		}
	}
}
