package finish

import (
	"image"
	"math"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/kernel/plane"
)

// surveyImage is surveyOf for a picture that is held whole, and every pixel of it.
func surveyImage(m *plane.Image) *survey {
	s := &survey{thin: m, w: (m.W + lightCell - 1) / lightCell, h: (m.H + lightCell - 1) / lightCell, width: m.W, height: m.H}
	s.cells = make([]float32, s.w*s.h)
	for _, p := range m.Pix {
		s.most = append(s.most, brightest(p))
	}
	s.fillCells(m, image.Rect(0, 0, m.W, m.H))
	return s
}

// halfMoon is a lit half disk on a sky with a pedestal and a little grain.
func halfMoon(pedestal float32) *plane.Image {
	m := plane.New(200, 200, 1)
	for y := range 200 {
		for x := range 200 {
			v := pedestal + float32((x*7+y*13)%11-5)*0.0002
			if dx, dy := float64(x-100), float64(y-100); dx*dx+dy*dy < 80*80 {
				v += float32(math.Max(0, 0.6+dx/160))
			}
			m.Pix[0][y*200+x] = v
		}
	}
	return m
}

func TestCurveRisesAndSpans(t *testing.T) {
	for _, lift := range []float64{0, 0.6, 5} {
		for _, most := range []float64{0.5, 1, 1.01, 1.4, 6} {
			c := newCurve(lift, most)
			top := math.Max(1, most)
			if c.at(0) != 0 || math.Abs(float64(c.at(top))-1) > 1e-7 {
				t.Errorf("lift %v, most %v: black is %v and white %v, want 0 and 1", lift, most, c.at(0), c.at(top))
			}
			last := float32(-1)
			for i := 0; i <= 4096; i++ {
				v := c.at(top * float64(i) / 4096)
				if v <= last {
					t.Fatalf("lift %v, most %v: does not rise at %d/4096", lift, most, i)
				}
				last = v
			}
		}
	}
}

// At the shoulder there is no step and no kink, and below it nothing is held.
func TestShoulderIsSmooth(t *testing.T) {
	c := newCurve(0, 2)
	const h = 1e-5
	below, above := c.held(shoulder)-c.held(shoulder-h), c.held(shoulder+h)-c.held(shoulder)
	if math.Abs(below/h-1) > 1e-3 || math.Abs(above/h-1) > 1e-3 {
		t.Errorf("slopes at the shoulder %v and %v, want 1", below/h, above/h)
	}
	if c.held(0.5) != 0.5 {
		t.Errorf("0.5 is held at %v", c.held(0.5))
	}
}

// One glaring pixel must not dim the Moon, and keeps its place above the rest.
func TestOneGlaringPixelDimsNothing(t *testing.T) {
	calm, glaring := halfMoon(0), halfMoon(0)
	glaring.Pix[0][100*200+120] = 4
	a, err := surveyImage(calm).measure(100)
	if err != nil {
		t.Fatal(err)
	}
	b, err := surveyImage(glaring).measure(100)
	if err != nil {
		t.Fatal(err)
	}
	if b.Large > a.Large/groundAt*1.01 || b.White < 3.9 { // the room above the ground, no more
		t.Errorf("at large %v, with one glaring pixel %v (white %v)", a.Large, b.Large, b.White)
	}
}

// A picture without any light is black, not without data.
func TestBlackStaysBlack(t *testing.T) {
	l, err := surveyImage(plane.New(20, 20, 1)).measure(100)
	if err != nil {
		t.Fatal(err)
	}
	if v := newCurve(1, l.White/l.Large).at(-l.Black[0] * l.Gain[0] / l.Large); v != 0 {
		t.Errorf("no light is shown as %v (levels %+v)", v, l)
	}
}

// A crescent is the same ground as a full disk and is shown as bright.
func TestCrescentIsAsBrightAsADisk(t *testing.T) {
	disk, crescent := plane.New(200, 200, 1), plane.New(200, 200, 1)
	for i := range disk.Pix[0] {
		x, y := float64(i%200-100), float64(i/200-100)
		if x*x+y*y < 80*80 {
			disk.Pix[0][i] = float32(0.4 + 0.0005*x)
			if (x+30)*(x+30)+y*y > 80*80 {
				crescent.Pix[0][i] = disk.Pix[0][i]
			}
		}
	}
	a, err := surveyImage(disk).measure(100)
	if err != nil {
		t.Fatal(err)
	}
	b, err := surveyImage(crescent).measure(100)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(a.Large/b.Large-1) > 0.02 {
		t.Errorf("a disk's ground at large is %v, a crescent's %v", a.Large, b.Large)
	}
}

func TestSkyIsBlackAndLimbIsWhole(t *testing.T) {
	for _, pedestal := range []float32{0, 0.012, 0.05} {
		m := halfMoon(pedestal)
		l, err := surveyImage(m).measure(100)
		if err != nil {
			t.Fatal(err)
		}
		if d := l.Black[0] - float64(pedestal); d < 0 || d > 0.002 {
			t.Errorf("pedestal %v: black at %v", pedestal, l.Black[0])
		}
		top := 0.0
		for _, v := range m.Pix[0] {
			top = max(top, float64(v))
		}
		if got := l.Black[0] + l.White; math.Abs(got-top) > 1e-6 {
			t.Errorf("pedestal %v: white at %v, the brightest pixel is %v: something is clipped", pedestal, got, top)
		}
	}
}

func TestWithoutSkyNothingIsCrushed(t *testing.T) {
	m := plane.New(64, 64, 1)
	for i := range m.Pix[0] {
		m.Pix[0][i] = 0.4 + 0.2*float32(i)/float32(len(m.Pix[0]))
	}
	l, err := surveyImage(m).measure(100)
	if err != nil || l.Black[0] != 0 {
		t.Errorf("black at %v (%v), want 0 where no sky is in view", l.Black, err)
	}
}

func TestColourBecomesNeutral(t *testing.T) {
	grey := halfMoon(0)
	m := plane.New(grey.W, grey.H, 3)
	for i, v := range grey.Pix[0] {
		m.Pix[0][i], m.Pix[1][i], m.Pix[2][i] = 0.8*v, v, 0.7*v
	}
	l, err := surveyImage(m).measure(100)
	if err != nil {
		t.Fatal(err)
	}
	// Grey world: gains are the ratio of the means.
	if math.Abs(l.Gain[0]-1/0.8) > 0.01 || l.Gain[1] != 1 || math.Abs(l.Gain[2]-1/0.7) > 0.01 {
		t.Errorf("gains %v, want 1.25, 1, 1.43", l.Gain)
	}
}

func TestNoDataStaysNoData(t *testing.T) {
	m := halfMoon(0)
	m.Pix[0][5] = float32(math.NaN())
	in := pipelinetest.Plane{W: m.W, H: m.H, Pix: m.Pix}
	l, err := surveyImage(m).measure(100)
	if err != nil {
		t.Fatal(err)
	}
	asItIs := layoutTable{frame: frameFor(m.W, m.H, orientation{}, asShot)}
	r := pipelinetest.Run(t, pipeline.Part{Name: "tone", Settings: toneSettings{0.6, 1}, Out: []string{"image"}, Run: pipeline.Bind(runTone)},
		map[string][]any{"image": {in}, "levels": {l}, "layout": {asItIs}})
	out := r.Plane("image").Pix[0]
	for i, v := range out {
		if (v != v) != (i == 5) {
			t.Fatalf("pixel %d is %v", i, v)
		}
		if v < 0 || v > 1 {
			t.Fatalf("pixel %d is %v: outside 0…1", i, v)
		}
	}
}
