package main

import (
	"context"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"plenilune/pipeline"
	"plenilune/steps/simulate"
	"plenilune/steps/survey"
)

// scriptFlown shoots the panels of a survey, each at its place and turn and with an error of aim as the manifest states it: flown MANIFEST DATE DIR
// SEED. The disk is to be 300 px across, as the manifest's optics have it about then.
func scriptFlown(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 4 {
		ts.Fatalf("usage: flown MANIFEST DATE DIR SEED")
	}
	var f surveyFlags
	m, err := f.load(os.Stderr, ts.MkAbs(args[0]))
	ts.Check(err)
	day, err := survey.ParseDay(args[1])
	ts.Check(err)
	r, err := survey.Plan(m.Night, day)
	ts.Check(err)
	seed, err := strconv.ParseUint(args[3], 10, 64)
	ts.Check(err)
	if r.Grid == nil {
		ts.Fatalf("there is no grid: %s", r.NoGrid)
	}
	plan := flight(r, m.Night, rand.New(rand.NewPCG(seed, 0)))
	_, err = plan.Shoot(context.Background(), folderSink{ts.MkAbs(args[2])}, nil)
	ts.Check(err)
	ts.Setenv("PANELS", strconv.Itoa(len(plan.Aims)))
}

// flight is the survey's night as the simulation has it. The picture of the truth stands as the camera did in the middle of the session.
func flight(r *survey.Report, n pipeline.Night, dice *rand.Rand) simulate.Plan {
	scale := r.Optics.ScaleArcsec
	p := simulate.Small()
	p.Workers, p.SmallestCraterKm, p.CratersAbove20Km, p.PointingPx = 2, 12, 1500, 0
	p.DiskPx = 2 * r.View.SemidiameterArcsec / scale
	p.SubObserverLonDeg, p.SubObserverLatDeg = r.View.SubLonDeg, r.View.SubLatDeg
	p.PhaseDeg, p.BrightLimbDeg = r.View.PhaseDeg, 90+r.View.BrightLimbDeg-r.Grid.CameraDeg
	p.Width, p.Height = n.Camera.WidthPX, n.Camera.HeightPX
	p.Start, p.ClipTime = r.Grid.Panels[0].At, time.Duration(r.How.ClipS*1e9)
	p.ClipEvery = time.Duration((r.How.ClipS + r.How.PauseS) * 1e9)
	up := r.Grid.CameraDeg * math.Pi / 180
	for _, a := range r.Grid.Panels {
		east, north := a.EastArcmin, a.NorthArcmin
		if e := r.How.PointingErrorArcmin; e != nil {
			east, north = east+*e*dice.NormFloat64(), north+*e*dice.NormFloat64()
		}
		// Right is 90° clockwise from up, which is at this position angle; rows of pictures run down.
		right, high := north*math.Sin(up)-east*math.Cos(up), east*math.Sin(up)+north*math.Cos(up)
		p.Aims = append(p.Aims, simulate.Aim{X: right * 60 / scale, Y: -high * 60 / scale, TurnDeg: r.Grid.CameraDeg - a.CameraDeg})
	}
	return p
}
