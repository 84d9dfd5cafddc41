package mosaic

import (
	"encoding/hex"
	"fmt"
	"strconv"
	"strings"

	"plenilune/pipeline"
)

// Views states how the Moon stood as each clip was taken, where the manifest does not say from where: a manifest that travels without its
// site carries them, and gives the same bytes. They are rounded as in records, see viewSettings. Without one view in it the block says that
// the clips told no times.
type Views struct {
	// The point of the Moon under the observer at the middle of the session, and its distance.
	LongitudeDeg float64 `hcl:"longitude_deg,optional" min:"-20" max:"20"`
	LatitudeDeg  float64 `hcl:"latitude_deg,optional" min:"-20" max:"20"`
	DistanceKM   float64 `hcl:"distance_km,optional" min:"300000" max:"500000"`
	Views        []View  `hcl:"view,block"`
}

// View is how the Moon stood for one clip, against the middle of the session: see moon.Aspect and viewSettings.
type View struct {
	Clip       string  `hcl:"clip"` // SHA-256 of the file
	EastDeg    float64 `hcl:"east_deg,optional" min:"-10" max:"10"`
	NorthDeg   float64 `hcl:"north_deg,optional" min:"-10" max:"10"`
	AxisDeg    float64 `hcl:"axis_deg,optional" min:"-360" max:"360"`
	UprightDeg float64 `hcl:"upright_deg,optional" min:"-360" max:"360"`
	DistanceKM float64 `hcl:"distance_km" min:"300000" max:"500000"`
	Squash     float64 `hcl:"squash,optional" min:"0" max:"1"`
	ZenithDeg  float64 `hcl:"zenith_deg,optional" min:"-360" max:"360"`
}

// checkViews finds clips that are no content ids.
func checkViews(set *Settings) []pipeline.Problem {
	if set.Views == nil {
		return nil
	}
	var out []pipeline.Problem
	seen := map[string]bool{}
	for i, v := range set.Views.Views {
		path := fmt.Sprintf("views.view.%d.clip", i)
		if b, err := hex.DecodeString(v.Clip); err != nil || len(b) != 32 {
			out = append(out, pipeline.Problem{Path: path, Text: fmt.Sprintf("%q is no SHA-256", v.Clip), Hint: "write 64 digits 0 to 9 and a to f, as sha256sum prints them"})
		} else if seen[strings.ToLower(v.Clip)] {
			out = append(out, pipeline.Problem{Path: path, Text: "there are two views of this clip", Hint: "write one for each"})
		}
		seen[strings.ToLower(v.Clip)] = true
	}
	return out
}

// of gives each item the view stated for its clip. Without any, it says why.
func (s *Views) of(x *pipeline.Expansion, items []pipeline.Item) (epochSettings, []viewSettings, string) {
	if len(s.Views) == 0 {
		return epochSettings{}, nil, noTimes
	}
	views := s.stated(items)
	unknown := 0
	for _, v := range views {
		if !v.Known {
			unknown++
		}
	}
	if unknown == len(items) {
		return epochSettings{}, nil, noSite // they are of other clips
	}
	for i, it := range items {
		if !views[i].Known {
			x.Warn("view-unknown", fmt.Sprintf("the manifest's views say nothing of %s: it is joined without regard to how the Moon turned", pipeline.ClipName(it.ID)))
		}
	}
	return epochSettings{s.LongitudeDeg, s.LatitudeDeg, s.DistanceKM}, views, ""
}

// stated are the views of items; unknown where none is stated.
func (s *Views) stated(items []pipeline.Item) []viewSettings {
	byClip := map[string]View{}
	for _, v := range s.Views {
		byClip[strings.ToLower(v.Clip)] = v
	}
	views := make([]viewSettings, len(items))
	for i, it := range items {
		if v, ok := byClip[it.ID.String()]; ok {
			views[i] = viewSettings{true, v.EastDeg, v.NorthDeg, v.AxisDeg, v.UprightDeg, v.DistanceKM, v.Squash, v.ZenithDeg}
		}
	}
	return views
}

// viewsText is the views block that stands for views reckoned from a site.
func viewsText(epoch epochSettings, items []pipeline.Item, views []viewSettings) string {
	var b strings.Builder
	put := func(indent, name string, v float64) {
		if v != 0 {
			fmt.Fprintf(&b, "%s%s = %s\n", indent, name, strconv.FormatFloat(v, 'f', -1, 64))
		}
	}
	b.WriteString("views {\n")
	put("  ", "longitude_deg", epoch.LonDeg)
	put("  ", "latitude_deg", epoch.LatDeg)
	put("  ", "distance_km", epoch.DistanceKM)
	for i, v := range views {
		if !v.Known {
			continue
		}
		fmt.Fprintf(&b, "\n  view {\n    clip = %q\n", items[i].ID.String())
		put("    ", "east_deg", v.EastDeg)
		put("    ", "north_deg", v.NorthDeg)
		put("    ", "axis_deg", v.AxisDeg)
		put("    ", "upright_deg", v.UprightDeg)
		put("    ", "distance_km", v.DistanceKM)
		put("    ", "squash", v.Squash)
		put("    ", "zenith_deg", v.ZenithDeg)
		b.WriteString("  }\n")
	}
	b.WriteString("}\n")
	return b.String()
}
