package panels

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"time"

	"plenilune/steps/format/panel"
)

// What a table of a panel's file may hold. Tables are handed on as they are, and what follows takes them for a stack's.
const (
	mostFrames = math.MaxInt32 // no format of clips counts further
	mostScale  = 2             // px of a stack to one of the sensor, along a side
	mostCells  = 256           // that frames are graded in, along a side
	mostBands  = 64            // of a spectrum
	mostShift  = 1e6           // px
	mostNM     = 1100          // of light that a sensor sees
)

// latest is after any moment that clips and pictures are believed to be taken at, in nanoseconds since 1970.
var latest = time.Date(2201, 1, 1, 0, 0, 0, 0, time.UTC).UnixNano()

// tableCheck collects the first thing that is wrong with a table.
type tableCheck struct {
	panel panelTable // what the panel says of itself, checked before the others
	err   error
}

// checkTable holds a table against what it may hold, its panel's size and the number of its frames.
func checkTable(q panel.Table, p *panelTable) error {
	c := tableCheck{panel: *p}
	switch q.Name {
	case "panel":
		decoded(&c, q.JSON, c.ofPanel)
		*p = c.panel
	case "spectrum":
		decoded(&c, q.JSON, c.ofSpectrum)
	case "light":
		decoded(&c, q.JSON, c.ofLight)
	case "index":
		decoded(&c, q.JSON, c.ofIndex)
	case "frames":
		decoded(&c, q.JSON, c.ofFrames)
	case "track":
		decoded(&c, q.JSON, c.ofTrack)
	case "finest":
		decoded(&c, q.JSON, c.ofFinest)
	}
	if c.err != nil {
		return fmt.Errorf("its table %s: %w", q.Name, c.err)
	}
	return nil
}

// decoded reads a table of the type that check takes.
func decoded[T any](c *tableCheck, b []byte, check func(T)) {
	var v T
	err := json.Unmarshal(b, &v)
	var wrong *json.UnmarshalTypeError
	switch {
	case errors.As(err, &wrong) && wrong.Field != "":
		c.err = fmt.Errorf("%s is a %s", wrong.Field, wrong.Value)
	case errors.As(err, &wrong):
		c.err = fmt.Errorf("it is a %s", wrong.Value)
	case err != nil:
		c.err = err
	default:
		check(v)
	}
}

// within finds a number wrong that is not between two.
func within[T int | int64 | float64](c *tableCheck, field string, v, lo, hi T) {
	if c.err == nil && !(v >= lo && v <= hi) {
		c.err = fmt.Errorf("%s is %v, and may be %v to %v", field, v, lo, hi)
	}
}

// each finds a list wrong in which a number is not between two.
func each[T int | int64 | float64](c *tableCheck, field string, list []T, lo, hi T) {
	for i, v := range list {
		if !(v >= lo && v <= hi) {
			within(c, fmt.Sprintf("%s[%d]", field, i), v, lo, hi)
			return
		}
	}
}

// same finds a number wrong that is not the panel's.
func (c *tableCheck) same(field string, v, want int) {
	if c.err == nil && v != want {
		c.err = fmt.Errorf("%s is %d, and the panel has %d", field, v, want)
	}
}

// long finds a list wrong that has not as many entries as it should.
func (c *tableCheck) long(field string, n, want int) {
	if c.err == nil && n != want {
		c.err = fmt.Errorf("%s has %d entries, and should have %d", field, n, want)
	}
}

// ofAll finds a list wrong that has neither an entry for each frame nor none.
func (c *tableCheck) ofAll(field string, n int) {
	if n > 0 {
		c.long(field, n, c.panel.FramesTotal)
	}
}
