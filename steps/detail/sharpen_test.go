package detail

import (
	"math"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/kernel/deconvolve"
	"plenilune/steps/kernel/plane"
)

// cratered is a ground of fine and broad detail on a lit disk with a sharp limb,
// and the same through the air: what is known of it is the spread.
func cratered(size int, s deconvolve.Spread) (truth, blurred *plane.Image) {
	const fine = 4 // how much finer the grid is on which the limb is drawn
	truth = plane.New(size, size, 1)
	c, r := float64(size)/2, 0.38*float64(size)
	for i := range truth.Pix[0] {
		x, y := float64(i%size), float64(i/size)
		ground := 0.5 + 0.06*math.Sin(x/1.9)*math.Cos(y/2.3) + 0.06*math.Sin((x+2*y)/7) + 0.05*math.Cos((x-y)/19)
		cover := 0.0
		for k := range fine * fine {
			dx, dy := x+(float64(k%fine)+0.5)/fine-c, y+(float64(k/fine)+0.5)/fine-c
			if math.Hypot(dx, dy) < r {
				cover += 1.0 / (fine * fine)
			}
		}
		truth.Pix[0][i] = float32(0.01 + ground*cover)
	}
	// What perfect optics make of it: a little softer than its pixels.
	optics := plane.New(size, size, 1)
	deconvolve.NewBlur(deconvolve.Spread{CoreSigma: 0.85}, size, size).Blur(optics.Pix[0], truth.Pix[0])
	blurred = plane.New(size, size, 1)
	deconvolve.NewBlur(s, size, size).Blur(blurred.Pix[0], optics.Pix[0])
	return optics, blurred
}

func unblurred(t *testing.T, m *plane.Image, s deconvolveSettings, more map[string][]any) *pipelinetest.Result {
	t.Helper()
	b := pipelinetest.New()
	in := map[string][]any{"image": {pipelinetest.Plane{W: m.W, H: m.H, Pix: m.Pix}}}
	for port, v := range more {
		in[port] = v
	}
	r, err := b.Run(t, pipeline.Part{Name: "deconvolve", Settings: s, Out: []string{"image"}, Run: pipeline.Bind(sharpen)}, in)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func rms(a, b []float32) float64 {
	sum := 0.0
	for i := range a {
		sum += float64(a[i]-b[i]) * float64(a[i]-b[i])
	}
	return math.Sqrt(sum / float64(len(a)))
}

// With the blur known, most of what it took comes back, at the limb too, and no
// rim appears there.
func TestBlurIsTakenOut(t *testing.T) {
	const size, sigma = 320, 0.0008
	s := deconvolve.Spread{Halo: 0.4, CoreSigma: 0.6, HaloSigma: 2.8}
	truth, m := cratered(size, s)
	addTo(m.Pix[0], grain(4, size*size, sigma))
	r := unblurred(t, m, deconvolveSettings{}, map[string][]any{"blur": {seen{Spread: s}}, "placements": {placement{NoiseSigma: sigma}}})
	got := r.Plane("image").Pix[0]
	if was, is := rms(m.Pix[0], truth.Pix[0]), rms(got, truth.Pix[0]); is > was/5 {
		t.Errorf("off by %v rms, was %v before", is, was)
	}
	for i, v := range got {
		x, y := float64(i%size)+0.5-size/2, float64(i/size)+0.5-size/2
		d := math.Hypot(x, y) - 0.38*size
		if e := float64(v - truth.Pix[0][i]); d > 2 && e < -0.02*0.5 || d < -2 && d > -8 && math.Abs(e) > 0.06*0.5 {
			t.Fatalf("%.1f px from the limb the light is %v, should be %v", d, v, truth.Pix[0][i])
		}
	}
	sky, was := sigmaOf(got[:20*size]), sigmaOf(m.Pix[0][:20*size])
	if sky > 1.2*was { // what is strong by chance passes
		t.Errorf("the sky's noise grew from %v to %v", was, sky)
	}
}

// Noise alone holds nothing to bring out.
func TestNoiseIsNotSharpened(t *testing.T) {
	const size, sigma = 256, 0.01
	m := plane.New(size, size, 1)
	for i := range m.Pix[0] {
		m.Pix[0][i] = 0.5
	}
	addTo(m.Pix[0], grain(9, size*size, sigma))
	s := deconvolve.Spread{Halo: 0.5, CoreSigma: 0.6, HaloSigma: 2.5}
	more := map[string][]any{"blur": {seen{Spread: s}}}
	got := sigmaOf(unblurred(t, m, deconvolveSettings{Iterations: 10}, more).Plane("image").Pix[0])
	if got > 1.2*sigma { // what is strong by chance passes
		t.Errorf("noise of %v became %v", sigma, got)
	}
	// The linear gain of ten steps on this spread is above 1.5 at most frequencies:
	// without the quieting the noise would have grown by so much.
	if g := s.Sharpened(0.3, 10); g < 1.5 {
		t.Errorf("ten steps raise fine detail only %v times: the case is vacuous", g)
	}
}

// Less noise bears more steps; a step count that is given is kept.
func TestStepsStopInTheNoise(t *testing.T) {
	s := deconvolve.Spread{Halo: 0.4, CoreSigma: 0.6, HaloSigma: 2.8}
	_, m := cratered(200, s)
	steps := func(sigma float64, n int) float64 {
		r := unblurred(t, m, deconvolveSettings{Iterations: n}, map[string][]any{"blur": {seen{Spread: s}}, "placements": {placement{NoiseSigma: sigma}}})
		return factOf(r, "iterations")
	}
	few, many := steps(0.05, 0), steps(0.002, 0)
	if !(few >= 1 && few < many) {
		t.Errorf("%v steps in much noise, %v in little", few, many)
	}
	if got := steps(0.05, 7); got != 7 {
		t.Errorf("7 steps asked for, %v taken", got)
	}
}

func factOf(r *pipelinetest.Result, name string) float64 {
	for _, f := range r.Facts {
		if f.Name == name {
			return f.Value
		}
	}
	return math.NaN()
}

func TestGapsStayAndSpread(t *testing.T) {
	s := deconvolve.Spread{Halo: 0.4, CoreSigma: 0.6, HaloSigma: 2.8}
	_, m := cratered(200, s)
	nan := float32(math.NaN())
	for y := 90; y < 110; y++ {
		for x := 80; x < 120; x++ {
			m.Pix[0][y*200+x] = nan
		}
	}
	got := unblurred(t, m, deconvolveSettings{Iterations: 8}, map[string][]any{"blur": {seen{Spread: s}}}).Plane("image").Pix[0]
	for i, v := range got {
		if (v != v) != (m.Pix[0][i] != m.Pix[0][i]) {
			t.Fatalf("pixel %d, %d: %v, was %v", i%200, i/200, v, m.Pix[0][i])
		}
	}
}

func TestBlurGivenInArcseconds(t *testing.T) {
	_, m := cratered(160, deconvolve.Spread{CoreSigma: 1.2})
	px := unblurred(t, m, deconvolveSettings{FWHMPx: 3, Iterations: 5}, nil)
	sec := unblurred(t, m, deconvolveSettings{FWHMArcsec: 1.5, Iterations: 5}, map[string][]any{"placements": {placement{ScaleArcsecPerPx: 0.5}}})
	if same(px.Plane("image").Pix[0], sec.Plane("image").Pix[0]) >= 0 {
		t.Error("1.5″ at 0.5″/px are not 3 px")
	}
	r := unblurred(t, m, deconvolveSettings{FWHMArcsec: 1.5}, map[string][]any{"placements": {placement{}}})
	if !r.Warned("scale-unknown") || same(r.Plane("image").Pix[0], m.Pix[0]) >= 0 {
		t.Errorf("without a scale: warnings %v", r.Warnings)
	}
}

// The blur that a limb was given is measured at it, with an uncertainty that holds
// the difference.
func TestBlurIsMeasuredAtTheLimb(t *testing.T) {
	tel := deconvolve.Telescope{Cutoff: 4} // the case has next to no optics of its own
	for _, sigma := range []float64{1, 1.6, 2.5} {
		m := disk(500, 190, sigma)
		for i, v := range m.Pix[0] {
			m.Pix[0][i] = v * float32(1+0.01*math.Sin(float64(i%500)/3)*math.Cos(float64(i/500)/4))
		}
		addTo(m.Pix[0], grain(6, len(m.Pix[0]), 0.002))
		b, err := measureBlur(profilesOf(limbEdges(m.Pix[0], 500, 500)), tel)
		if err != nil {
			t.Errorf("σ = %v: %v", sigma, err)
			continue
		}
		want := sigmaToFWHM * sigma
		if math.Abs(b.FWHMPx/want-1) > 0.05 {
			t.Errorf("FWHM %v ± %v px, want %v (%d places)", b.FWHMPx, b.SigmaPx, want, b.Places)
		}
		if b.SigmaPx <= 0 || b.SigmaPx > 0.1*want {
			t.Errorf("σ = %v: uncertain by %v px", sigma, b.SigmaPx)
		}
	}
}

func TestWithoutALimbAUsualBlurIsTakenAndSaid(t *testing.T) {
	m := texture(256)
	r, err := pipelinetest.New().Run(t, pipeline.Part{Name: "blur", Settings: opticsSettings{}, Out: []string{"blur"}, Run: pipeline.Bind(blur)},
		map[string][]any{"image": {pipelinetest.Plane{W: 256, H: 256, Pix: m.Pix}}})
	if err != nil {
		t.Fatal(err)
	}
	var b seen
	if r.Table("blur", &b); !r.Warned("blur-assumed") || b.Measured || b.Spread != usualSpread {
		t.Errorf("%+v, warnings %v", b, r.Warnings)
	}
}

// 206264.806″ in a radian: 150 mm at 550 nm cut off at 150/0.00055/206264.806 =
// 1.32224 cycles per arcsecond.
func TestTelescopeInPixels(t *testing.T) {
	tel, _ := telescope(opticsSettings{150, 0.2}, placement{ScaleArcsecPerPx: 0.4}, lightTable{})
	if math.Abs(tel.Cutoff-0.4*1.32224) > 1e-4 || tel.Obstruction != 0.2 {
		t.Errorf("%+v", tel)
	}
	if usual, stated := telescope(opticsSettings{150, 0}, placement{}, lightTable{}); usual != deconvolve.Typical() || stated {
		t.Error("without a scale the typical telescope is taken")
	}
	// Twice the wavelength halves the limit.
	if red, _ := telescope(opticsSettings{150, 0.2}, placement{ScaleArcsecPerPx: 0.4}, lightTable{1100}); math.Abs(red.Cutoff-tel.Cutoff/2) > 1e-9 {
		t.Errorf("at 1100 nm %+v", red)
	}
	// A picture twice as fine shows the same telescope, and pixels of the sensor, at half the frequency.
	fine, _ := telescope(opticsSettings{}, placement{Fineness: 2}, lightTable{})
	if got, want := fine.Transfer(0.2), deconvolve.Typical().Transfer(0.4); math.Abs(got-want) > 1e-12 {
		t.Errorf("twice as fine, 0.2 cycles/px pass by %v, want %v", got, want)
	}
}

func TestABlurGivenTwiceIsAFault(t *testing.T) {
	got := check(&Settings{Deconvolve: &Deconvolve{BlurFWHMPx: 3, BlurFWHMArcsec: 1}}, pipeline.Night{})
	if len(got) != 1 || got[0].Path != "deconvolve.blur_fwhm_px" || got[0].Hint == "" {
		t.Errorf("problems %+v", got)
	}
	if got := check(&Settings{Deconvolve: &Deconvolve{BlurFWHMPx: 3}}, pipeline.Night{}); len(got) != 0 {
		t.Errorf("one blur: problems %+v", got)
	}
}

// A disk that is softer at its lower side is told to be so, and by how much.
func TestBlurBySide(t *testing.T) {
	tel := deconvolve.Telescope{Cutoff: 4}
	sharp, soft := disk(700, 290, 1.2), disk(700, 290, 2.4)
	copy(sharp.Pix[0][350*700:], soft.Pix[0][350*700:])
	addTo(sharp.Pix[0], grain(7, len(sharp.Pix[0]), 0.001))
	least, most, ok := bySide(limbEdges(sharp.Pix[0], 700, 700), tel)
	if !ok {
		t.Fatal("no two sides tell")
	}
	if name := sideNames[least.side]; name != "top" && name != "top right" || math.Abs(least.fwhmPx/(1.2*sigmaToFWHM)-1) > 0.08 {
		t.Errorf("sharpest at the %s, %.2f px; want the upper side, %.2f px", name, least.fwhmPx, 1.2*sigmaToFWHM)
	}
	if name := sideNames[most.side]; name != "bottom" && name != "bottom right" || math.Abs(most.fwhmPx/(2.4*sigmaToFWHM)-1) > 0.08 {
		t.Errorf("softest at the %s, %.2f px; want the lower side, %.2f px", name, most.fwhmPx, 2.4*sigmaToFWHM)
	}
	if _, _, ok := bySide(nil, tel); ok {
		t.Error("no limb has two sides")
	}
}

// Directions by hand, y running down.
func TestSideOf(t *testing.T) {
	for want, d := range [][2]float64{{3, 1}, {2, 2}, {-1, 3}, {-2, 2}, {-3, -1}, {-2, -2}, {1, -3}, {2, -2}} {
		if got := sideOf(d[0], d[1]); got != side(want) {
			t.Errorf("%v points to the %s, want %s", d, sideNames[got], sideNames[want])
		}
	}
}

// edgeOf is the normal profile of a sharp edge seen through a telescope and a spread, averaged over bins: ½ + ∫ M(f)·sin(2πfx)/(πf) df.
func edgeOf(tel deconvolve.Telescope, s deconvolve.Spread) deconvolve.Profile {
	const steps = 400
	var p deconvolve.Profile
	df := tel.Cutoff / steps
	for i := range p {
		p[i] = 0.5
		for k := range steps {
			f := (float64(k) + 0.5) * df
			bin := math.Pi * f * deconvolve.EdgeBin
			p[i] += tel.Transfer(f) * s.Transfer(f) * math.Sin(bin) / bin * math.Sin(2*math.Pi*f*deconvolve.At(i)) / (math.Pi * f) * df
		}
	}
	n, _, _, _, _ := p.Normal()
	return n
}

// Optics that nobody stated are found by the edge, and so is the blur behind them,
// within what is said of both; an edge that tells nothing leaves them as they were.
func TestOpticsAreSeen(t *testing.T) {
	usual := deconvolve.Typical()
	for _, cutoff := range []float64{0.45, 0.524, 0.56} {
		tel := deconvolve.Telescope{Cutoff: cutoff, Obstruction: 0.35}
		for _, s := range []deconvolve.Spread{{Halo: 0.4, CoreSigma: 0.35, HaloSigma: 2}, {Halo: 0.6, CoreSigma: 0.4, HaloSigma: 2.2}} {
			edge := edgeOf(tel, s)
			found, within := opticsSeen(edge, usual)
			if within != seenWithin || math.Abs(found.Cutoff/cutoff-1) > within {
				t.Errorf("cutoff %v, %+v: found %.4f within %v", cutoff, s, found.Cutoff, within)
			}
			b, _, err := deconvolve.FitEdge(edge, found)
			if err != nil {
				t.Fatal(err)
			}
			got, want, sigma := found.FWHM(b), tel.FWHM(s), ofOptics(edge, found, within)
			if math.Abs(got/want-1) > 0.05 || math.Abs(got-want) > 2*sigma {
				t.Errorf("cutoff %v, %+v: FWHM %.3f ± %.3f px, is %.3f", cutoff, s, got, sigma, want)
			}
		}
	}
	if found, within := opticsSeen(deconvolve.Profile{}, usual); found != usual || within != usualWithin {
		t.Errorf("nothing tells of optics with a cutoff of %v within %v", found.Cutoff, within)
	}
}
