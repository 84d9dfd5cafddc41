package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"plenilune/steps/format/ser"
	"plenilune/steps/kernel/moon"
	"plenilune/steps/kernel/warp"
	"plenilune/steps/simulate"
)

// noSink keeps nothing of what is simulated but the truth.
type noSink struct{}

type nothing struct{ io.Writer }

func (nothing) Close() error { return nil }

func (noSink) Create(string) (io.WriteCloser, error) { return nothing{io.Discard}, nil }

// scriptTurning makes nine clips, one each 35 minutes, of a Moon that turns under an observer at 5° north and 75° west with an altazimuth
// mount: turning DIR. It stands high, so that the air squashes it by nothing to speak of.
func scriptTurning(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: turning DIR")
	}
	plan := simulate.Small()
	plan.Workers, plan.DiskPx, plan.SmallestCraterKm, plan.CratersAbove20Km, plan.PhaseDeg = 2, 420, 10, 2500, 25
	plan.SubObserverLonDeg, plan.SubObserverLatDeg, plan.DistanceRadii, plan.BrightLimbDeg = -1.2, -3.4, 218, 8
	plan.PanelsAcross, plan.PanelsDown, plan.Frames, plan.Calibration = 1, 1, 1, 0
	truth, err := plan.Shoot(context.Background(), noSink{}, nil)
	ts.Check(err)
	ts.Check(os.MkdirAll(ts.MkAbs(args[0]), 0o777))
	middle := time.Date(2019, 1, 21, 5, 0, 0, 0, time.UTC)
	site := moon.Site{LatitudeDeg: 5, LongitudeDeg: -75}
	epoch := site.View(moon.Unix(middle.UnixNano()))
	for k := range 9 {
		at := middle.Add(time.Duration(k-4) * 35 * time.Minute)
		aspect := site.View(moon.Unix(at.UnixNano())).Against(epoch)
		carry, err := moon.NewCarry(aspect.Disk(), moon.DiskOf(0, 0, epoch.DistanceKM), 0)
		ts.Check(err)
		file := filepath.Join(ts.MkAbs(args[0]), fmt.Sprintf("t%d.ser", k+1))
		ts.Check(turningClip(file, at, truth, carry, aspect, float64(k%3-1)*130, float64(k/3-1)*120, uint64(k)))
	}
}

// turningClip writes a clip whose middle lies at (x, y) from the disk's.
func turningClip(file string, at time.Time, truth *simulate.Truth, carry moon.Carry, aspect moon.Aspect, x, y float64, seed uint64) error {
	const w, h, frames = 224, 208, 10
	radius := truth.RadiusPx
	sin, cos := math.Sincos(aspect.UprightDeg * math.Pi / 180)
	sharp := make([]float64, w*h)
	for i := range sharp {
		px, py := float64(i%w)-(w-1)/2., float64(i/w)-(h-1)/2.
		u, v := carry.At((x+cos*px-sin*py)/radius, -(y+sin*px+cos*py)/radius)
		s := warp.At(truth.Disk, 0, truth.CentreX+radius*u, truth.CentreY-radius*v, warp.Cubic)
		if s == s {
			sharp[i] = float64(max(s, 0))
		}
	}
	f, err := os.Create(file)
	if err != nil {
		return err
	}
	defer f.Close()
	out, err := ser.NewWriter(f, ser.Header{Width: w, Height: h, Depth: 8, LittleFlag: 1, Frames: frames, UTC: ser.TicksOf(at), Local: ser.TicksOf(at)})
	if err != nil {
		return err
	}
	rng := rand.New(rand.NewPCG(seed, 3))
	pix, times := make([]uint16, w*h), []time.Time{}
	for k := range frames {
		for i, s := range sharp {
			pix[i] = uint16(min(255, max(0, 6+170*s+2*rng.NormFloat64()+0.5)))
		}
		if err := out.AddFrame(pix); err != nil {
			return err
		}
		times = append(times, at.Add(time.Duration(k)*100*time.Millisecond))
	}
	return out.Close(times)
}
