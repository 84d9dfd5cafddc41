package captures

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"plenilune/pipeline"
	"plenilune/steps/format/moment"
	"plenilune/steps/format/raw"
)

// Times of films and pictures are those of a camera's clock. Where a file says how far that is from UTC, it is believed. Where it does
// not, nobody knows: the time of an MP4 file should be UTC (ISO/IEC 14496-12, 8.2.2) and is local time in those of many cameras, the
// time in Exif is local by definition (CIPA DC-008-2019, table 8). Then it counts where the manifest says how the clock went.
const (
	clockAuto = "auto" // times count that say how far they are from UTC
	clockUTC  = "utc"
)

// clockOf reads the setting clock: how far a camera's clock was ahead of UTC, in nanoseconds; known is false where nothing is said.
func clockOf(text string) (ahead int64, known bool, err error) {
	switch text {
	case clockAuto, "":
		return 0, false, nil
	case clockUTC:
		return 0, true, nil
	}
	t, err := time.Parse("-07:00", text)
	if err != nil {
		return 0, false, fmt.Errorf("%q is neither \"auto\", \"utc\" nor how far a clock was ahead of UTC, as \"+02:00\"", text)
	}
	_, s := t.Zone()
	if s < -12*3600 || s > 14*3600 { // as far as time zones reach
		return 0, false, fmt.Errorf("%q is further from UTC than any clock: it may be from \"-12:00\" to \"+14:00\"", text)
	}
	return int64(s) * int64(time.Second), true, nil
}

// What told the times of a clip, beside what raw.Clip names.
const (
	timesByClock  = "its camera's clock"
	timesByRecipe = "the manifest"
)

// Taken is when one clip was taken.
type Taken struct {
	Clip pipeline.Clip `hcl:"clip,label"`
	UTC  string        `hcl:"utc"` // the middle of the clip: 2024-03-19T20:04:00Z
}

// checkTimes finds what of a block is no time.
func checkTimes(settings any, _ pipeline.Night) (out []pipeline.Problem) {
	s := settings.(*ClipSettings)
	if _, _, err := clockOf(s.Clock); err != nil {
		out = append(out, pipeline.Problem{Path: "clock", Text: "clock = " + err.Error(),
			Hint: "write \"+02:00\" of a clock that went by Central European Summer Time"})
	}
	for _, t := range s.Taken {
		if _, err := moment.Parse(t.UTC); err != nil {
			out = append(out, pipeline.Problem{Path: "taken." + string(t.Clip) + ".utc", Text: err.Error(), Hint: moment.Hint})
		}
	}
	return out
}

// takenOf is when clips were taken of which the manifest says it, by content.
func (s *ClipSettings) takenOf(x *pipeline.Expansion) map[pipeline.ID]int64 {
	out := map[pipeline.ID]int64{}
	for _, t := range s.Taken {
		if id, ok := x.Clip(t.Clip); ok {
			out[id], _ = moment.Parse(t.UTC)
		}
	}
	return out
}

// retimed is a clip whose middle was at a moment, in Unix nanoseconds UTC. Its frames stay as far apart as the file tells; where it
// tells no time of the middle one, that of the nearest stands for it.
func retimed(c *raw.Clip, middle int64) *raw.Clip {
	out := *c
	out.Start, out.TimeSource, out.TimesLocal = middle, timesByRecipe, false
	told := nearMiddle(c.Times)
	if told == 0 {
		out.Times = nil
		return &out
	}
	by := middle - told
	out.Times = slices.Clone(c.Times)
	for i, t := range out.Times {
		if t != 0 {
			out.Times[i] = t + by
		}
	}
	if c.Start != 0 {
		out.Start = c.Start + by
	}
	return &out
}

// nearMiddle is the time nearest to the middle of a list that is known, the earlier of two, 0 if none is.
func nearMiddle(times []int64) int64 {
	m := len(times) / 2
	for d := 0; d <= m; d++ {
		for _, i := range []int{m - d, m + d} {
			if i < len(times) && times[i] != 0 {
				return times[i]
			}
		}
	}
	return 0
}

// timed is a clip that was laid out, with the times that are believed. middle, if not 0, is what the manifest says of it.
func (l laid) timed(clock string, middle int64) (c *raw.Clip, err error) {
	ahead, known, err := clockOf(clock)
	if err != nil {
		return nil, err
	}
	c = l.clip()
	if known = known || middle != 0; known && len(l.Clock) > 0 { // of the latter only how far frames are apart counts
		c.Times = slices.Clone(l.Times)
		if len(c.Times) == 0 {
			c.Times = make([]int64, len(l.Clock))
		}
		for i, t := range l.Clock {
			if c.Times[i] == 0 && t != 0 {
				c.Times[i], c.TimeSource = t-ahead, timesByClock
			}
		}
		c.Start = firstOf(c.Times)
	}
	if middle != 0 {
		c = retimed(c, middle)
	}
	return c, nil
}

// firstOf is the first time that is known, 0 if none is.
func firstOf(times []int64) int64 {
	for _, t := range times {
		if t != 0 {
			return t
		}
	}
	return 0
}

// clipsByAClock is what warnings are called of times that do not count, and byAClock how they tell why.
const (
	clipsByAClock = "clips-by-a-clock"
	byAClock      = "by their camera's clock, and not how that stood to UTC: such times do not count; " +
		"clock = \"utc\" in the clips block says that it went by UTC, clock = \"+02:00\" that it was two hours ahead"
)

// warnOfClocks tells once of all clips of a block that tell a time which does not count.
func warnOfClocks(x *pipeline.Expansion, all int, untold []pipeline.ID) {
	if len(untold) == 0 {
		return
	}
	which := ""
	if len(untold) < all {
		var names []string
		for _, id := range untold {
			names = append(names, pipeline.ClipName(id))
		}
		which = ": " + strings.Join(names, ", ")
	}
	x.Warn(clipsByAClock, fmt.Sprintf("%d of %d clips tell when they were taken %s%s", len(untold), all, byAClock, which))
}
