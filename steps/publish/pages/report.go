package pages

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"html/template"
	"math"
	"regexp"
	"strings"
	"time"
)

// warningsMark stands in the report where the record's warnings go when the folder is delivered: no part sees those of others.
const warningsMark = "<!--warnings-->"

type reportRow struct {
	Number                                                         int
	Clip, Kept, FinePx, FineAs, OfLimit, Off, Factor, Turn, Jitter string
	Why                                                            string
}

type overlapRow struct{ Pair, Windows, Off, Ratio, RMS, Step string }

type clipPlots struct {
	Number        int
	Clip          string
	Stacked       string // of a panel that came stacked already: what is known of it
	Grades, Drift template.HTML
	Fine          template.HTML
	Rejected      string
}

// reportPage writes the night report. It holds dates, but no time of day: with that and the Moon's turn, the site could be reckoned.
func reportPage(s pageSettings, n night, sc scene, fine *fineMap) ([]byte, error) {
	text, err := assets.ReadFile("assets/report.html")
	if err != nil {
		return nil, fmt.Errorf("read the report: %w", err)
	}
	v := struct {
		Title                     string
		Warnings                  template.HTML
		Facts                     []string
		Map, Fine, Seeing, Shifts template.HTML
		Limb, Limited, Framed     bool   // Framed: of some panel the frames are known
		FineLimit                 string // of the telescope
		Window                    int    // px of the sensor
		Rows                      []reportRow
		Overlaps                  []overlapRow
		Clips                     []clipPlots
	}{Title: titleOf(s.Title), Warnings: warningsMark, Facts: n.inShort(sc), Limb: n.place.Limb.known(), Limited: s.ApertureMM > 0}
	limit := n.limitArcsec(s)
	if n.place.Scale == 0 {
		limit = 0 // in pixels it is not known
	}
	span := n.fineSpan(limit)
	for i, c := range n.clips {
		v.Framed = v.Framed || c.panel.FramesTotal > 0
		v.Rows = append(v.Rows, n.row(i, sc.Panels[i]))
		v.Clips = append(v.Clips, clipPlots{i + 1, c.short(), c.stacked(), c.gradeChart(i + 1), c.driftChart(i + 1), n.fineBars(i, span, limit), c.rejected()})
	}
	for _, o := range n.place.Overlaps {
		v.Overlaps = append(v.Overlaps, n.overlapRow(o))
	}
	if limit > 0 {
		v.FineLimit = fmt.Sprintf("%.2f″", limit)
	}
	if len(n.clips) > 0 {
		c := n.clips[0]
		v.Window = int(math.Round(float64(c.fine.Window) / cmp.Or(c.panel.Fineness, 1)))
		v.Map, v.Fine = sc.mapChart(), fine.chart(sc)
		v.Shifts = n.courseChart("Shifts", "px rms", func(i int) float64 { return n.clips[i].jitter() })
		v.Seeing = n.courseChart("Finest detail", "px", func(i int) float64 { px, _ := n.finestOf(i); return px })
	}
	return fill("report", string(text), v)
}

// inShort lists what is told in words.
func (n night) inShort(sc scene) []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if !n.placed {
		return nil
	}
	kept, total, placed, stacked := 0, 0, 0, 0
	for i, c := range n.clips {
		kept, total = kept+c.panel.FramesKept, total+c.panel.FramesTotal
		if n.place.Panels[i].Placed {
			placed++
		}
		if c.stacked() != "" {
			stacked++
		}
	}
	if at := n.middle(); at > 0 {
		say("Taken on %s UTC.", time.Unix(0, at).UTC().Format("2 January 2006"))
	}
	switch stacked {
	case 0:
		say("%d of %d panels are placed, %d of %d frames are in them.", placed, len(n.clips), kept, total)
	case len(n.clips):
		say("%d of %d panels are placed. They came stacked already, and nothing is known of their frames.", placed, len(n.clips))
	default:
		say("%d of %d panels are placed, %d of %d frames are in them. %d came stacked already, and nothing is known of their frames.",
			placed, len(n.clips), kept, total, stacked)
	}
	say("The picture is %d × %d px.", sc.Width, sc.Height)
	if n.place.Scale > 0 {
		source := map[string]string{"stated": "as the optics are stated", "limb": "by the limb"}[n.place.Source]
		if n.place.Estimated {
			source += estimatedBy[n.place.ScaleMoon]
		}
		say("One pixel is %.3g″, %s.", n.place.Scale, source)
	}
	switch l := n.place.Limb; {
	case l.known():
		say("The limb’s radius is %.1f px, found to %.2f px rms; at the disk’s middle a pixel is %.3g km.", l.Radius, l.RMS, sc.KMPerPx)
	case l.Found:
		say("Only %.0f° of the limb were found: too little to tell its radius and its middle.", l.ArcDeg)
	}
	say("%s", n.face.words())
	if n.place.Vignetting > 0 {
		say("The sensor’s corners were darker by %.1f %%, which is taken out.", n.place.Vignetting)
	}
	if len(n.place.Holes) == 0 {
		say("No hole was found.")
	}
	for _, h := range sc.Holes {
		at := ""
		if h.Place != "" {
			at = " at " + h.Place + " on the Moon"
		}
		say("There is a hole of %s%s.", h.Text, at)
	}
	return out
}

// estimatedBy says by what size of the Moon a scale was estimated.
var estimatedBy = map[string]string{
	"site": " and the Moon’s size in the sky of the site at that hour",
	"hour": " and the Moon’s size at that hour as the Earth’s middle sees it: as it is larger from the surface, up to 1.8 % more; a site in the manifest tells",
	"mean": " and the Moon’s mean size in the sky, since neither site nor times are known: 5 % less to 10 % more",
}

// words say how the Moon lies in the picture as it was joined.
func (o orientationTable) words() string {
	if !o.Known {
		return "How the Moon lies in the picture is not known."
	}
	mirrored, side, unsure := "", "anticlockwise", ""
	if o.Mirrored {
		mirrored = "the picture is mirrored, and "
	}
	if o.NorthDeg < 0 {
		side = "clockwise"
	}
	if o.Unsure > 0 {
		unsure = fmt.Sprintf(", give or take %.1f°", o.Unsure)
	}
	return fmt.Sprintf("As joined, %sthe Moon’s north lies %.0f° %s from the picture’s top%s.", mirrored, math.Abs(o.NorthDeg), side, unsure)
}

func (n night) row(i int, p scenePanel) reportRow {
	at := n.place.Panels[i]
	r := reportRow{Number: p.Number, Clip: p.Clip, Kept: fmt.Sprintf("%d of %d", p.Kept, p.Frames), FinePx: figure(p.FinePx, "%.2f"), FineAs: figure(p.FineAs, "%.2f"),
		Off: figure(at.RMS, "%.2f"), Factor: figure(at.Factor, "× %.3f"), Turn: signed(at.TurnDeg), Jitter: figure(n.clips[i].jitter(), "%.2f"), Why: p.Why, OfLimit: "–"}
	if p.Stacked != "" {
		r.Kept = "stacked already"
	}
	if p.LimitAs > 0 && p.FineAs > 0 {
		r.OfLimit = fmt.Sprintf("%.2f ×", p.FineAs/p.LimitAs)
	}
	return r
}

// figure writes a number that is unknown if it is 0.
func figure(v float64, format string) string {
	if v == 0 {
		return "–"
	}
	return fmt.Sprintf(format, v)
}

// signed writes a number to two places, with a minus that is as wide as a plus.
func signed(v float64) string {
	return strings.Replace(fmt.Sprintf("%.2f", tidy(v, 100)), "-", "−", 1)
}

func (n night) overlapRow(o overlap) overlapRow {
	number := func(id string) string {
		for i, c := range n.clips {
			if c.id == id {
				return fmt.Sprint(i + 1)
			}
		}
		return "?"
	}
	windows := fmt.Sprint(o.Windows)
	if o.Windows == 0 && o.OffPx > 0 {
		windows = "none: by points"
	}
	return overlapRow{number(o.A) + " and " + number(o.B), windows, figure(o.OffPx, "%.2f"), figure(o.Ratio, "%.3f"),
		figure(1000*o.RMS, "%.2f"), signed(1000 * o.Offset)}
}

// rejected tells how many frames were left out, and why.
func (c clip) rejected() string {
	var reasons []string
	count := map[string]int{}
	for _, r := range c.frames.Rejected {
		if count[r.Reason] == 0 {
			reasons = append(reasons, r.Reason)
		}
		count[r.Reason]++
	}
	if len(reasons) == 0 {
		return ""
	}
	for i, r := range reasons {
		reasons[i] = fmt.Sprintf("%d %s", count[r], r)
	}
	return "Frames left out: " + strings.Join(reasons, ", ") + "."
}

var clipMark = regexp.MustCompile(`\{clip:([0-9a-f]{12})[0-9a-f]*\}`)

// warningText calls clips by the heads of their content's ids.
func warningText(text string) string { return clipMark.ReplaceAllString(text, "clip $1") }

// spliceWarnings puts the warnings of all that the folder was made from into the report, before anything else.
func spliceWarnings(file, record []byte) ([]byte, error) {
	var r struct {
		Parts []struct {
			Warnings []struct {
				Code string `json:"code"`
				Text string `json:"text"`
			} `json:"warnings"`
		} `json:"parts"`
	}
	if err := json.Unmarshal(record, &r); err != nil {
		return nil, fmt.Errorf("read the record: %w", err)
	}
	var b bytes.Buffer
	seen := map[string]bool{}
	for _, p := range r.Parts {
		for _, w := range p.Warnings {
			text := warningText(w.Text)
			if !seen[text] {
				seen[text] = true
				fmt.Fprintf(&b, "<li>%s <span class=\"dim\">(%s)</span></li>\n", template.HTMLEscapeString(text), template.HTMLEscapeString(w.Code))
			}
		}
	}
	list := []byte("<p id=\"calm\">Nothing to warn of.</p>")
	if b.Len() > 0 {
		list = fmt.Appendf(nil, "<div class=\"warnings\" id=\"warnings\" role=\"note\"><h2>Warnings</h2>\n<ul>\n%s</ul></div>", b.Bytes())
	}
	return bytes.Replace(file, []byte(warningsMark), list, 1), nil
}
