package stacks

import (
	"context"
	"fmt"

	"plenilune/pipeline"
)

const (
	sampleLeast = 64  // frames of the sample whose mean field is taken off, if there are so many
	sampleMost  = 400 // and so many at most; between the two it is half of the clip
)

// BlockFrames is of how many frames, at most, one part finds the fields.
const BlockFrames = 64

// SampleSize is of how many of n frames the sample is whose mean field is taken off.
func SampleSize(n int) int { return min(n, max(sampleLeast, min(sampleMost, (n+1)/2))) }

// sampled returns the frames, evenly over the clip's time, whose mean field says
// how the reference itself is bent: all of a short clip, half of a longer one, by
// their number alone. Rejected ones among them are left out.
func sampled(grade []float64) []int {
	n := len(grade)
	m := SampleSize(n)
	var out []int
	for k := range m {
		if i := (2*k + 1) * n / (2 * m); grade[i] > 0 {
			out = append(out, i)
		}
	}
	return out
}

// block names frames whose fields are found together: numbers At to At+BlockFrames
// of the even sample, or of the ranks that the sample leaves.
type block struct {
	Even bool
	At   int
}

func (b block) name() string {
	if b.Even {
		return fmt.Sprintf("even-%d", b.At/BlockFrames+1)
	}
	return fmt.Sprintf("ranks-%d", b.At/BlockFrames+1)
}

// frames returns the block's frames.
func (b block) frames(grade []float64) []int {
	list := sampled(grade)
	if !b.Even {
		list = leftRanks(grade)
	}
	return list[min(b.At, len(list)):min(b.At+BlockFrames, len(list))]
}

// leftRanks returns the usable frames outside the sample, best first.
func leftRanks(grade []float64) []int {
	in := make([]bool, len(grade))
	for _, i := range sampled(grade) {
		in[i] = true
	}
	var out []int
	for _, i := range ranked(grade) {
		if !in[i] {
			out = append(out, i)
		}
	}
	return out
}

// blocksFor returns the blocks that so many kept frames need: the sample, and as many
// ranks as reach the last kept frame.
func blocksFor(grade []float64, frames int) []block {
	var out []block
	for at := 0; at < len(sampled(grade)); at += BlockFrames {
		out = append(out, block{true, at})
	}
	ranks := ranked(grade)
	want := map[int]bool{}
	for _, i := range ranks[:frames] {
		want[i] = true
	}
	last := -1
	for k, i := range leftRanks(grade) {
		if want[i] {
			last = k
		}
	}
	for at := 0; at <= last; at += BlockFrames {
		out = append(out, block{false, at})
	}
	return out
}

// runBlock is the part that finds the fields of one block against the reference:
// out fields, a plane with a row a frame, nodes along it, channels x and y in pixels.
func runBlock(ctx context.Context, b block, t *pipeline.Task) error {
	c, err := openClip(t)
	if err != nil {
		return err
	}
	defer c.Close()
	ref, err := readPlane(t, "reference")
	if err != nil {
		return err
	}
	frames := b.frames(c.tab.Grade)
	if len(frames) == 0 {
		return errNoFrames
	}
	cv := c.tab.canvas(c.idx.Layout)
	fields, err := alignAll(ctx, t, c, frames, c.targetOf(ref.Pix[0], cv, len(referenceFrames(ranked(c.tab.Grade)))))
	if err != nil {
		return err
	}
	n := gridFor(cv).len()
	x, y := make([]float32, 0, n*len(frames)), make([]float32, 0, n*len(frames))
	for _, f := range fields {
		x, y = append(x, f.X...), append(y, f.Y...)
	}
	return t.PutPlane(ctx, "fields", n, len(frames), x, y)
}

// readFields gathers the fields of all blocks by frame, and their mean over the sample.
func readFields(t *pipeline.Task, c *clip, blocks []block, g grid) (map[int]field, field, error) {
	all := map[int]field{}
	var even []field
	for k, src := range t.In("fields") {
		r, err := src.Plane()
		if err != nil {
			return nil, field{}, err
		}
		pix, err := r.ReadAll()
		if err != nil {
			return nil, field{}, err
		}
		n := g.len()
		for m, i := range blocks[k].frames(c.tab.Grade) {
			f := field{pix[0][m*n : (m+1)*n], pix[1][m*n : (m+1)*n]}
			all[i] = f
			if blocks[k].Even {
				even = append(even, f)
			}
		}
	}
	return all, meanField(g, even), nil
}
