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
	night := turningNight{diskPx: 420, width: 224, height: 208, frames: 10, every: 35 * time.Minute}
	for k := range 9 {
		night.aims = append(night.aims, simulate.Aim{X: float64(k%3-1) * 130, Y: float64(k/3-1) * 120})
	}
	ts.Check(night.shoot(ts.MkAbs(args[0])))
}

// turningNight is a clip for each aim, evenly about 5 o'clock UTC.
type turningNight struct {
	diskPx                float64
	width, height, frames int
	every                 time.Duration
	aims                  []simulate.Aim
}

func (n turningNight) shoot(dir string) error {
	plan := simulate.Small()
	plan.Workers, plan.DiskPx, plan.SmallestCraterKm, plan.CratersAbove20Km, plan.PhaseDeg = 2, n.diskPx, 10, 2500, 25
	plan.SubObserverLonDeg, plan.SubObserverLatDeg, plan.DistanceRadii, plan.BrightLimbDeg = -1.2, -3.4, 218, 8
	plan.PanelsAcross, plan.PanelsDown, plan.Frames, plan.Calibration = 1, 1, 1, 0
	truth, err := plan.Shoot(context.Background(), noSink{}, nil)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	middle := time.Date(2019, 1, 21, 5, 0, 0, 0, time.UTC)
	site := moon.Site{LatitudeDeg: 5, LongitudeDeg: -75}
	epoch := site.View(moon.Unix(middle.UnixNano()))
	for k, aim := range n.aims {
		at := middle.Add(time.Duration(k-len(n.aims)/2) * n.every)
		aspect := site.View(moon.Unix(at.UnixNano())).Against(epoch)
		carry, err := moon.NewCarry(aspect.Disk(), moon.DiskOf(0, 0, epoch.DistanceKM), 0)
		if err != nil {
			return err
		}
		if err := n.clip(filepath.Join(dir, fmt.Sprintf("t%d.ser", k+1)), at, truth, carry, aspect, aim, uint64(k)); err != nil {
			return err
		}
	}
	return nil
}

// clip writes a clip whose middle lies at aim from the disk's.
func (n turningNight) clip(file string, at time.Time, truth *simulate.Truth, carry moon.Carry, aspect moon.Aspect, aim simulate.Aim, seed uint64) error {
	w, h, frames := n.width, n.height, n.frames
	radius := truth.RadiusPx
	sin, cos := math.Sincos(aspect.UprightDeg * math.Pi / 180)
	sharp := make([]float64, w*h)
	for i := range sharp {
		px, py := float64(i%w)-float64(w-1)/2, float64(i/w)-float64(h-1)/2
		u, v := carry.At((aim.X+cos*px-sin*py)/radius, -(aim.Y+sin*px+cos*py)/radius)
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
	out, err := ser.NewWriter(f, ser.Header{Width: int32(w), Height: int32(h), Depth: 8, LittleFlag: 1, Frames: int32(frames), UTC: ser.TicksOf(at), Local: ser.TicksOf(at)})
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
