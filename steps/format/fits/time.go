package fits

import (
	"strings"
	"time"
)

// leaps are the moments, in Unix seconds, from which TAI − UTC was the seconds beside them
// (IERS, Bulletin C).
var leaps = []struct{ from, seconds int64 }{
	{915148800, 32}, {1136073600, 33}, {1230768000, 34}, {1341100800, 35}, {1435708800, 36}, {1483228800, 37},
}

// Differences between time scales, in nanoseconds (FITS 4.0, table 30).
const (
	ttMinusTAI  = 32184 * int64(time.Millisecond)
	taiMinusGPS = 19 * int64(time.Second)
)

// mjdUnix is the modified Julian date of 1970-01-01, and believable bounds of times are those years.
const (
	mjdUnix   = 40587
	firstYear = 1970
	lastYear  = 2200
)

// utc turns a count of nanoseconds since 1970 in a unit's time scale into Unix nanoseconds (9.2.1);
// ok is false for scales that do not tell it.
func (u unit) utc(ns int64) (int64, bool) {
	before := int64(0) // what the scale is before TAI
	switch scale, _, _ := strings.Cut(strings.ToUpper(u.values["TIMESYS"]), "("); strings.TrimSpace(scale) {
	case "", "UTC", "GMT", "UT", "UT1":
		return ns, true
	case "TAI", "IAT":
	case "TT", "TDT", "ET", "TDB":
		before = ttMinusTAI
	case "GPS":
		before = -taiMinusGPS
	default:
		return 0, false
	}
	tai := ns - before
	for i := len(leaps) - 1; i >= 0; i-- {
		if s := leaps[i].seconds * int64(time.Second); tai-s >= leaps[i].from*int64(time.Second) {
			return tai - s, true
		}
	}
	return 0, false
}

// moment reads a date with a time of day (9.1.1) under a key, or a modified Julian date under
// another; 0 if there is none. A date alone is no moment.
func (u unit) moment(date, mjd string) int64 {
	if s := strings.TrimSuffix(u.values[date], "Z"); strings.Contains(s, "T") {
		t, err := time.Parse("2006-01-02T15:04:05", s)
		if err != nil || t.Year() < firstYear || t.Year() >= lastYear {
			return 0
		}
		ns, _ := u.utc(t.UnixNano())
		return ns
	}
	days := u.real(mjd, 0)
	if days <= mjdUnix || days >= mjdUnix+365.25*(lastYear-firstYear) {
		return 0
	}
	ns, _ := u.utc(int64(float64(days-mjdUnix) * 86400e9))
	return ns
}

// begin is when a picture's exposure began, in Unix nanoseconds; 0 if unknown. DATE-OBS is the
// beginning unless DATE-BEG says better (9.5).
func (u unit) begin() int64 {
	if t := u.moment("DATE-BEG", "MJD-BEG"); t != 0 {
		return t
	}
	return u.moment("DATE-OBS", "MJD-OBS")
}

// maxExposure is the longest exposure, in seconds, that is believed.
const maxExposure = 86400

// exposure is how long a picture was exposed, in nanoseconds; 0 if unknown. XPOSURE is the
// standard's (9.6), EXPTIME and EXPOSURE are in common use.
func (u unit) exposure() int64 {
	for _, key := range []string{"XPOSURE", "EXPTIME", "EXPOSURE"} {
		if s := u.real(key, 0); s > 0 && s < maxExposure {
			return int64(float64(s * 1e9))
		}
	}
	return 0
}

// times returns the middles of the first of a unit's n frames, none if they are not told: one frame's
// by its beginning and exposure, those of a cube by its beginning and end.
func (u unit) times(n, first int64) []int64 {
	begin, end := u.begin(), u.moment("DATE-END", "MJD-END")
	if n == 1 && begin != 0 {
		return []int64{begin + u.exposure()/2}[:first]
	}
	if begin == 0 || end <= begin || end-begin > maxExposure*int64(time.Second) {
		return nil
	}
	out := make([]int64, first)
	for i := range out {
		out[i] = begin + int64(float64(end-begin)*(float64(i)+0.5)/float64(n))
	}
	return out
}
