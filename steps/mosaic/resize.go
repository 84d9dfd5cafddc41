package mosaic

import (
	"context"
	"encoding/json"
	"fmt"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/lanes"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/warp"
)

// resizeSettings say how many pixels one of the panel becomes, along a side.
type resizeSettings struct{ Size float64 }

// planePorts are the planes of a panel.
var planePorts = []string{"image", "weight", "full", "noise"}

// resizePart draws a panel that was binned, or taken through another lens, to the scale of most.
func resizePart(it pipeline.Item, size float64, memory int64) pipeline.Part {
	p := pipeline.Part{Name: "resize", Item: it, Version: 1, Settings: resizeSettings{size}, Out: []string{"panel"}, Memory: memory,
		In: []pipeline.Input{{Port: "panel", Value: it.Values["panel"]}}, Run: pipeline.Bind(runResize)}
	for _, port := range planePorts {
		p.In = append(p.In, pipeline.Input{Port: port, Value: it.Values[port]})
		p.Out = append(p.Out, port)
	}
	return p
}

func runResize(ctx context.Context, s resizeSettings, t *pipeline.Task) error {
	left := noiseLeft(s.Size)
	for _, port := range planePorts {
		w, h, pix, err := t.One(port).Pixels()
		if err != nil {
			return fmt.Errorf("read %s: %w", port, err)
		}
		kernel := warp.Linear
		if port == "image" {
			kernel = warp.Lanczos3
		}
		out := resized(plane.Of(w, h, pix...), s.Size, kernel)
		if port == "noise" {
			for _, p := range out.Pix {
				lanes.Scale(p, float32(left))
			}
		}
		if err := t.PutPlane(ctx, port, out.W, out.H, out.Pix...); err != nil {
			return err
		}
	}
	// What else the stack says of the panel is passed on as it is.
	table := map[string]json.RawMessage{}
	var size struct{ Width, Height int }
	if err := t.One("panel").Table(&table); err != nil {
		return err
	}
	if err := t.One("panel").Table(&size); err != nil {
		return err
	}
	table["width"], _ = json.Marshal(resizedSide(size.Width, s.Size))
	table["height"], _ = json.Marshal(resizedSide(size.Height, s.Size))
	for _, name := range []string{"noise_sigma", "channel_noise_sigma"} {
		var sigma float64
		if raw, ok := table[name]; !ok {
			continue
		} else if err := json.Unmarshal(raw, &sigma); err != nil {
			return fmt.Errorf("read the panel's %s: %w", name, err)
		}
		table[name], _ = json.Marshal(sigma * left)
	}
	t.Fact("scaled", s.Size, "px to one of the panel")
	return t.PutTable("panel", table)
}

// noiseLeft is the share of white noise's standard deviation that drawing to another scale leaves, found on a picture of ones with signs
// that a linear congruence throws (Knuth 1997, §3.3.4, line 26 of table 1).
func noiseLeft(size float64) float64 {
	const side = 160
	src := plane.New(side, side, 1)
	seed := uint32(1)
	for i := range src.Pix[0] {
		seed = 1664525*seed + 1013904223
		src.Pix[0][i] = 1 - 2*float32(seed>>31)
	}
	dst := resized(src, size, warp.Lanczos3)
	var square, n float64
	edge := int(math.Ceil(6 * max(1, size)))
	for y := edge; y < dst.H-edge; y++ {
		for _, v := range dst.Pix[0][y*dst.W+edge : (y+1)*dst.W-edge] {
			square += float64(float64(v) * float64(v))
			n++
		}
	}
	return math.Sqrt(square / n)
}

func resizedSide(n int, size float64) int { return max(1, int(math.Round(float64(n)*size))) }

// resized draws a picture larger or smaller, with the middles of both in one place. Made smaller, it is blurred first by what its pixels
// grow by, so that nothing too fine is left to turn into patterns.
func resized(src *plane.Image, size float64, k warp.Kernel) *plane.Image {
	dst := plane.New(resizedSide(src.W, size), resizedSide(src.H, size), src.Channels())
	if size < 1 {
		blurred := plane.New(src.W, src.H, src.Channels())
		for c, p := range src.Pix {
			mask, filled := maskOf(p)
			copy(blurred.Pix[c], smoothOver(filled, mask, src.W, src.H, 0.5*math.Sqrt(1/(size*size)-1)))
			for i, m := range mask {
				if m == 0 {
					blurred.Pix[c][i] = nan32
				}
			}
		}
		src = blurred
	}
	off := func(from, to int) float64 { return float64(float64(from-1)/2) - float64(float64(to-1)/2/size) }
	m := warp.Affine{1 / size, 0, off(src.W, dst.W), 0, 1 / size, off(src.H, dst.H)}
	warp.Resample(dst, src, m, k)
	for c, p := range dst.Pix {
		for i, v := range p {
			if v != v { // beside a border the kernel hangs over
				x, y := float64(i%dst.W), float64(i/dst.W)
				p[i] = warp.At(src, c, float64(m[0]*x)+m[2], float64(m[4]*y)+m[5], warp.Linear)
			}
		}
	}
	return dst
}
