package frames

import (
	"cmp"
	"slices"

	"plenilune/steps/kernel/cells"
)

const (
	settleSide  = 16  // px of the fine scale: side of the blocks that are followed
	settleSteps = 2   // of Gauss and Newton
	settlePrior = 2.0 // px: how far the displacement before may be off, one sigma
	poolPrior   = 1.0 // px: how far surroundings lie from the whole, one sigma
	ownPrior    = 0.5 // px: and a block from its surroundings
	strayBlock  = 4.0 // px: and at most from the whole
	// textureLeast, in units of the noise's variance, is the texture of a block that
	// noise lets be placed to about a fifth of a pixel; others are not looked at.
	textureLeast = 40
	texturedMost = 400 // blocks, the richest: a mean gains little from more
)

// texture is the finest detail of a template, in blocks with enough texture to be
// followed one by one.
type texture struct {
	pic      *cells.Picture
	nx, ny   int
	textured []int // blocks
}

// newTexture returns what makes a texture of a mean view, given the noise's variance in a frame's.
func newTexture(noise float64) func(pix, cover []float32, w, h int) *texture {
	return func(pix, cover []float32, w, h int) *texture {
		const side = settleSide / cells.Side
		g := &texture{pic: cells.NewPicture(pix, wholeCells(cover, w, h), w, h)}
		g.nx, g.ny = (g.pic.NX+side-1)/side, (g.pic.NY+side-1)/side
		rich := make([]float64, g.nx*g.ny)
		for b := range rich {
			rich[b] = g.richness(b)
			if rich[b] > textureLeast*noise {
				g.textured = append(g.textured, b)
			}
		}
		slices.SortStableFunc(g.textured, func(a, b int) int { return cmp.Compare(rich[b], rich[a]) })
		g.textured = g.textured[:min(len(g.textured), texturedMost)]
		slices.Sort(g.textured)
		return g
	}
}

// richness is the texture of block b: its summed squared slopes.
func (g *texture) richness(b int) (sum float64) {
	p := g.pic
	for y := b / g.nx * settleSide; y < min(p.H, (b/g.nx+1)*settleSide); y++ {
		for x := b % g.nx * settleSide; x < min(p.W, (b%g.nx+1)*settleSide); x++ {
			if i := y*p.W + x; p.Known[i] {
				sum += float64(float64(p.GX[i])*float64(p.GX[i])) + float64(float64(p.GY[i])*float64(p.GY[i]))
			}
		}
	}
	return sum
}

// wholeCells marks the cells of which every pixel, and what its slope needs, is
// behind at least half of the frames.
func wholeCells(cover []float32, w, h int) []bool {
	known := make([]bool, w*h)
	for y0 := 0; y0+cells.Side <= h; y0 += cells.Side {
		for x0 := 0; x0+cells.Side <= w; x0 += cells.Side {
			ok := x0 >= trackEdge && y0 >= trackEdge && x0+cells.Side <= w-trackEdge && y0+cells.Side <= h-trackEdge
			for y := y0 - 1; ok && y <= y0+cells.Side; y++ {
				for x := x0 - 1; ok && x <= x0+cells.Side; x++ {
					ok = cover[y*w+x] > 0.5
				}
			}
			for y := y0; ok && y < y0+cells.Side; y++ {
				for x := x0; x < x0+cells.Side; x++ {
					known[y*w+x] = true
				}
			}
		}
	}
	return known
}

// compare sums up block b at a displacement.
func (g *texture) compare(b int, mov []float32, at point) (v cells.Sums) {
	const side = settleSide / cells.Side
	for cy := b / g.nx * side; cy < min(g.pic.NY, (b/g.nx+1)*side); cy++ {
		for cx := b % g.nx * side; cx < min(g.pic.NX, (b%g.nx+1)*side); cx++ {
			if !g.pic.Known[cy*cells.Side*g.pic.W+cx*cells.Side] {
				continue
			}
			s := g.pic.Compare(cx, cy, mov, g.pic.W, g.pic.H, float32(at.X), float32(at.Y))
			v.Add(&s, 1)
		}
	}
	return v
}

// settler follows a frame's blocks. Its buffers are for one goroutine.
type settler struct {
	own            []point
	sums           []cells.Sums
	eq, pool, rows []equations
}

// settle improves a displacement that is off by a part of a pixel. The air moves
// every block by its own amount, often by more than slopes reach, so each is
// followed by itself, leaning on its surroundings and these on the whole; the
// answer is the blocks' mean, weighted by their texture.
func (s *settler) settle(g *texture, mov []float32, from point) point {
	n := g.nx * g.ny
	if len(s.own) != n {
		s.own, s.sums = make([]point, n), make([]cells.Sums, n)
		s.eq, s.pool, s.rows = make([]equations, n), make([]equations, n), make([]equations, n)
	}
	for k := range s.own {
		s.own[k] = from
	}
	for range settleSteps {
		if !s.step(g, mov, from) {
			return from
		}
	}
	var w, x, y float64
	even := evenly(s.sums)
	for _, b := range g.textured {
		e := s.sums[b].XX + s.sums[b].YY
		e /= 1 + e/even
		w += e
		x += float64(e * s.own[b].X)
		y += float64(e * s.own[b].Y)
	}
	if w <= 0 {
		return from
	}
	return point{x / w, y / w}
}

// step moves every block to where its surroundings and itself ask for.
func (s *settler) step(g *texture, mov []float32, from point) bool {
	var sum cells.Sums
	for _, b := range g.textured {
		s.sums[b] = g.compare(b, mov, s.own[b])
		sum.Add(&s.sums[b], 1)
	}
	if sum.PP <= 0 || sum.FP <= 0 {
		return false
	}
	gain := sum.FP / sum.PP
	noise := max((sum.FF-float64(sum.FP*sum.FP)/sum.PP)/sum.N, 1e-12)
	var whole equations
	for _, b := range g.textured {
		s.eq[b] = equationsOf(&s.sums[b], gain, s.own[b])
		whole.add(&s.eq[b], 1)
	}
	all := whole.solve(noise/(settlePrior*settlePrior), from)
	s.gather(g.nx, g.ny)
	for _, b := range g.textured {
		about := s.pool[b].solve(noise/(poolPrior*poolPrior), all)
		p := s.eq[b].solve(noise/(ownPrior*ownPrior), about)
		s.own[b] = point{all.X + clampTo(p.X-all.X, strayBlock), all.Y + clampTo(p.Y-all.Y, strayBlock)}
	}
	return true
}

// equations are those whose solution is a displacement.
type equations struct{ xx, xy, yy, x, y float64 }

// equationsOf takes a block's sums at a displacement.
func equationsOf(v *cells.Sums, gain float64, at point) equations {
	g2 := float64(gain * gain)
	mx, my := miss(v, gain)
	e := equations{xx: v.XX * g2, xy: v.XY * g2, yy: v.YY * g2}
	e.x = float64(e.xx*at.X) + float64(e.xy*at.Y) - float64(mx*gain)
	e.y = float64(e.xy*at.X) + float64(e.yy*at.Y) - float64(my*gain)
	return e
}

func (e *equations) add(o *equations, k float64) {
	e.xx += float64(k * o.xx)
	e.xy += float64(k * o.xy)
	e.yy += float64(k * o.yy)
	e.x += float64(k * o.x)
	e.y += float64(k * o.y)
}

// solve returns the displacement, held about a place by a prior of this weight.
func (e *equations) solve(prior float64, about point) point {
	xx, yy := e.xx+prior, e.yy+prior
	bx, by := e.x+float64(prior*about.X), e.y+float64(prior*about.Y)
	det := float64(xx*yy) - float64(e.xy*e.xy)
	return point{(float64(yy*bx) - float64(e.xy*by)) / det, (float64(xx*by) - float64(e.xy*bx)) / det}
}

// gather smooths the equations of nx by ny blocks into s.pool by [1 2 3 2 1]/9
// across and down.
func (s *settler) gather(nx, ny int) {
	pass := func(dst, src []equations, n, step, lines, stride int) {
		for l := range lines {
			for k := range n {
				var e equations
				for m := max(0, k-2); m <= min(n-1, k+2); m++ {
					d := k - m
					if d < 0 {
						d = -d
					}
					e.add(&src[l*stride+m*step], float64(3-d)/9)
				}
				dst[l*stride+k*step] = e
			}
		}
	}
	pass(s.rows, s.eq, nx, 1, ny, nx)
	pass(s.pool, s.rows, ny, nx, nx, 1)
}

// sharpNoise is the noise's variance in the fine view of a frame, at the sample's
// usual brightness.
func (p *follower) sharpNoise(v *survey) float64 {
	var level float64
	for _, l := range v.all {
		level += l.level
	}
	return p.noise.at(level/float64(len(v.all))) / float64(p.fine.f*p.fine.f)
}
