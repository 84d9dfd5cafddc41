package main

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	_ "image/png" // finished pictures are delivered so too
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// The small pictures in a pack.
const (
	lookEdge    = 512      // pixels of the longer side
	lookMost    = 40 << 20 // pixels of a picture that one is made of
	lookQuality = 82
)

// packLook makes a small JPEG of a delivered picture for the eye; of others, and of very large ones, it makes none.
func packLook(file string) ([]byte, string, error) {
	if !slices.Contains([]string{".png", ".jpg", ".jpeg"}, strings.ToLower(filepath.Ext(file))) {
		return nil, "", nil
	}
	f, err := os.Open(file)
	if err != nil {
		return nil, "", fmt.Errorf("open %s: %w", file, err)
	}
	defer f.Close()
	head, _, err := image.DecodeConfig(f)
	if err != nil {
		return nil, "", fmt.Errorf("read %s: %w", file, err)
	}
	if head.Width*head.Height > lookMost {
		return nil, "", nil
	}
	if _, err := f.Seek(0, 0); err != nil {
		return nil, "", fmt.Errorf("read %s: %w", file, err)
	}
	full, _, err := image.Decode(f)
	if err != nil {
		return nil, "", fmt.Errorf("read %s: %w", file, err)
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, shrunk(full), &jpeg.Options{Quality: lookQuality}); err != nil {
		return nil, "", fmt.Errorf("make a small picture of %s: %w", file, err)
	}
	return b.Bytes(), ".jpg", nil
}

// shrunk is a picture of at most lookEdge pixels a side: each is the mean of those that it stands for, in whole numbers.
func shrunk(full image.Image) image.Image {
	in := full.Bounds()
	longer := max(in.Dx(), in.Dy())
	edge := min(longer, lookEdge)
	w, h := max(1, in.Dx()*edge/longer), max(1, in.Dy()*edge/longer)
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			var sum [3]uint64
			n := uint64(0)
			for v := in.Min.Y + y*in.Dy()/h; v < in.Min.Y+(y+1)*in.Dy()/h; v++ {
				for u := in.Min.X + x*in.Dx()/w; u < in.Min.X+(x+1)*in.Dx()/w; u++ {
					r, g, b, _ := full.At(u, v).RGBA()
					sum[0], sum[1], sum[2] = sum[0]+uint64(r), sum[1]+uint64(g), sum[2]+uint64(b)
					n++
				}
			}
			out.SetRGBA(x, y, color.RGBA{uint8(sum[0] / n >> 8), uint8(sum[1] / n >> 8), uint8(sum[2] / n >> 8), 255})
		}
	}
	return out
}
