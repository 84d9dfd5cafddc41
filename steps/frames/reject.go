package frames

import (
	"hash/crc32"
	"math"

	"plenilune/steps/kernel/robust"
)

// Rejection names a frame that is not used, and why.
type Rejection struct {
	Frame  int    `json:"frame"`
	Reason string `json:"reason"` // one of reasons
}

// blackShare of the clip's usual contrast and brightness is a frame without light.
const blackShare = 0.15

// fingerprint is a checksum (CRC-32C) of a frame's bytes: equal frames in a row are one frame recorded twice.
func fingerprint(b []byte) uint32 { return crc32.Checksum(b, crc32.MakeTable(crc32.Castagnoli)) }

// looks is what is noted of a frame by itself and of where it lies.
type looks struct {
	print  uint32
	seams  seams
	level  float64 // mean brightness
	light  float64 // mean brightness over the darkest twentieth: what the Moon adds
	energy float64 // mean squared gradient without the noise's share
	places []place // where the frame may lie, best fit first
	dx, dy float64 // coarse displacement
	fit    float64
}

// sharpness ranks frames before their content is known to be the same.
func (l looks) sharpness() float64 {
	if l.light <= 0 {
		return 0
	}
	return math.Sqrt(max(0, l.energy)) / l.light
}

// judgeLooks rejects frames for what they look like by themselves and beside their
// neighbours in time, which lie where the looks say up to slack rows; why is "" for
// a sound one.
func judgeLooks(all []looks, slack int) []string {
	var light []float64
	for _, l := range all {
		light = append(light, l.light)
	}
	usual := robust.Median(light)
	why := make([]string, len(all))
	for i, l := range all {
		switch {
		case l.light < blackShare*usual:
			why[i] = "black"
		case i > 0 && l.print == all[i-1].print:
			why[i] = "repeated"
		}
	}
	broken := make([]string, len(all))
	for i := range all {
		if why[i] == "" {
			broken[i] = judgeSeams(all, why, i, slack)
		}
	}
	for i, r := range broken {
		if r != "" {
			why[i] = r
		}
	}
	return why
}
