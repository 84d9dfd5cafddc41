package mosaic

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"plenilune/pipeline"
)

// oddClock is a panel whose field is turned otherwise than site, mount and its clock say, while the others' are as they should be.
type oddClock struct {
	Panel   int
	Deg     float64 // by how much
	Told    bool    // the turn tells when it was taken:
	Minutes float64 // so much later than its clock says
}

const (
	// oddTurn is from how many radians on a turn belies a clock: points tell turns to a degree, and on an altazimuth mount the field of most
	// places of the sky turns by more within a quarter of an hour.
	oddTurn = 2 * math.Pi / 180
	// surelyTurns is by how many radians the field must turn through the session to tell anything of clocks.
	surelyTurns = 3 * math.Pi / 180
	// mostOdd is of how many panels at the most one may be odd, and leastClocks how many it takes to say so.
	mostOdd     = 5
	leastClocks = 5
)

// doubtClocks finds the placed panels with odd clocks, and lets go of what these say: their views become those of the moment at which the
// others' course has their turn, or unknown if there is no such moment or more than one. It returns the times, with theirs corrected alike.
func (n *network) doubtClocks(times []int64) []int64 {
	f := n.foretell()
	if f == nil || f.mount != mountAltaz {
		return times
	}
	var known []int // in the order of time
	var turns []float64
	for i, v := range n.sphere.views {
		if n.in[i] && v.Known && times[i] > 0 {
			known, turns = append(known, i), append(turns, f.turn[i])
		}
	}
	if len(known) < leastClocks || widest(turns) < surelyTurns {
		return times
	}
	slices.SortStableFunc(known, func(i, j int) int { return cmp.Compare(times[i], times[j]) })
	off := n.offCourse(known, f.turn)
	odd := func(k int) bool { return k >= 0 && k < len(off) && math.Abs(off[k]) > oddTurn }
	n.odd = nil
	for k, i := range known {
		// A camera turned once is turned from then on, or by a quarter of a turn or half a turn.
		if quarter := math.Pi / 2; odd(k) && !odd(k-1) && !odd(k+1) && math.Abs(math.Remainder(off[k], quarter)) > oddTurn {
			n.odd = append(n.odd, oddClock{Panel: i, Deg: off[k] * 180 / math.Pi})
		}
	}
	if len(n.odd)*mostOdd > len(known) {
		n.odd = nil
	}
	if n.odd == nil {
		return times
	}
	sound := slices.DeleteFunc(known, func(i int) bool {
		return slices.ContainsFunc(n.odd, func(o oddClock) bool { return o.Panel == i })
	})
	told, views := slices.Clone(times), slices.Clone(n.sphere.views)
	for k := range n.odd {
		o := &n.odd[k]
		told[o.Panel], views[o.Panel] = n.momentOf(f.turn[o.Panel]+float64(o.Deg*math.Pi/180), sound, f.turn, times)
		if o.Told = views[o.Panel].Known; o.Told {
			o.Minutes = float64(told[o.Panel]-times[o.Panel]) / 60e9
		}
	}
	n.sphere.views = views
	return told
}

// offCourse returns by how much the turns of panels stray from those foretold, against what most of them agree on.
func (n *network) offCourse(panels []int, turn []float64) []float64 {
	off := make([]float64, len(panels))
	for k, i := range panels {
		off[k] = wrap(n.poses[i].Turn - turn[i])
	}
	best, least := 0.0, math.Inf(1)
	for _, a := range off { // the one from which all others are the least away
		sum := 0.0
		for _, b := range off {
			sum += math.Abs(wrap(b - a))
		}
		if sum < least {
			best, least = a, sum
		}
	}
	for k, a := range off {
		off[k] = wrap(a - best)
	}
	return off
}

// momentOf returns when between panels of sound clocks, given in the order of time, the field had a turn, and how the Moon then stood.
func (n *network) momentOf(turn float64, sound []int, turns []float64, times []int64) (at int64, view viewSettings) {
	for k := range len(sound) - 1 {
		i, j := sound[k], sound[k+1]
		step := wrap(turns[j] - turns[i])
		f := wrap(turn-turns[i]) / step
		if !(f >= 0 && f < 1) {
			continue
		}
		if view.Known {
			return 0, viewSettings{}
		}
		at = times[i] + int64(f*float64(times[j]-times[i]))
		view = n.sphere.views[i].towards(n.sphere.views[j], f)
	}
	return at, view
}

// towards returns what lies between two views, f from the first to the second.
func (v viewSettings) towards(w viewSettings, f float64) viewSettings {
	between := func(a, b float64) float64 { return a + float64(f*(b-a)) }
	turned := func(a, b float64) float64 { return a + float64(f*wrap((b-a)*math.Pi/180))*180/math.Pi }
	return viewSettings{Known: true, EastDeg: between(v.EastDeg, w.EastDeg), NorthDeg: between(v.NorthDeg, w.NorthDeg),
		AxisDeg: turned(v.AxisDeg, w.AxisDeg), UprightDeg: turned(v.UprightDeg, w.UprightDeg), DistanceKM: between(v.DistanceKM, w.DistanceKM),
		Squash: between(v.Squash, w.Squash), ZenithDeg: turned(v.ZenithDeg, w.ZenithDeg)}
}

// warnClocks names the clips with odd clocks.
func warnClocks(t *pipeline.Task, g geometry, ids []string) {
	for _, o := range g.Sphere.Odd {
		then := "it is joined as if taken in the middle of the session"
		if o.Told {
			when := "later"
			if o.Minutes < 0 {
				when = "earlier"
			}
			then = fmt.Sprintf("it is taken to be %.0f min %s", math.Abs(o.Minutes), when)
		}
		t.Warn("clock-differs", "the clock of %s was wrong: its field is turned by %.1f° from what site, mount and its time say, and those of the other clips are not; %s",
			clipOf(ids[o.Panel]), o.Deg, then)
	}
}
