package simulate

import (
	"plenilune/steps/kernel/fourier"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/warp"
)

// padding around a frame, on either side, keeps a spread function from reaching
// around the transform's edge; what reaches further than twice this is nothing.
const padding = 22

// studio holds what all frames of a night share.
type studio struct {
	plan   *Plan
	scene  *scene
	optics *optics
	camera *camera
	ft     *fourier.Plan
	w, h   int       // of the padded frame
	across *columns  // of the padded frame, for the warp
	right  []float32 // for each column, the share of the corners on the right
	down   []float32 // for each row, that of the lower corners
}

func newStudio(p *Plan, s *scene, o *optics) *studio {
	w, h := fourier.Good(p.Width+2*padding), fourier.Good(p.Height+2*padding)
	return &studio{
		across: newColumns(-(w-p.Width)/2, w, p.WarpScalePx),
		right:  crossFade(p.Width), down: crossFade(p.Height),
		plan: p, scene: s, optics: o,
		camera: newCamera(p), ft: fourier.New(w, h), w: w, h: h,
	}
}

// crossFade rises from 0 to 1 over n places, smoothly.
func crossFade(n int) []float32 {
	out := make([]float32, n)
	for i := range out {
		out[i] = float32(step(0.15, 0.85, float64(i)/float64(n-1)))
	}
	return out
}

// desk is one worker's scratch memory.
type desk struct {
	*studio
	spreader   *spreader
	mapX, mapY []float32
	view       *plane.Image // padded, before the air's blur
	zero       []float32    // imaginary part of a channel's transform
	re, im     [2][]float32 // two pairs of spread functions, transformed
	gr, gi     []float32
	blurred    [][]float32 // not padded, a channel each
	light      []float32
}

func (s *studio) desk() *desk {
	n := s.w * s.h
	d := &desk{
		studio: s, spreader: s.optics.spreader(), mapX: make([]float32, n), mapY: make([]float32, n),
		view: plane.New(s.w, s.h, s.plan.channels()), zero: make([]float32, n),
		gr: make([]float32, n), gi: make([]float32, n),
		light: make([]float32, s.plan.Width*s.plan.Height),
	}
	for k := range d.re {
		d.re[k], d.im[k] = make([]float32, n), make([]float32, n)
	}
	for range s.plan.channels() {
		d.blurred = append(d.blurred, make([]float32, s.plan.Width*s.plan.Height))
	}
	return d
}

// expose records frame i of a clip into out and completes its truth.
func (d *desk) expose(clip int, c *ClipTruth, i int, out []uint16) {
	f := &c.Frames[i]
	d.look(c, i)
	air := newDice(d.plan.Seed, forScreen, clip, i)
	for k := range d.re {
		clear(d.re[k])
		clear(d.im[k])
	}
	d.spreader.corners(f.ApertureOverR0, c.wind, air, func(k int, psf []float32, strehl float64) {
		f.Corners[k] = strehl
		f.Sharpness += float64(strehl / 4)
		if k%2 == 0 {
			d.embed(d.re[k/2], psf)
		} else {
			d.embed(d.im[k/2], psf)
		}
	})
	for k := range d.re {
		d.ft.Forward(d.re[k], d.im[k])
	}
	for ch := range d.blurred {
		d.blur(ch)
	}
	d.collect(float32(f.Light))
	d.camera.expose(d.plan, newDice(d.plan.Seed, forNoise, clip, i), d.light, out)
}

// look resamples the scene into view as frame i's geometry has it.
func (d *desk) look(c *ClipTruth, i int) {
	a := c.ToDisk()
	f := &c.Frames[i]
	left, top := (d.w-d.plan.Width)/2, (d.h-d.plan.Height)/2
	for y := range d.h {
		dx, dy := d.mapX[y*d.w:(y+1)*d.w], d.mapY[y*d.w:(y+1)*d.w]
		c.sways[i].row(d.across, y-top, dx, dy)
		for x := range dx {
			fx := float64(x-left) - f.ShiftX - float64(dx[x])
			fy := float64(y-top) - f.ShiftY - float64(dy[x])
			u, v := a.Apply(fx, fy)
			dx[x], dy[x] = float32(2*u), float32(2*v)
		}
	}
	warp.Remap(d.view, d.scene.sharp, d.mapX, d.mapY, warp.Lanczos3)
	for _, p := range d.view.Pix {
		for k, v := range p {
			if v != v {
				p[k] = 0 // beyond the scene is sky
			}
		}
	}
	c.meanWarp(i, func(x, y int) bool { return d.view.Pix[0][(y+top)*d.w+x+left] > litLevel })
}

// embed lays a spread function around index 0 of a padded frame.
func (d *desk) embed(dst, psf []float32) {
	const half = spreadSide / 2
	for y := -half; y < half; y++ {
		for x := -half; x < half; x++ {
			dst[(y+d.h)%d.h*d.w+(x+d.w)%d.w] = psf[(y+spreadSide)%spreadSide*spreadSide+(x+spreadSide)%spreadSide]
		}
	}
}

// blur convolves a channel with the four spread functions and joins the results
// over the field. Since the transform is linear, a pair of spread functions that
// travel as real and imaginary part blur one real picture into two.
func (d *desk) blur(ch int) {
	re := d.view.Pix[ch]
	clear(d.zero)
	d.ft.Forward(re, d.zero)
	out := d.blurred[ch]
	w, h := d.plan.Width, d.plan.Height
	left, top := (d.w-w)/2, (d.h-h)/2
	for k := range d.re {
		for i := range re {
			a, b := re[i], d.zero[i]
			p, q := d.re[k][i], d.im[k][i]
			d.gr[i] = float32(a*p) - float32(b*q)
			d.gi[i] = float32(a*q) + float32(b*p)
		}
		d.ft.Inverse(d.gr, d.gi)
		for y := range h {
			down := d.down[y]
			if k == 0 {
				down = 1 - down
			}
			for x, right := range d.right {
				i := (y+top)*d.w + x + left
				v := float32(down * (float32(d.gr[i]*(1-right)) + float32(d.gi[i]*right)))
				if k == 0 {
					out[y*w+x] = v
				} else {
					out[y*w+x] += v
				}
			}
		}
	}
}

// collect picks each pixel's colour and dims it by what the air lets through.
func (d *desk) collect(gain float32) {
	w := d.plan.Width
	if len(d.blurred) == 1 {
		copy(d.light, d.blurred[0])
	} else {
		mosaic(plane.Of(w, d.plan.Height, d.blurred...), d.light)
	}
	for i, v := range d.light {
		d.light[i] = gain * max(0, v)
	}
}
