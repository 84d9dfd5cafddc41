// Package kernel_test holds the kernels' results to one digest each, the same on
// every machine.
package kernel_test

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
	"testing"

	"plenilune/steps/kernel/calibrate"
	"plenilune/steps/kernel/filter"
	"plenilune/steps/kernel/fourier"
	"plenilune/steps/kernel/lettering"
	"plenilune/steps/kernel/moon"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/robust"
	"plenilune/steps/kernel/solve"
	"plenilune/steps/kernel/warp"
	"plenilune/steps/kernel/wavelet"
)

// bits gathers values to their last bit; all NaNs are one.
type bits struct{ b []byte }

func (d *bits) floats(v ...float64) {
	for _, x := range v {
		if x != x {
			x = math.NaN()
		}
		u := math.Float64bits(x)
		for range 8 {
			d.b = append(d.b, byte(u))
			u >>= 8
		}
	}
}

func (d *bits) plane(planes ...[]float32) {
	for _, p := range planes {
		for _, x := range p {
			d.floats(float64(x))
		}
	}
}

const w, h = 60, 45

func picture(seed uint64) []float32 {
	r := rand.New(rand.NewPCG(seed, 0))
	out := make([]float32, w*h)
	for i := range out {
		out[i] = float32(r.Float64())
	}
	filter.Gaussian(out, out, w, h, 1.2)
	return out
}

// The digests were made on amd64. A change of them is a change of every result
// that rests on the kernel: raise the versions of the steps concerned.
func TestSameBits(t *testing.T) {
	for _, c := range []struct {
		name string
		want uint64
		run  func(d *bits)
	}{
		{"filter", 0x7754a1f65ba8d61, digestFilter},
		{"wavelet", 0xe3c9cc6a907dd67b, digestWavelet},
		{"fourier", 0xc9dd099c2601823, digestFourier},
		{"warp", 0xbf936ff658fc814a, digestWarp},
		{"solve", 0x929a76b7a42f924c, digestSolve},
		{"robust", 0x3c3498e038c91ab8, digestRobust},
		{"calibrate", 0x7bd78b0c75aff851, digestCalibrate},
		{"moon", 0x99249ea37b65a621, digestMoon},
		{"lettering", 0x3d57dde1420eb668, digestLettering},
	} {
		var d bits
		c.run(&d)
		sum := fnv.New64a()
		sum.Write(d.b)
		if got := sum.Sum64(); got != c.want {
			t.Errorf("%s: digest %#x of %d bytes, want %#x", c.name, got, len(d.b), c.want)
		}
	}
}

func digestFilter(d *bits) {
	src := picture(1)
	a, b := make([]float32, w*h), make([]float32, w*h)
	filter.Sobel(a, b, src, w, h)
	d.plane(src, a, b)
	filter.Laplacian(a, src, w, h)
	filter.Box(b, src, w, h, 3)
	d.plane(a, b, filter.Downscale(plane.Of(w, h, src), 23, 17).Pix[0])
	src[777] = float32(math.NaN())
	filter.GaussianFilled(a, src, w, h, 2, 0.1)
	d.plane(a)
}

func digestWavelet(d *bits) {
	planes, rest := wavelet.Starlet(picture(2), w, h, 5)
	d.plane(planes...)
	d.plane(wavelet.Combine(planes, rest, 3, 1.7, 0.3))
}

func digestFourier(d *bits) {
	a, b := picture(3), picture(4)
	for i := range b {
		b[i] += a[(i+62)%len(a)]
	}
	c := fourier.NewCorrelator(a, w, h, fourier.Options{Fade: 0.5, Coarse: 9, Fine: 0.6, Upsample: 100})
	d.floats(c.Shift(b))
	s := fourier.MaskedNCC(a, w, h, b, w, h)
	d.plane(s.NCC, s.Overlap)
	for _, m := range s.Peaks(5, 0.2, 3) {
		d.floats(m.DX, m.DY, m.NCC)
	}
	fourier.New(w, h).Forward(a, b)
	d.plane(a, b)
	fourier.New(7*3, 11).Inverse(a, b)
	d.plane(a, b)
}

func digestWarp(d *bits) {
	src := plane.Of(w, h, picture(5))
	src.Pix[0][1234] = float32(math.NaN())
	for _, k := range []warp.Kernel{warp.Linear, warp.Cubic, warp.Lanczos3} {
		dst := plane.New(50, 50, 1)
		warp.Resample(dst, src, warp.Similarity(0.93, 0.4, 7, -3), k)
		d.plane(dst.Pix[0])
		warp.Shift(dst, src, 3.3, -2.7, k)
		d.plane(dst.Pix[0])
	}
}

func digestMoon(d *bits) {
	for _, ns := range []int64{-5e17, 3e17, 1.7e18} {
		v := moon.Site{LatitudeDeg: 47.3, LongitudeDeg: -8.5, ElevationM: 431}.View(moon.Unix(ns))
		d.floats(v.SubLonDeg, v.SubLatDeg, v.SunLonDeg, v.SunLatDeg, v.AxisDeg, v.DistanceKM, v.Lit, v.BrightLimbDeg,
			v.Horizon.AltitudeDeg, v.Horizon.AzimuthDeg, v.Horizon.ParallacticDeg, moon.Refraction(20), moon.Flattening(20))
		c, err := moon.NewCarry(v.Disk(), moon.DiskOf(v.SubLonDeg+1, v.SubLatDeg-1, v.DistanceKM), 0.01)
		if err != nil {
			panic(err)
		}
		for x := -1.2; x < 1.2; x += 0.11 {
			d.floats(c.At(x, 0.3))
		}
	}
}

func digestSolve(d *bits) {
	pts, to := make([]float64, 40), make([]float64, 40)
	r := rand.New(rand.NewPCG(6, 0))
	for i := range pts {
		pts[i], to[i] = r.Float64(), r.Float64()
	}
	s, err := solve.Umeyama(pts, to, nil)
	if err != nil {
		panic(err)
	}
	d.floats(s.Scale, s.Cos, s.Sin, s.TX, s.TY, s.RMS)
	x := []float64{1, 0, 0, 0}
	if _, err := solve.Fit(x, solve.FitOptions{}, func(x []float64, e *solve.Normal) {
		for i := 0; i < 40; i += 2 {
			p, q := pts[i], pts[i+1]
			v := float64(x[0]*p) - float64(float64(x[1]*x[1])*q) + x[2] - to[i]
			e.AddHuber([]int{0, 1, 2}, []float64{p, -2 * float64(x[1]*q), 1}, v, 2, 0.3)
			e.Add([]int{3, 0}, []float64{1, q}, x[3]+float64(x[0]*q)-to[i+1], 1)
		}
	}); err != nil {
		panic(err)
	}
	d.floats(x...)
	gram := make([]float64, 25)
	for i := range 5 {
		for j := range 5 {
			gram[i*5+j] = pts[i*5+j] + pts[j*5+i]
		}
	}
	values, vectors := solve.Eigen(gram, 5)
	d.floats(values...)
	d.floats(vectors...)
	ls, rest, err := solve.LeastSquares(pts, to[:10], 4)
	if err != nil {
		panic(err)
	}
	d.floats(ls...)
	d.floats(rest)
}

func digestRobust(d *bits) {
	p := picture(7)
	d.floats(robust.Median(p), robust.Sigma(p), robust.Quantile(p, 0.317), robust.Immerkaer(p, w, h))
	c := robust.SigmaClip(p, 2, 9)
	d.floats(c.Mean, c.Sigma, c.Low, c.High, robust.Huber(3, 1.345), robust.Biweight(1, 4.685))
}

func digestCalibrate(d *bits) {
	mean := calibrate.NewMean(w, h, 1)
	for pass := range 2 {
		for i := range 7 {
			mean.Add(plane.Of(w, h, picture(uint64(20+i))), 0, h)
		}
		if pass == 0 {
			mean.Limit(3)
		}
	}
	m := mean.Image()
	flat := m.Clone()
	calibrate.Flat(flat, nil, "RGGB")
	hot := calibrate.HotPixels(m, "RGGB", 3, 0.002)
	f := plane.Of(w, h, picture(30))
	calibrate.Frame(f, m, flat, hot, "RGGB")
	d.plane(m.Pix[0], flat.Pix[0], f.Pix[0])
	d.floats(float64(len(hot)))
}

// Curves at many sizes: where a line between two of their points is rounded otherwise, some pixel tells.
func digestLettering(d *bits) {
	for _, s := range []lettering.Style{lettering.Upright, lettering.Slanted, lettering.Bold} {
		for px := 7.5; px < lettering.MostPx; px *= 1.37 {
			m := lettering.Draw("Sinus Roris, Gärtner & Bode 0123456789 \u2033\u00b7", s, px)
			d.floats(float64(m.X), float64(m.Y), float64(m.W), float64(m.H), float64(lettering.Width("Copernicus", s, px)))
			d.b = append(d.b, m.Ink...)
		}
	}
}
