package frames

import (
	"fmt"
	"strconv"
	"strings"
)

// reasons are why a frame is not used, in the order in which they are told, with
// how one and several are spoken of.
var reasons = []struct{ why, one, many string }{
	{"black", "frame is black", "frames are black"},
	{"repeated", "frame repeats the one before", "frames repeat the one before"},
	{"torn", "frame is torn", "frames are torn"},
	{"shifted rows", "frame has rows shifted sideways", "frames have rows shifted sideways"},
	{"fits nothing", "frame shows something else or is too blurred", "frames show something else or are too blurred"},
}

// numbersMost is how many frames are listed for each reason.
const numbersMost = 12

// tellRejected lists the frames that are not used by reason, as in "3 frames are
// torn: 5, 17, 112"; numbers count from 0, as in records.
func tellRejected(all []Rejection) string {
	var parts []string
	for _, r := range reasons {
		var at []string
		for _, x := range all {
			if x.Reason == r.why {
				at = append(at, strconv.Itoa(x.Frame))
			}
		}
		if len(at) == 0 {
			continue
		}
		words := r.many
		if len(at) == 1 {
			words = r.one
		}
		list := strings.Join(at, ", ")
		if more := len(at) - numbersMost; more > 1 {
			list = fmt.Sprintf("%s and %d more", strings.Join(at[:numbersMost], ", "), more)
		}
		parts = append(parts, fmt.Sprintf("%d %s: %s", len(at), words, list))
	}
	return strings.Join(parts, "; ")
}
