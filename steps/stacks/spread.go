package stacks

import (
	"plenilune/steps/kernel/filter"
	"plenilune/steps/kernel/lanes"
	"plenilune/steps/kernel/plane"
)

// sieve holds the samples of a frame behind a colour filter apart, the four sites of its pattern: site (sx, sy) has every
// second sample along and down, from (sx, sy) on. Rows of all four are as long.
type sieve struct {
	w, h   int // of the frame
	stride int
	sites  [4][]float32 // 2·sy + sx
}

func newSieve(w, h int) *sieve {
	s := &sieve{w: w, h: h, stride: (w + 1) / 2}
	for k := range s.sites {
		s.sites[k] = make([]float32, s.stride*((h+1)/2))
	}
	return s
}

// sift takes a frame's samples apart.
func (s *sieve) sift(img *plane.Image) {
	for y := range s.h {
		row := img.Pix[0][y*s.w:][:s.w]
		even, odd := s.sites[2*(y&1)][y/2*s.stride:], s.sites[2*(y&1)+1][y/2*s.stride:]
		for x := 0; x+1 < len(row); x += 2 {
			even[x/2], odd[x/2] = row[x], row[x+1]
		}
		if len(row)%2 == 1 {
			even[len(row)/2] = row[len(row)-1]
		}
	}
}

// sitePhases is how many places are told apart between two samples of a site, which lie two pixels apart.
const (
	sitePhases = 2 * tapPhases
	siteBits   = tapBits + 1
)

// siteTaps are the weights, sinc(d)·sinc(d/3) at its true distance d in pixels of the sensor, of a site's sample
// nearest to a place and of those before and after it. The sums of both kinds of sites along an axis are one at each
// place, so that all four together weigh as a frame without filters does.
var siteTaps = makeSiteTaps()

func makeSiteTaps() []lanes.Three {
	t := make([]lanes.Three, sitePhases)
	for k := range t {
		// the whole pixel before the place, against the middle sample, and the place's phase behind that
		whole, phase := k/tapPhases-1, k%tapPhases
		for j := range 3 {
			if m := 2*(j-1) - whole + 2; m >= 0 && m < tapsWide { // tap m lies m−2 from the whole pixel
				t[k][j] = lanczosTaps[phase][m]
			}
		}
		t[k][3] = (t[k][0] + t[k][1]) + t[k][2]
		for j := range 3 {
			t[k][4] += float32(t[k][j] * siteOffset(k, j))
		}
	}
	return t
}

// siteOffset is how far sample j of the taps of a phase lies beyond the place, in pixels of the sensor.
func siteOffset(phase, j int) float32 {
	return float32(2*(j-1)) - float32(float32(phase-tapPhases)*(1.0/tapPhases))
}

// siteSplit returns the sample of a site that lies nearest to a place along one axis, and the phase of its taps.
func siteSplit(p float32, parity int32) (sample, phase int32) {
	t := int32(float32(p*tapPhases)+0.5) + siteBefore(parity)
	return t >> siteBits, t & (sitePhases - 1)
}

// siteBefore is by how many phases a site's samples of even or odd places lie before the pixels from which the nearest is
// counted.
func siteBefore(parity int32) int32 { return (1 - parity) * tapPhases }

// spreader lays a frame's samples about each place into their own channels: each at its true distance, weighted by a
// kernel that keeps what the sensor's pixels can tell, and with it its weight (Fruchter & Hook 2002, with a kernel in place of a
// drop's overlap). No colour is guessed from its neighbours. It is for one goroutine.
type spreader struct {
	sites  [4]int // the channel of each
	places lanes.Places
	found  [4]lanes.Gathered // of each site, along the row at hand
	bright []float32         // weights over the frame's gain
}

func newSpreader(pattern string, w int) *spreader {
	p := &spreader{places: lanes.NewPlaces(w), bright: make([]float32, w)}
	for k := range p.found {
		p.found[k] = lanes.Gathered{Value: make([]float32, w), Weight: make([]float32, w), Right: make([]float32, w), Down: make([]float32, w)}
	}
	for k, ch := range siteChannels(pattern) {
		p.sites[2*k], p.sites[2*k+1] = ch[0], ch[1]
	}
	return p
}

// look finds the samples about pixels x0 to x1 of a row.
func (p *spreader) look(f *laid, at *line, x0, x1 int) {
	for k, ch := range p.sites {
		places, off := p.places.To(x1-x0), f.colour[ch]
		lanes.Locate(places, at.x[x0:x1], at.y[x0:x1], off[0], off[1], lanes.Lattice{Stride: int32(f.sieve.stride), Before: 1,
			Bits: siteBits, X: siteBefore(int32(k % 2)), Y: siteBefore(int32(k / 2))})
		lanes.GatherThree(p.found[k].From(x0, x1), f.sieve.sites[k], f.sieve.stride, places, siteTaps)
	}
}

// lookEdge finds the samples about one pixel, of which some may be missing.
func (p *spreader) lookEdge(f *laid, x int, px, py float32) {
	for k, ch := range p.sites {
		sx, sy := k%2, k/2
		ix, fx := siteSplit(max(0, px+f.colour[ch][0]), int32(sx))
		iy, fy := siteSplit(max(0, py+f.colour[ch][1]), int32(sy))
		kx, ky := &siteTaps[fx], &siteTaps[fy]
		var v, n, right, down float32
		for j := range 3 {
			y := int(iy) - 1 + j
			if y < 0 || 2*y+sy >= f.sieve.h {
				continue
			}
			row := f.sieve.sites[k][y*f.sieve.stride:]
			for m := range 3 {
				if x := int(ix) - 1 + m; x >= 0 && 2*x+sx < f.sieve.w {
					t := float32(ky[j] * kx[m])
					v += float32(t * row[x])
					n += t
					right += float32(t * siteOffset(int(fx), m))
					down += float32(t * siteOffset(int(fy), j))
				}
			}
		}
		p.found[k].Value[x], p.found[k].Weight[x], p.found[k].Right[x], p.found[k].Down[x] = v, n, right, down
	}
}

// squares is the sum of the squared weights of a channel's samples about a place.
func (p *spreader) squares(f *laid, ch int, px, py float32) (sum float32) {
	for k, of := range p.sites {
		if of != ch {
			continue
		}
		_, fx := siteSplit(max(0, px+f.colour[ch][0]), int32(k%2))
		_, fy := siteSplit(max(0, py+f.colour[ch][1]), int32(k/2))
		sum += float32(siteSquares[fx] * siteSquares[fy])
	}
	return sum
}

// siteSquares holds the sums of the squared siteTaps along one axis.
var siteSquares = func() (out [sitePhases]float32) {
	for k, t := range siteTaps {
		for _, v := range t[:3] {
			out[k] += float32(v * v)
		}
	}
	return out
}()

// add adds what was found, with the row's weights, to the sums' row that begins at pixel at.
func (p *spreader) add(h *half, at int, wt []float32, inv float32) {
	for i, k := range wt {
		p.bright[i] = k * inv
	}
	end := at + len(wt)
	frames := h.frames[at:end]
	for i, k := range wt {
		frames[i] += k
	}
	for k, ch := range p.sites {
		g := &p.found[k]
		lanes.AddProducts(h.value[ch][at:end], p.bright, g.Value)
		lanes.AddProducts(h.weight[ch][at:end], wt, g.Weight)
		lanes.AddProducts(h.lean[ch][0][at:end], wt, g.Right)
		lanes.AddProducts(h.lean[ch][1][at:end], wt, g.Down)
	}
}

const (
	// calmSigma, in pixels of the sensor, is the blur after which the weights of one frame are even, to a few per cent.
	calmSigma = 0.8
	// Where a place's weights are less than calmFrom of what the frames' own weights let expect the place is filled from
	// about it, from calmTo on it stands for itself.
	calmFrom, calmTo = 0.3, 0.8
)

// calmed is a channel of a mosaic's stack.
type calmed struct {
	picture []float32
	own     []float32 // the share that a place itself has in what is made of it, 0…1
	about   []float32 // the weights about it, blurred
}

// step rises smoothly from 0 at lo to 1 at hi.
func step(v, lo, hi float32) float32 {
	t := max(0, min(1, (v-lo)/(hi-lo)))
	return t * float32(t*(3-(t+t)))
}

// calm divides the sums of channel ch of a half by its weights, for each place as if the samples about it lay at it in the
// mean: what they lean to one side, times the slope there, is taken off first, so that slopes come out as they are
// (normalised differential convolution, Knutsson & Westin 1993, of which this is the part that matters). Where few frames
// are laid, weights come near nothing between the samples of a colour, and there the sums about the place, divided by the
// weights about it, take over smoothly: no place is a hole, none blows up.
func (s *sums) calm(half *half, ch int) calmed {
	w, h, scale := s.c.W, s.c.H, s.raster.scale
	value, weight, right, down := half.value[ch], half.weight[ch], half.lean[ch][0], half.lean[ch][1]
	out := calmed{make([]float32, w*h), make([]float32, w*h), make([]float32, w*h)}
	taps := filter.GaussianTaps(float64(calmSigma * scale))
	v, n, tmp := make([]float32, w*h), out.about, make([]float32, w*h)
	filter.SymmetricWith(tmp, v, value, w, h, taps)
	filter.SymmetricWith(tmp, n, weight, w, h, taps)
	for i, k := range n {
		v[i] /= k
	}
	slope := float32(scale / 2) // two pixels of the picture apart, a pixel of the sensor's slope
	share := float32(s.sites[ch]) / 4
	for i, k := range weight {
		t := step(k/float32(share*half.frames[i]), calmFrom, calmTo)
		out.picture[i] = v[i]
		if !(t > 0) {
			continue
		}
		out.own[i] = t
		var gx, gy float32
		if x, y := i%w, i/w; x > 0 && y > 0 && x < w-1 && y < h-1 {
			gx, gy = float32(slope*(v[i+1]-v[i-1])), float32(slope*(v[i+w]-v[i-w]))
		}
		level := (value[i] - float32(gx*right[i]) - float32(gy*down[i])) / k
		out.picture[i] += float32(t * (level - out.picture[i]))
	}
	return out
}

// siteChannels returns which channel each site of a pattern belongs to, [y&1][x&1]:
// red, green and blue are 0, 1 and 2, and so are cyan, yellow and magenta.
func siteChannels(pattern string) *[2][2]int {
	var s [2][2]int
	for k, c := range pattern[:4] {
		ch := 1
		switch c {
		case 'R', 'C':
			ch = 0
		case 'B', 'M':
			ch = 2
		}
		s[k/2][k%2] = ch
	}
	return &s
}
