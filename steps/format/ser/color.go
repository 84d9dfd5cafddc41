package ser

import (
	"fmt"
	"strings"

	"plenilune/steps/format/raw"
)

// ColorID says what a sample stands for.
type ColorID int32

// The published colour IDs. Filter patterns name the upper left 2×2 pixels.
const (
	Mono      ColorID = 0
	BayerRGGB ColorID = 8
	BayerGRBG ColorID = 9
	BayerGBRG ColorID = 10
	BayerBGGR ColorID = 11
	BayerCYYM ColorID = 16
	BayerYCMY ColorID = 17
	BayerYMCY ColorID = 18
	BayerMYYC ColorID = 19
	RGB       ColorID = 100
	BGR       ColorID = 101
)

var patterns = []struct {
	id      ColorID
	pattern string
}{
	{Mono, raw.Mono},
	{BayerRGGB, raw.RGGB}, {BayerGRBG, raw.GRBG}, {BayerGBRG, raw.GBRG}, {BayerBGGR, raw.BGGR},
	{BayerCYYM, raw.CYYM}, {BayerYCMY, raw.YCMY}, {BayerYMCY, raw.YMCY}, {BayerMYYC, raw.MYYC},
	{RGB, raw.RGB}, {BGR, raw.BGR},
}

// Pattern returns the name that raw.Layout uses, "" for an unpublished ID.
func (c ColorID) Pattern() string {
	for _, p := range patterns {
		if p.id == c {
			return p.pattern
		}
	}
	return ""
}

// ColorOf returns the ID of a pattern as raw.Layout names it.
func ColorOf(pattern string) (ColorID, error) {
	for _, p := range patterns {
		if p.pattern == pattern {
			return p.id, nil
		}
	}
	return 0, fmt.Errorf("no colour ID stands for the pattern %q", pattern)
}

func knownColors() string {
	s := make([]string, len(patterns))
	for i, p := range patterns {
		s[i] = fmt.Sprintf("%d %s", p.id, p.pattern)
	}
	return strings.Join(s, ", ")
}
