package panels

import (
	"plenilune/pipeline"
)

// Found is what a look at a panel's file tells.
type Found struct {
	Kind                    string // what the file is, for people: "panel" is one of our own
	Width, Height, Channels int    // px
	TakenUnixNS             int64  // the middle of when it was taken; 0 if it does not say
	Own                     bool   // it has all that a stack tells of a panel
}

// Probe looks at a file as the part head does.
func Probe(f pipeline.File) (Found, error) {
	h, _, err := headOf(f)
	return Found{h.Kind, h.Width, h.Height, h.Channels, h.TakenUnixNS, !h.From.IsZero()}, err
}
