package simulate

import (
	"context"
	"math"

	"plenilune/steps/kernel/fourier"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/portable"
)

// scene is the Moon without air, for the camera to look at: at twice the
// sensor's scale, averaged over the sensor's pixels and cut off where the optics
// pass nothing, so that resampling it loses nothing that a frame could show.
type scene struct {
	*globe
	sharp *plane.Image // before diffraction; brightest ground about 1
	truth *plane.Image // after diffraction, at the sensor's scale
}

// margin is the sky around the disk in a scene, in sensor pixels.
const margin = 30

func newScene(ctx context.Context, p *Plan, o *optics) (*scene, error) {
	side := fourier.Good(2 * (int(p.DiskPx+0.5) + 2*margin))
	for side%4 != 0 {
		side = fourier.Good(side + 1)
	}
	g := newGlobe(side, p.DiskPx, p.SubObserverLonDeg, p.SubObserverLatDeg, p.DistanceRadii)
	light, err := moonlight(ctx, g, p)
	if err != nil {
		return nil, err
	}
	s := &scene{globe: g, sharp: plane.New(side, side, p.channels()), truth: plane.New(side/2, side/2, p.channels())}
	for c := range s.sharp.Pix {
		copy(s.sharp.Pix[c], light)
		if p.channels() == 3 {
			tint(s.sharp.Pix[c], light, c)
		}
		s.band(c, p, o.halo(p))
	}
	return s, nil
}

// moonlight makes the ground and lights it, brightest ground about 1.
func moonlight(ctx context.Context, g *globe, p *Plan) ([]float32, error) {
	m := newMaria(p.MoonSeed)
	r, err := newRelief(ctx, g, m, p.MoonSeed, p.Workers)
	if err != nil {
		return nil, err
	}
	cs := append(namedCraters(), population(m, p.MoonSeed, p.CratersAbove20Km, p.CraterSlope, p.SmallestCraterKm, 85)...)
	byAge(cs)
	for _, c := range cs {
		r.dig(c)
	}
	if err := r.paintRays(ctx, p.MoonSeed, p.Workers); err != nil {
		return nil, err
	}
	light, err := r.shine(ctx, p.PhaseDeg, p.BrightLimbDeg, p.Workers)
	if err != nil {
		return nil, err
	}
	k := 1 / brightest(light)
	for i := range light {
		light[i] *= k
	}
	return light, nil
}

// brightest returns the 99.8th percentile of what is lit.
func brightest(v []float32) float32 {
	var count [4096]int
	lit := 0
	for _, x := range v {
		if x > 0 {
			count[min(4095, int(x*8192))]++
			lit++
		}
	}
	for i, left := 4095, lit/500; i > 0; i-- {
		if left -= count[i]; left < 0 {
			return float32(i+1) / 8192
		}
	}
	return 1
}

// tint colours light: the Moon is a warm grey, its dark plains a little less so.
func tint(dst, light []float32, c int) {
	bright := [3]float32{1.00, 0.93, 0.80}[c]
	dark := [3]float32{0.93, 0.90, 0.84}[c]
	for i, v := range light {
		t := min(1, v*1.4)
		dst[i] = float32(float32(bright*t)+float32(dark*(1-t))) * v
	}
}

// band filters one channel in frequency space and takes the truth from it. The
// halo makes up for the far light that frames' spread functions are too narrow to spread.
func (s *scene) band(c int, p *Plan, halo []float64) {
	n := s.side
	ft := fourier.New(n, n)
	re, im := s.sharp.Pix[c], make([]float32, n*n)
	ft.Forward(re, im)
	tr, ti := make([]float32, n*n), make([]float32, n*n)
	box := pixelTransfer(n)
	for y := range n {
		for x := range n {
			i := y*n + x
			f := 2 * math.Sqrt(float64(sq(freq(x, n)))+float64(sq(freq(y, n)))) // cycles a sensor pixel
			k := box[x] * box[y] * (1 - step(p.CutoffCyclesPerPx, 1-p.CutoffCyclesPerPx, f))
			t := float32(k * annulusTransfer(f/p.CutoffCyclesPerPx, p.Obstruction))
			tr[i], ti[i] = re[i]*t, im[i]*t
			h := float32(k * halo[min(int(float64(f*haloSteps)+0.5), len(halo)-1)])
			re[i] *= h
			im[i] *= h
		}
	}
	ft.Inverse(re, im)
	ft.Inverse(tr, ti)
	h := n / 2
	for y := range h {
		for x := range h {
			s.truth.Pix[c][y*h+x] = max(0, tr[2*y*n+2*x])
		}
	}
}

func sq(x float64) float64 { return float64(x * x) }

// freq is the frequency of a transform's bin in cycles a sample.
func freq(i, n int) float64 {
	if i > n/2 {
		i -= n
	}
	return float64(i) / float64(n)
}

// pixelTransfer is what averaging over two samples, a sensor pixel, does to each
// frequency of a line of n.
func pixelTransfer(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		x := 2 * math.Pi * freq(i, n)
		out[i] = 1
		if x != 0 {
			out[i] = portable.Sin(x) / x
		}
	}
	return out
}
