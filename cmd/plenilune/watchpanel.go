package main

import (
	"fmt"
	"image"
	"math"
	"slices"

	"plenilune/pipeline"
	"plenilune/steps/captures"
)

// stackRow is what a watch reads of a stack's table.
type stackRow struct {
	Width       int     `json:"width"`
	Height      int     `json:"height"`
	FramesTotal int     `json:"frames_total"`
	FramesKept  int     `json:"frames_kept"`
	MidUnixNS   int64   `json:"mid_unix_ns"`
	SkyOnly     bool    `json:"sky_only"`
	Scale       float64 `json:"px_per_sensor_px"`
	Limit       float64 `json:"limit_cycles_per_px"` // 0: unknown
}

// watchedPanel is a stack as far as a watch looks at it.
type watchedPanel struct {
	id      string
	name    string
	source  pipeline.ID // of the stack's picture
	picture string      // where the page finds it
	clip    pipeline.ID
	quick   bool // of few frames, until its final stack is there
	index   captures.Index
	row     stackRow
	small   smallPicture
}

func isQuick(p *watchedPanel) bool { return p.quick }

// finest is the period, in pixels of the sensor, of the finest detail that is sure; 0 if that is unknown. A quick stack has more
// noise, which hides some.
func (p *watchedPanel) finest() float64 {
	if p.row.Limit <= 0 || p.quick {
		return 0
	}
	return 1 / p.row.Limit
}

// watchedPorts are what is read of each stack.
var watchedPorts = []string{"index", "panel", "image"}

func readPanel(p pipeline.Product) (*watchedPanel, error) {
	out := &watchedPanel{id: p.ID.String(), clip: p.ID, name: p.Name, source: p.Source("image").ID()}
	if err := p.Source("index").Table(&out.index); err != nil {
		return nil, err
	}
	if err := p.Source("panel").Table(&out.row); err != nil {
		return nil, err
	}
	var err error
	out.small, err = shrink(p.Source("image"))
	return out, err
}

// smallPicture is a panel's middle channel, averaged over squares of step pixels: NaN where it shows nothing.
type smallPicture struct {
	w, h, step   int
	v            []float32
	dark, bright float64 // brightness below which half a per cent of it lies, and above which half a per cent does
}

// smallSide is how many pixels a small picture has at most along a side.
const smallSide = 320

func shrink(src pipeline.Source) (smallPicture, error) {
	r, err := src.Plane()
	if err != nil {
		return smallPicture{}, err
	}
	defer r.Close()
	w, h, channels := r.Size()
	s := smallPicture{step: 1 + (max(w, h)-1)/smallSide}
	s.w, s.h = (w+s.step-1)/s.step, (h+s.step-1)/s.step
	buf := make([]float32, w*s.step)
	for y := range s.h {
		band := image.Rect(0, y*s.step, w, min(h, (y+1)*s.step))
		if err := r.ReadRect(channels/2, band, buf[:w*band.Dy()]); err != nil {
			return s, fmt.Errorf("read a panel: %w", err)
		}
		s.v = append(s.v, means(buf[:w*band.Dy()], w, s.step)...)
	}
	s.tone()
	return s, nil
}

// means averages a band of rows over its squares.
func means(band []float32, w, step int) []float32 {
	out := make([]float32, (w+step-1)/step)
	count := make([]int, len(out))
	for i, v := range band {
		if v == v {
			out[i%w/step] += v
			count[i%w/step]++
		}
	}
	for i, n := range count {
		if n == 0 {
			out[i] = float32(math.NaN())
		} else {
			out[i] /= float32(n)
		}
	}
	return out
}

// at looks up a place in pixels of the panel.
func (s smallPicture) at(x, y float64) float32 {
	u, v := (x+0.5)/float64(s.step)-0.5, (y+0.5)/float64(s.step)-0.5
	i, j := int(math.Floor(u)), int(math.Floor(v))
	a, b := float32(u-float64(i)), float32(v-float64(j))
	top := mixed(s.pixel(i, j), s.pixel(i+1, j), a)
	return mixed(top, mixed(s.pixel(i, j+1), s.pixel(i+1, j+1), a), b)
}

// mixed goes from p to q; where one is not known it is the other.
func mixed(p, q, share float32) float32 {
	switch {
	case p != p:
		return q
	case q != q:
		return p
	}
	return p + float32(share*(q-p))
}

func (s smallPicture) pixel(i, j int) float32 {
	if i < 0 || j < 0 || i >= s.w || j >= s.h {
		return float32(math.NaN())
	}
	return s.v[j*s.w+i]
}

// tone finds how dark and how bright the picture is.
func (s *smallPicture) tone() {
	all := slices.DeleteFunc(slices.Clone(s.v), func(v float32) bool { return v != v })
	if n := len(all); n > 0 {
		slices.Sort(all)
		s.dark, s.bright = float64(all[n/200]), float64(all[n-1-n/200])
	}
}
