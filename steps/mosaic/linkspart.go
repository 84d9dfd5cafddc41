package mosaic

import (
	"cmp"
	"context"
	"fmt"
	"math"

	"plenilune/pipeline"
)

// linksTable is what matching found, and how many pixels of most panels one pixel of each panel is wide.
type linksTable struct {
	Links []link
	sizesTable
}

// sizesTable is the part of it that says which panels have to be drawn to another scale.
type sizesTable struct{ Sizes []float64 }

// linksPart matches all panels: in points, even and panel of each, out links.
func linksPart(in []pipeline.Input, suffix string, memory int64) pipeline.Part {
	return pipeline.Part{Name: "links" + suffix, Version: 1, In: in, Out: []string{"links"}, Memory: memory, Run: runLinks}
}

func runLinks(ctx context.Context, t *pipeline.Task) error {
	ss, es, err := readLooks(ctx, t)
	if err != nil {
		return err
	}
	tables, err := readTables(t)
	if err != nil {
		return err
	}
	if _, err := fineness(tables); err != nil {
		return err
	}
	dropSky(ss, tables)
	links, err := linkPanels(ss, es, eachOf(ctx, t))
	if err != nil {
		return err
	}
	t.Progress(0.5)
	sizes, err := sizesOf(ss, es, links, eachOf(ctx, t))
	if err != nil {
		return err
	}
	t.Fact("overlaps_matched", float64(len(links)), "pairs of panels")
	if n := otherSizes(sizes); n > 0 {
		t.Fact("drawn_to_scale", float64(n), "panels")
	}
	return t.PutTable("links", linksTable{links, sizesTable{sizes}})
}

// otherSizes counts the panels that have another scale than most.
func otherSizes(sizes []float64) (n int) {
	for _, s := range sizes {
		if s != 1 {
			n++
		}
	}
	return n
}

// scaleSnap is how near, in parts, a scale must be to a ratio of small numbers, which binning gives, and that is meant.
const scaleSnap = 0.01

// tellsScale is whether a link between panels is sure enough to draw one of them to another scale.
func (l link) tellsScale() bool {
	m := l.Map.scale()
	if m > oneScale.least && m < oneScale.most {
		return false
	}
	return len(l.Pts) >= 8 && l.NCC > 0.45 || len(l.Pts) >= 5 && l.NCC > 0.7
}

// sizesOf finds out whether groups of panels that nothing links differ in scale: binned, or through another lens. It returns how many
// pixels of the largest group's one of each panel's is wide, 1 where nothing is known.
func sizesOf(s sights, even []small, links []link, each eachFunc) ([]float64, error) {
	of := groups(len(s), links)
	var pairs [][2]int
	for i := range s {
		for j := range i {
			if of[i] != of[j] && s.shows(i) > 0 && s.shows(j) > 0 {
				pairs = append(pairs, [2]int{j, i})
			}
		}
	}
	sizes := make([]float64, len(s))
	for i := range sizes {
		sizes[i] = 1
	}
	if len(pairs) == 0 {
		return sizes, nil
	}
	across, err := linkPairs(s, even, pairs, anyScale, each)
	if err != nil {
		return nil, fmt.Errorf("match panels of different scale: %w", err)
	}
	known := map[int]float64{largest(of, s.shows): 1} // by group
	for {
		ratios := map[int][]float64{}
		for _, l := range across {
			if !l.tellsScale() {
				continue
			}
			m := l.Map.scale()
			a, aKnown := known[of[l.A]]
			b, bKnown := known[of[l.B]]
			switch {
			case aKnown && !bKnown:
				ratios[of[l.B]] = append(ratios[of[l.B]], a/m)
			case bKnown && !aKnown:
				ratios[of[l.A]] = append(ratios[of[l.A]], b*m)
			}
		}
		if len(ratios) == 0 {
			break
		}
		for g, r := range ratios {
			known[g] = snapped(median(r))
		}
	}
	for i := range sizes {
		if k, ok := known[of[i]]; ok {
			sizes[i] = k
		} else {
			sizes[i] = s.sizeByFormat(i, of, known)
		}
	}
	return sizes, nil
}

// sizeByFormat is the size that all known panels have which are as wide and as high as panel i: drawn to it, it may show more that
// the others show. 1 if they do not agree.
func (s sights) sizeByFormat(i int, of []int, known map[int]float64) float64 {
	size := 0.0
	for j := range s {
		k, ok := known[of[j]]
		switch {
		case !ok || s.shows(j) == 0 || !sameFormat(s[i], s[j]):
		case size == 0:
			size = k
		case size != k:
			return 1
		}
	}
	return cmp.Or(size, 1)
}

// sameFormat tells whether two stacks may come from frames of one width and height, upright or on their side: drift makes them differ a
// little.
func sameFormat(a, b seen) bool {
	near := func(p, q int) bool { return 6*p < 7*q && 6*q < 7*p }
	return near(a.W, b.W) && near(a.H, b.H) || near(a.W, b.H) && near(a.H, b.W)
}

// snapped returns the ratio of two whole numbers up to four that a ratio is meant to be, or the ratio itself.
func snapped(ratio float64) float64 {
	for a := 1.0; a <= 4; a++ {
		for b := 1.0; b <= 4; b++ {
			if math.Abs(ratio*b/a-1) < scaleSnap {
				return a / b
			}
		}
	}
	return ratio
}

// binned tells whether a scale is one that snapped returns for binning.
func binned(size float64) bool {
	for b := 1.0; b <= 4; b++ {
		if a := math.Round(size * b); math.Abs(float64(size*b)-a) < 1e-9 && a >= 1 && a <= 4 {
			return true
		}
	}
	return false
}
