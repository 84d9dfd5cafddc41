package ser

import "time"

// Ticks counts 100 ns since midnight of 1 January of the year 1, as times stand
// in a file. Zero and less is "not set".
type Ticks int64

const (
	unixTicks = 621355968000000000 // 1970-01-01
	kindMask  = 1<<62 - 1          // what is left of a word without its two top bits
)

// Bounds of a believable time: it must be after the first computers and fit a
// nanosecond count.
const (
	firstTicks = unixTicks
	lastTicks  = 693937152000000000 // 2200-01-01
)

// TicksOf returns t in ticks, cut to 100 ns.
func TicksOf(t time.Time) Ticks {
	return Ticks(t.Unix()*1e7 + int64(t.Nanosecond())/100 + unixTicks)
}

// UnixNano returns the time in nanoseconds since 1970, and whether it is set and
// believable. Some writers leave two flag bits on top of the count ([MS-NRBF]
// 2.1.1.5 describes such a word); they are masked where the year is absurd with
// them and sensible without.
func (t Ticks) UnixNano() (int64, bool) {
	for _, v := range [2]int64{int64(t), int64(t) & kindMask} {
		if v > firstTicks && v < lastTicks {
			return (v - unixTicks) * 100, true
		}
	}
	return 0, false
}
