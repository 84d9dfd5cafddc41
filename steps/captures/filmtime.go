package captures

import (
	"errors"
	"math"
	"strconv"
	"strings"
	"time"

	"plenilune/steps/format/moment"
	"plenilune/steps/format/tiff"
)

// formatSays is what it tells of the whole film.
type formatSays struct {
	Duration string `json:"duration"`
	Tags     tags   `json:"tags"`
}

// tags are when a film was made, as its container tells: by a date that should be UTC, and, in those of some telephones, by one with the
// difference to UTC (Apple, QuickTime File Format, metadata keys).
type tags struct {
	Created string `json:"creation_time"`
	Zoned   string `json:"com.apple.quicktime.creationdate"`
}

// moment is when the film was made. That it says so in UTC is not believed, see clockOf.
func (t tags) moment() tiff.Moment {
	for _, layout := range []string{"2006-01-02T15:04:05Z0700", time.RFC3339} {
		if at, err := time.Parse(layout, t.Zoned); err == nil && believable(at) {
			return tiff.Moment{UnixNS: at.UnixNano(), Zoned: true}
		}
	}
	if at, err := time.Parse(time.RFC3339, t.Created); err == nil && believable(at) {
		return tiff.Moment{UnixNS: at.UnixNano()}
	}
	return tiff.Moment{}
}

// believable tells a date from what stands in a field that was never filled in: the first day of its count.
func believable(t time.Time) bool { return moment.Believable(t) && t.Year() > 1970 }

// longestFrame is how long a frame may last, in seconds, to be believed; a film of the most frames lasts 32 years then, which
// nanoseconds of 63 bits hold beside the year 2200.
const longestFrame = 60

// frameSeconds is how long a frame lasts, 0 if that is unknown or hardly so.
func frameSeconds(rate string) float64 {
	num, den, _ := strings.Cut(rate, "/")
	a, err1 := strconv.ParseFloat(num, 64)
	b, err2 := strconv.ParseFloat(den, 64)
	if s := b / a; errors.Join(err1, err2) == nil && a > 0 && b > 0 && s > 1e-6 && s <= longestFrame {
		return s
	}
	return 0
}

// moment is when frame i was taken of a film that says when it began.
func (s source) moment(i int) tiff.Moment {
	return tiff.Moment{UnixNS: s.Began + int64(math.Round(float64(i)*s.FrameS*1e9)), Zoned: s.Zoned}
}

// timeFilm notes when each frame of a film was taken.
func (l *laid) timeFilm(s source) {
	for i := 0; i < l.Frames && s.Began != 0; i++ {
		l.note(s.moment(i))
	}
	l.leaveEmpty()
}
