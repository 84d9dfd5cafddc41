package simulate

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"math"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"

	"plenilune/steps/format/raw"
	"plenilune/steps/format/ser"
	"plenilune/steps/kernel/fourier"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/warp"
)

// folder is a Sink in memory.
type folder map[string]*bytes.Buffer

func (f folder) Create(name string) (io.WriteCloser, error) {
	f[name] = &bytes.Buffer{}
	return struct {
		io.Writer
		io.Closer
	}{f[name], io.NopCloser(nil)}, nil
}

func shootNight(t *testing.T, p Plan) (folder, *Truth) {
	t.Helper()
	f := folder{}
	truth, err := p.Shoot(context.Background(), f, nil)
	if err != nil {
		t.Fatal(err)
	}
	return f, truth
}

var small = sync.OnceValue(func() (night struct {
	files folder
	truth *Truth
	err   error
}) {
	night.files = folder{}
	p := Small()
	p.Workers = 2
	night.truth, night.err = p.Shoot(context.Background(), night.files, nil)
	return night
})

// framesOf decodes a clip to shares of white.
func framesOf(t *testing.T, b *bytes.Buffer) (*ser.File, [][]float32) {
	t.Helper()
	f, err := ser.Open(bytes.NewReader(b.Bytes()), int64(b.Len()))
	if err != nil {
		t.Fatal(err)
	}
	l := f.Header.Layout()
	r, err := raw.NewReader(bytes.NewReader(b.Bytes()), int64(b.Len()), l)
	if err != nil {
		t.Fatal(err)
	}
	out := make([][]float32, f.Header.Frames)
	for i := range out {
		out[i] = make([]float32, l.Width*l.Height)
		if err := r.Frame(i, float64(int(1)<<f.Header.Depth-1), [][]float32{out[i]}); err != nil {
			t.Fatal(err)
		}
	}
	return f, out
}

func TestNightHoldsWhatThePlanSays(t *testing.T) {
	n, p := small(), Small()
	if n.err != nil {
		t.Fatal(n.err)
	}
	if len(n.truth.Clips) != p.PanelsAcross*p.PanelsDown || len(n.files) != len(n.truth.Clips)+2 {
		t.Fatalf("%d clips in %d files", len(n.truth.Clips), len(n.files))
	}
	var timed int
	for i, c := range n.truth.Clips {
		f, frames := framesOf(t, n.files["clips/"+c.Name+".ser"])
		if len(frames) != p.Frames || int(f.Header.Width) != p.Width || int(f.Header.Height) != p.Height {
			t.Errorf("clip %d holds %d frames of %d×%d", i, len(frames), f.Header.Width, f.Header.Height)
		}
		start, _ := f.Header.UTC.UnixNano()
		if want := p.Start.Add(p.ClipEvery).UnixNano(); i == 1 && start != want {
			t.Errorf("clip 1 starts at %d, want %d", start, want)
		}
		if len(f.Times) == p.Frames {
			timed++
		}
	}
	if timed != 3 {
		t.Errorf("%d clips state the times of their frames, want 3 of 4", timed)
	}
}

// Names must not give away the order of recording.
func TestNamesAreUnordered(t *testing.T) {
	var names []string
	d := plane.New(64, 64, 1)
	d.Pix[0][32*64+32] = 1
	p := Sample()
	for _, a := range p.aims(d, 32, 32) {
		names = append(names, a.Name)
		if strings.ContainsAny(a.Name, "0123456789/\\") {
			t.Errorf("name %q", a.Name)
		}
	}
	if slices.IsSorted(names) || len(slices.Compact(slices.Sorted(slices.Values(names)))) != len(names) {
		t.Errorf("names are sorted or not unique: %v", names)
	}
}

func TestSameBytesForAnyNumberOfWorkers(t *testing.T) {
	p := Small()
	p.PanelsAcross, p.PanelsDown, p.Frames, p.DiskPx = 2, 1, 5, 120
	p.Workers = 1
	one, truth := shootNight(t, p)
	for _, w := range []int{2, 7} {
		p.Workers = w
		many, other := shootNight(t, p)
		for name, b := range one {
			if !bytes.Equal(b.Bytes(), many[name].Bytes()) {
				t.Errorf("%d workers: %s differs", w, name)
			}
		}
		if !reflect.DeepEqual(truth, other) {
			t.Errorf("%d workers: the truth differs", w)
		}
	}
}

// calm is a night without air, mount errors, marks or much noise.
func calm() Plan {
	p := Small()
	p.PanelsAcross, p.PanelsDown, p.Frames, p.Calibration = 1, 1, 4, 0
	p.ApertureOverR0, p.SeeingSpread, p.WarpPx, p.CloudDepth = 1e-4, 0, 0, 0
	p.PointingPx, p.DriftPx, p.JitterPx, p.TurnDeg = 0, 0, 0, 0
	p.Bits, p.FullWell, p.ReadNoise, p.HotPixels, p.Vignetting, p.Dust, p.Pedestal = 16, 1e8, 0, 0, 0, 0, 0
	return p
}

// rmsAgainst compares a frame with the truth as it is seen through a map of
// places, where both are known; in shares of the brightest ground.
func rmsAgainst(tr *Truth, c *ClipTruth, frame []float32, gain float64, i int) float64 {
	a := c.ToDisk()
	mx, my := make([]float32, len(frame)), make([]float32, len(frame))
	for k := range frame {
		x, y := float64(k%c.w), float64(k/c.w)
		dx, dy := c.Displacement(i, x, y)
		u, v := a.Apply(x-dx, y-dy)
		mx[k], my[k] = float32(u), float32(v)
	}
	want := plane.New(c.w, c.h, 1)
	warp.Remap(want, tr.Disk, mx, my, warp.Lanczos3)
	sum, n := 0.0, 0.0
	for k, v := range frame {
		if w := want.Pix[0][k]; w == w {
			sum += sq(float64(v)/gain - float64(w))
			n++
		}
	}
	return math.Sqrt(sum / n)
}

// Without air a frame is the truth; with a warp it is the truth bent as
// Displacement says.
func TestCalmFramesAreTheTruth(t *testing.T) {
	for _, warpPx := range []float64{0, 0.7} {
		p := calm()
		p.WarpPx = warpPx
		if warpPx > 0 {
			p.JitterPx, p.DriftPx, p.TurnDeg = 0.8, 3, 2
		}
		f, tr := shootNight(t, p)
		c := &tr.Clips[0]
		_, frames := framesOf(t, f["clips/"+c.Name+".ser"])
		for i, v := range frames {
			gain := p.Exposure * c.Frames[i].Light
			// 0.2 %: interpolation of frame and truth.
			if rms := rmsAgainst(tr, c, v, gain, i); rms > 0.002 {
				t.Errorf("warp of %g px, frame %d: %.4f rms off the truth", warpPx, i, rms)
			}
		}
	}
}

// Moving air blurs but does not move: frames lie where the truth says to a
// small part of a pixel.
func TestBlurDoesNotMove(t *testing.T) {
	p := calm()
	p.ApertureOverR0, p.Frames, p.JitterPx = 2.5, 16, 1
	f, tr := shootNight(t, p)
	c := &tr.Clips[0]
	_, frames := framesOf(t, f["clips/"+c.Name+".ser"])
	still := tr.Panel(c)
	for i, v := range still.Pix[0] {
		if v != v {
			still.Pix[0][i] = 0
		}
	}
	sum := 0.0
	for i, v := range frames {
		dx, dy, _ := fourier.PhaseShift(still.Pix[0], v, c.w, c.h, 20)
		sum += sq(dx-c.Frames[i].ShiftX) + sq(dy-c.Frames[i].ShiftY)
	}
	if rms := math.Sqrt(sum / float64(2*len(frames))); rms > 0.15 {
		t.Errorf("frames lie %.3f px rms off, each axis", rms)
	}
}

func TestWarpHasTheStrengthAsked(t *testing.T) {
	strength := slices.Repeat([]float64{0.8}, 200)
	fields := sways(200, 150, 60, strength, 0.5, newDice(5, forWarp))
	sx, sy, n := 0.0, 0.0, 0.0
	row := newColumns(0, 200, 60)
	dx, dy := make([]float32, 200), make([]float32, 200)
	for _, s := range fields {
		for y := 0; y < 150; y += 7 {
			s.row(row, y, dx, dy)
			for x := 0; x < 200; x += 7 {
				a, b := s.at(float64(x), float64(y))
				if math.Abs(a-float64(dx[x])) > 1e-5 || math.Abs(b-float64(dy[x])) > 1e-5 {
					t.Fatalf("at (%d, %d): %g, %g by the row, %g, %g alone", x, y, dx[x], dy[x], a, b)
				}
				sx, sy, n = sx+a*a, sy+b*b, n+1
			}
		}
	}
	for _, rms := range []float64{math.Sqrt(sx / n), math.Sqrt(sy / n)} {
		if math.Abs(rms/0.8-1) > 0.06 { // some thousand independent patches
			t.Errorf("rms %.3f px along an axis, want 0.8", rms)
		}
	}
}

// Photon transfer: the variance of the signal grows as its mean over the
// electrons a step stands for (Janesick 2007, eq. 5.2).
func TestPhotonTransfer(t *testing.T) {
	p := calm()
	p.Width, p.Height, p.Bits, p.FullWell, p.ReadNoise, p.Pedestal = 200, 200, 14, 20000, 6, 0.02
	cam := newCamera(&p)
	clear(cam.dark)
	top := float64(int(1)<<p.Bits - 1)
	gain := p.FullWell / ((1 - p.Pedestal) * top) // electrons a step
	for k, level := range []float32{0, 0.1, 0.4, 1} {
		light := slices.Repeat([]float32{level}, 40000)
		a := make([]uint16, len(light))
		cam.expose(&p, newDice(1, forNoise, k), light, a)
		sum, sq2 := 0.0, 0.0
		for _, v := range a {
			x := float64(v>>2) - p.Pedestal*top
			sum, sq2 = sum+x, sq2+x*x
		}
		mean := sum / 40000
		got, want := sq2/40000-mean*mean, mean/gain+sq(p.ReadNoise/gain)+1.0/12
		if math.Abs(got/want-1) > 0.03 { // 4 standard errors of a variance of 40,000
			t.Errorf("mean %.1f: variance %.2f, want %.2f", mean, got, want)
		}
	}
}

func TestBetterAirIsSharper(t *testing.T) {
	n := small()
	if n.err != nil {
		t.Fatal(n.err)
	}
	for _, c := range n.truth.Clips {
		for i, f := range c.Frames {
			if f.Sharpness <= 0.05 || f.Sharpness > 1 || f.ApertureOverR0 <= 0 {
				t.Errorf("%s, frame %d: Strehl ratio %g at D/r0 = %g", c.Name, i, f.Sharpness, f.ApertureOverR0)
			}
		}
		order := func(by func(FrameTruth) float64) float64 {
			fs := slices.Clone(c.Frames)
			slices.SortFunc(fs, func(a, b FrameTruth) int {
				if by(a) < by(b) {
					return -1
				}
				return 1
			})
			h, lo, hi := len(fs)/2, 0.0, 0.0
			for i, f := range fs {
				if i < h {
					lo += f.Sharpness
				} else {
					hi += f.Sharpness
				}
			}
			return lo - hi
		}
		if order(func(f FrameTruth) float64 { return f.ApertureOverR0 }) <= 0 {
			t.Errorf("%s: the half in better air is not the sharper one", c.Name)
		}
	}
}

func TestColour(t *testing.T) {
	p := Small()
	p.Colour, p.PanelsAcross, p.PanelsDown, p.Frames, p.DiskPx = true, 1, 1, 3, 120
	f, tr := shootNight(t, p)
	if tr.Disk.Channels() != 3 {
		t.Fatalf("the truth has %d channels", tr.Disk.Channels())
	}
	file, frames := framesOf(t, f["clips/"+tr.Clips[0].Name+".ser"])
	if file.Header.Color != ser.BayerRGGB {
		t.Errorf("colour %d", file.Header.Color)
	}
	var sums [3]float64
	for i, v := range frames[0] {
		x, y := i%p.Width, i/p.Width
		sums[x%2+y%2] += max(0, float64(v)-p.Pedestal) / float64(1+(x+y)%2)
	}
	if sums[0] < 1.02*sums[2] || sums[1] < 1.1*sums[2] {
		t.Errorf("red, green, blue = %.0f: the Moon is warm and the filters' green strong", sums)
	}
}

func TestCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Small().Shoot(ctx, folder{}, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
}

// golden is the digest of the small night's files, on every machine.
const golden = "f867194b316c81c27949eea4d3363995f7a711916fa5d45b5cd7efeedf0cd325"

func TestGolden(t *testing.T) {
	n := small()
	if n.err != nil {
		t.Fatal(n.err)
	}
	h := sha256.New()
	for _, c := range n.truth.Clips {
		h.Write(n.files["clips/"+c.Name+".ser"].Bytes())
	}
	h.Write(n.files["dark/dark.ser"].Bytes())
	h.Write(n.files["flat/flat.ser"].Bytes())
	if got := hex.EncodeToString(h.Sum(nil)); got != golden {
		t.Errorf("the night's bytes changed: %s, want %s", got, golden)
	}
}
