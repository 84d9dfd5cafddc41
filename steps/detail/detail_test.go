package detail

import (
	"context"
	"image"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/wavelet"
)

// lab runs the two parts one after the other.
type lab struct {
	bench *pipelinetest.Bench
	in    map[string][]any
	apart *pipelinetest.Result
}

func takeApart(t *testing.T, m *plane.Image, more map[string]any) *lab {
	t.Helper()
	l := &lab{bench: pipelinetest.New(), in: map[string][]any{"image": {pipelinetest.Plane{W: m.W, H: m.H, Pix: m.Pix}}}}
	if w, ok := more["weight"]; ok {
		l.in["weight"] = []any{w}
	}
	var err error
	if l.apart, err = l.bench.Run(t, pipeline.Part{Name: "decompose", Out: decomposeOut(), Run: decompose}, l.in); err != nil {
		t.Fatal(err)
	}
	for _, port := range decomposeOut() {
		l.in[port] = []any{l.apart.Stored(port)}
	}
	if p, ok := more["placements"]; ok {
		l.in["placements"] = []any{p}
	}
	return l
}

func (l *lab) recombine(t *testing.T, bands ...bandSettings) *pipelinetest.Result {
	t.Helper()
	r, err := l.bench.Run(t, pipeline.Part{Name: "recombine", Settings: recombineSettings{Bands: bands}, Out: []string{"image"}, Run: pipeline.Bind(recombine)}, l.in)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func (l *lab) about() (a apart) {
	l.apart.Table("apart", &a)
	return a
}

// grain is noise that is about normal: the sum of twelve even ones less six.
func grain(seed uint64, n int, sigma float64) []float32 {
	rng := rand.New(rand.NewPCG(seed, 1))
	out := make([]float32, n)
	for i := range out {
		s := -6.0
		for range 12 {
			s += rng.Float64()
		}
		out[i] = float32(s * sigma)
	}
	return out
}

func sigmaOf(v []float32) float64 {
	var sum, sum2 float64
	for _, x := range v {
		sum += float64(x)
		sum2 += float64(x) * float64(x)
	}
	n := float64(len(v))
	return math.Sqrt(sum2/n - sum/n*sum/n)
}

func addTo(p, q []float32) {
	for i, v := range q {
		p[i] += v
	}
}

func same(a, b []float32) int {
	for i := range a {
		if math.Float32bits(a[i]) != math.Float32bits(b[i]) && (a[i] == a[i] || b[i] == b[i]) {
			return i
		}
	}
	return -1
}

func TestUntouchedBandsGiveThePictureBack(t *testing.T) {
	m := disk(300, 110, 2)
	addTo(m.Pix[0], grain(1, len(m.Pix[0]), 0.003))
	for y := 140; y < 170; y++ {
		m.Pix[0][y*300+200] = float32(math.NaN())
	}
	l := takeApart(t, m, nil)
	got := l.recombine(t, bandSettings{ScalePx: 2, Boost: 1}, bandSettings{ScalePx: 9, Boost: 1}).Plane("image")
	if i := same(got.Pix[0], m.Pix[0]); i >= 0 {
		t.Errorf("pixel %d came out as %v, went in as %v", i, got.Pix[0][i], m.Pix[0][i])
	}
	changed := l.recombine(t, bandSettings{ScalePx: 2, Boost: 2}).Plane("image")
	if same(changed.Pix[0], m.Pix[0]) < 0 {
		t.Error("a boost of 2 changed nothing")
	}
}

// A cosine that is even about both outermost pixels stays one beyond the mirror,
// so each level multiplies it by the level's transfer, exactly.
func TestCosineGrowsByTheTransfer(t *testing.T) {
	const size = 257
	for _, waves := range []int{20, 36, 72, 110} {
		f := float64(waves) / 2 / (size - 1)
		m := plane.New(size, size, 1)
		for i := range m.Pix[0] {
			m.Pix[0][i] = float32(0.5 + 0.1*math.Cos(2*math.Pi*f*float64(i%size)))
		}
		l := takeApart(t, m, nil)
		for j := range 4 {
			got := l.recombine(t, bandSettings{ScalePx: levelScalePx[j], Boost: 3}).Plane("image").Pix[0]
			want := 1 + 2*response(j, f)
			for _, i := range []int{0, 128*size + 128, 200*size + 64} {
				c := math.Cos(2 * math.Pi * f * float64(i%size))
				if math.Abs(float64(got[i])-0.5-0.1*want*c) > 1e-6 {
					t.Errorf("period %.2f px, level %d, pixel %d: %v, want %v", 1/f, j+1, i, got[i], 0.5+0.1*want*c)
				}
			}
		}
	}
}

func TestNoiseIsKnownAndHeldBack(t *testing.T) {
	const size, sigma = 512, 0.004
	m := plane.New(size, size, 1)
	for i := range m.Pix[0] {
		m.Pix[0][i] = 0.5
	}
	addTo(m.Pix[0], grain(7, size*size, sigma))
	l := takeApart(t, m, nil)
	// The quartile of blocks of 32², each known to some 4 %, lies 3 % low.
	if got := l.about().NoiseSigma; math.Abs(got/sigma-1) > 0.06 {
		t.Errorf("noise of %v is measured as %v", sigma, got)
	}
	for j := range 4 {
		level := l.apart.Plane(levelPort(j)).Pix[0]
		// Starck & Murtagh's table by way of NoiseFactor; coarse levels have few independent pixels.
		if got, want := sigmaOf(level)/sigma, wavelet.NoiseFactor(j); math.Abs(got/want-1) > 0.01*math.Pow(2, float64(j)) {
			t.Errorf("level %d of noise has a sigma of %v, want %v", j+1, got, want)
		}
	}
	bare := sigmaOf(l.recombine(t, bandSettings{ScalePx: 1, Boost: 2}).Plane("image").Pix[0])
	held := sigmaOf(l.recombine(t, bandSettings{ScalePx: 1, Boost: 2, FloorSigma: 3}).Plane("image").Pix[0])
	if bare < 1.8*sigma || held > 0.6*sigma {
		t.Errorf("boosted noise of %v is %v without and %v with a floor", sigma, bare, held)
	}
}

// Once a picture is sharpened, floors go by the noise that is in it, not by that of its stacks.
func TestFloorKnowsThatNoiseWasRaised(t *testing.T) {
	const size, raised = 512, 0.012
	m := plane.New(size, size, 1)
	for i := range m.Pix[0] {
		m.Pix[0][i] = 0.5
	}
	addTo(m.Pix[0], grain(8, size*size, raised))
	l := takeApart(t, m, map[string]any{"placements": placement{NoiseSigma: raised / 4}})
	band := []bandSettings{{ScalePx: 1, Boost: 2, FloorSigma: 3}}
	after := func(sharpened bool) float64 {
		r, err := l.bench.Run(t, pipeline.Part{Name: "recombine", Settings: recombineSettings{band, sharpened}, Out: []string{"image"}, Run: pipeline.Bind(recombine)}, l.in)
		if err != nil {
			t.Fatal(err)
		}
		return sigmaOf(r.Plane("image").Pix[0])
	}
	if stacked, own := after(false), after(true); stacked < 1.5*raised || own > 0.6*raised {
		t.Errorf("noise of %v becomes %v by the floor of its stacks, %v by its own", raised, stacked, own)
	}
}

func TestFloorKnowsWhereFewFramesLie(t *testing.T) {
	const size, sigma = 256, 0.004
	m, weight := plane.New(size, size, 1), plane.New(size, size, 1)
	noise := grain(3, size*size, sigma)
	for i := range noise {
		weight.Pix[0][i] = 1
		if i%size >= 160 {
			weight.Pix[0][i], noise[i] = 0.1, noise[i]*3.162278
		}
		m.Pix[0][i] = 0.5 + noise[i]
	}
	in := func(weighted bool) (few float64) {
		more := map[string]any{"placements": placement{NoiseSigma: sigma}}
		if weighted {
			more["weight"] = pipelinetest.Plane{W: size, H: size, Pix: weight.Pix}
		}
		pix := takeApart(t, m, more).recombine(t, bandSettings{ScalePx: 1, Boost: 2, FloorSigma: 2.5}).Plane("image").Pix[0]
		var v []float32
		for i, x := range pix {
			if i%size >= 180 {
				v = append(v, x)
			}
		}
		return sigmaOf(v)
	}
	if with, without := in(true), in(false); with > 0.5*without {
		t.Errorf("noise where few frames lie: %v with the weights, %v without", with, without)
	}
}

// texture is ground with detail at many scales, alike at every call.
func texture(size int) *plane.Image {
	m := plane.New(size, size, 1)
	for i := range m.Pix[0] {
		x, y := float64(i%size), float64(i/size)
		m.Pix[0][i] = float32(0.5 + 0.05*math.Sin(x/2.1)*math.Cos(y/3.3) + 0.05*math.Sin((x+y)/9) + 0.04*math.Cos((x-2*y)/31))
	}
	return m
}

func TestAGapLeavesNoTrace(t *testing.T) {
	const size = 320
	whole, holed := texture(size), texture(size)
	flat := plane.New(size, size, 1)
	nan := float32(math.NaN())
	for i := range flat.Pix[0] {
		flat.Pix[0][i] = 0.5
		if x, y := i%size, i/size; x >= 100 && x < 180 && y >= 120 && y < 190 || x+y < 60 {
			holed.Pix[0][i], flat.Pix[0][i] = nan, nan
		}
	}
	bands := []bandSettings{{ScalePx: 2, Boost: 2}, {ScalePx: 5, Boost: 2}, {ScalePx: 12, Boost: 1.5}}
	for i, v := range takeApart(t, flat, nil).recombine(t, bands...).Plane("image").Pix[0] {
		if (v != v) != (flat.Pix[0][i] != flat.Pix[0][i]) || math.Abs(float64(v)-0.5) > 1e-6 {
			t.Fatalf("flat ground beside a gap became %v at %d, %d", v, i%size, i/size)
		}
	}
	want := takeApart(t, whole, nil).recombine(t, bands...).Plane("image").Pix[0]
	got := takeApart(t, holed, nil).recombine(t, bands...).Plane("image").Pix[0]
	worst, far := 0.0, 0.0
	for i, v := range got {
		x, y := i%size, i/size
		if v != v {
			continue
		}
		d := math.Abs(float64(v - want[i]))
		worst = max(worst, d)
		// The coarsest level boosted is the fourth: 2·(1+2+4+8) px.
		if (x < 100-30 || x >= 180+30 || y < 120-30 || y >= 190+30) && x+y > 60+60 {
			far = max(far, d)
		}
	}
	if far > 1e-6 {
		t.Errorf("out of the levels' reach of a gap the picture differs by %v", far)
	}
	if worst > 0.07 { // the texture itself spans 0.28, and the gap's rim is a guess
		t.Errorf("beside a gap the picture differs by %v", worst)
	}
}

func TestTilesLeaveNoTrace(t *testing.T) {
	m := disk(400, 150, 2)
	addTo(m.Pix[0], grain(5, len(m.Pix[0]), 0.004))
	l := takeApart(t, m, nil)
	bands := []bandSettings{{ScalePx: 2, Boost: 2, FloorSigma: 2}, {ScalePx: 25, Boost: 1.5, FloorSigma: 1}}
	want := l.recombine(t, bands...).Plane("image").Pix[0]
	odd := pipeline.Part{Name: "odd", Settings: recombineSettings{Bands: bands}, Out: []string{"image"},
		Run: pipeline.Bind(func(ctx context.Context, s recombineSettings, task *pipeline.Task) error {
			mix, err := newMixer(s, task)
			if err != nil {
				return err
			}
			defer mix.close()
			out := make([]float32, 400*400)
			for y := 0; y < 400; y += 57 {
				for x := 0; x < 400; x += 131 {
					r := image.Rect(x, y, min(x+131, 400), min(y+57, 400))
					buf := make([]float32, r.Dx()*r.Dy())
					if err := mix.tile(r, [][]float32{buf}); err != nil {
						return err
					}
					for k := range r.Dy() {
						copy(out[(y+k)*400+x:], buf[k*r.Dx():(k+1)*r.Dx()])
					}
				}
			}
			return task.PutPlane(ctx, "image", 400, 400, out)
		})}
	r, err := l.bench.Run(t, odd, l.in)
	if err != nil {
		t.Fatal(err)
	}
	if i := same(r.Plane("image").Pix[0], want); i >= 0 {
		t.Errorf("pixel %d, %d depends on how the picture is cut", i%400, i/400)
	}
}

func TestBandsOfRowsLeaveNoTrace(t *testing.T) {
	const w, h = 70, 701
	src := grain(2, w*h, 1)
	for _, step := range []int{1, 8, 32, 64} {
		got, want, tmp := make([]float32, w*h), make([]float32, w*h), make([]float32, w*h)
		wavelet.Smooth(want, src, tmp, w, h, step)
		part := pipeline.Part{Name: "smooth", Run: func(ctx context.Context, task *pipeline.Task) error {
			return smoothBands(ctx, task, got, src, w, h, step)
		}}
		pipelinetest.Run(t, part, nil)
		if i := same(got, want); i >= 0 {
			t.Errorf("step %d: row %d differs", step, i/w)
		}
	}
}

func TestScaleInArcseconds(t *testing.T) {
	m := texture(128)
	known := takeApart(t, m, map[string]any{"placements": placement{ScaleArcsecPerPx: 0.25}})
	sec := known.recombine(t, bandSettings{ScaleArcsec: 1, Boost: 2})
	px := known.recombine(t, bandSettings{ScalePx: 4, Boost: 2})
	if same(sec.Plane("image").Pix[0], px.Plane("image").Pix[0]) >= 0 || len(sec.Warnings) > 0 {
		t.Errorf("1″ at 0.25″/px is not 4 px (%v)", sec.Warnings)
	}
	if r := known.recombine(t, bandSettings{ScaleArcsec: 0.1, Boost: 2}); !r.Warned("band-too-fine") {
		t.Error("detail of 0.4 px was promised")
	}
	r := takeApart(t, m, map[string]any{"placements": placement{}}).recombine(t, bandSettings{ScaleArcsec: 1, Boost: 2})
	if !r.Warned("scale-unknown") || !strings.Contains(r.Warnings[0].Text, "scale_px") {
		t.Errorf("warnings %v, want one that names scale_px", r.Warnings)
	}
	if same(r.Plane("image").Pix[0], m.Pix[0]) >= 0 {
		t.Error("a band of unknown scale changed the picture")
	}
}

func TestColourKeepsItsHue(t *testing.T) {
	grey := texture(128)
	m := plane.New(128, 128, 3)
	tint := []float32{1.1, 1, 0.9}
	for c := range m.Pix {
		for i, v := range grey.Pix[0] {
			m.Pix[c][i] = tint[c] * v
		}
	}
	band := bandSettings{ScalePx: 3.6, Boost: 2}
	want := takeApart(t, grey, nil).recombine(t, band).Plane("image").Pix[0]
	got := takeApart(t, m, nil).recombine(t, band).Plane("image").Pix
	for i := range want {
		lum := (got[0][i] + got[1][i] + got[2][i]) / 3
		if math.Abs(float64(lum-want[i])) > 2e-6 {
			t.Fatalf("pixel %d: luminance %v, in grey %v", i, lum, want[i])
		}
		if ratio := float64(got[0][i] / got[2][i]); math.Abs(ratio/(1.1/0.9)-1) > 0.004 { // soft shares a little of it evenly
			t.Fatalf("pixel %d: red is %v times blue, was %v", i, ratio, 1.1/0.9)
		}
	}
}

func TestAPictureWithoutDataIsRefused(t *testing.T) {
	m := plane.New(32, 32, 1)
	for i := range m.Pix[0] {
		m.Pix[0][i] = float32(math.NaN())
	}
	_, err := pipelinetest.New().Run(t, pipeline.Part{Name: "decompose", Out: decomposeOut(), Run: decompose},
		map[string][]any{"image": {pipelinetest.Plane{W: 32, H: 32, Pix: m.Pix}}})
	if err == nil || !strings.Contains(err.Error(), "no data") {
		t.Errorf("error %v, want one that says there is no data", err)
	}
}

func TestCheckNamesEveryFault(t *testing.T) {
	s := &Settings{Bands: []Band{{Name: "a"}, {Name: "b", ScalePx: 2, ScaleArcsec: 1}, {Name: "c", ScalePx: 0.5}, {Name: "d", ScalePx: 3}}}
	got := check(s, pipeline.Night{})
	if len(got) != 3 || got[0].Path != "band.a" || got[1].Path != "band.b.scale_px" || got[2].Path != "band.c.scale_px" {
		t.Errorf("problems %+v", got)
	}
}

func TestOrderAndNamesOfBandsChangeNothing(t *testing.T) {
	a := canonical([]Band{{Name: "x", ScalePx: 4, Boost: 2}, {Name: "y", ScalePx: 2, Boost: 1.5}})
	b := canonical([]Band{{Name: "fine", ScalePx: 2, Boost: 1.5}, {Name: "z", ScalePx: 4, Boost: 2}})
	if len(a) != 2 || a[0] != b[0] || a[1] != b[1] {
		t.Errorf("%v and %v differ", a, b)
	}
}
