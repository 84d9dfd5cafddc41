package main

import (
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"time"
	"unicode"

	"plenilune/pipeline"
)

// shown is a name as it may go to a terminal: what it cannot show, or what would
// move its cursor, is written out.
func shown(s string) string {
	for _, r := range s {
		if r == unicode.ReplacementChar || !unicode.IsPrint(r) {
			return strconv.Quote(filepath.ToSlash(s))
		}
	}
	return filepath.ToSlash(s)
}

// fewLines is how many files are named that are left out for one reason.
const fewLines = 8

// tell lists what was taken and what was left out.
func (n *folderNight) tell(w io.Writer) {
	if n.panels {
		n.tellPanels(w)
		return
	}
	fmt.Fprintf(w, "%s taken", pipeline.Counted(len(n.clips), "clip"))
	if len(n.clips) > 0 {
		fmt.Fprintf(w, ", %s%s", n.clips[0].kind, n.amount())
	}
	fmt.Fprintln(w)
	for _, c := range n.clips {
		if int64(c.frames) < c.declared {
			fmt.Fprintf(w, "note: %s was cut short: %d of %d frames are there and used\n", shown(c.path), c.frames, c.declared)
		}
	}
	if byClock := n.byClock(); byClock > 0 {
		fmt.Fprintf(w, "note: the time of %s is that of the camera's clock alone; clock in the clips block makes it count\n", pipeline.Counted(byClock, "clip"))
	}
	if len(n.clips) == 1 && n.clips[0].sequence != nil {
		fmt.Fprintf(w, "note: this is one clip of %d frames; if each is a panel that was stacked already: plenilune new --panels %s\n", n.clips[0].frames, shown(n.dir))
	}
	n.tellMasters(w, "dark", n.darks)
	n.tellMasters(w, "flat", n.flats)
	if len(n.flatDarks) > 0 {
		n.tellMasters(w, "flat-dark", n.flatDarks)
	}
	n.tellLeftOut(w)
}

// tellPanels does so of panels that were stacked already.
func (n *folderNight) tellPanels(w io.Writer) {
	fmt.Fprintf(w, "%s taken", pipeline.Counted(len(n.clips), "panel"))
	untimed := 0
	for _, c := range n.clips {
		if c.start == 0 {
			untimed++
		}
	}
	if len(n.clips) > 0 {
		fmt.Fprintf(w, ", the first is: %s", n.clips[0].kind)
	}
	fmt.Fprintln(w)
	if len(n.clips) > 0 && n.guessed && !n.clips[0].panel {
		fmt.Fprintln(w, "note: pictures are taken for panels that were stacked already; if they are a clip's frames, put them into a folder and name that in a clips block: sequences = [\"FOLDER/\"]")
	}
	if untimed > 0 {
		fmt.Fprintf(w, "note: %d of them do not say when they were taken, or not in UTC; the manifest can\n", untimed)
	}
	n.tellLeftOut(w)
}

// amount says how much was taken, and when it was recorded.
func (n *folderNight) amount() string {
	frames, bytes, first, last := 0, int64(0), int64(0), int64(0)
	for _, c := range n.clips {
		frames += c.frames
		bytes += c.bytes
		if c.start > 0 && (first == 0 || c.start < first) {
			first = c.start
		}
		last = max(last, c.start)
	}
	text := fmt.Sprintf(", %d frames, %s", frames, bytesText(bytes))
	switch {
	case first == 0 && n.byClock() > 0: // of these a note tells
		return text
	case first == 0:
		return text + ", no time of recording (none is needed)"
	}
	from, to := time.Unix(0, first).UTC(), time.Unix(0, last).UTC()
	return text + fmt.Sprintf(", begun from %s to %s UTC", from.Format("2 January 2006 15:04"), to.Format("15:04"))
}

// byClock counts the clips that tell the time by a clock of which nothing is known.
func (n *folderNight) byClock() (count int) {
	for _, c := range n.clips {
		if c.byClock {
			count++
		}
	}
	return count
}

func (n *folderNight) tellMasters(w io.Writer, kind string, found []foundClip) {
	dirs := foldersOf(found)
	for _, d := range dirs {
		fmt.Fprintf(w, "%s frames taken from %s\n", kind, shown(d))
	}
	switch {
	case len(dirs) == 0 && len(n.clips) > 0:
		fmt.Fprintf(w, "no %s frames found: the clips run without\n", kind)
	case len(dirs) > 1:
		fmt.Fprintf(w, "note: the %s frames of %d folders are averaged; name the right one with --%s if their gain or exposure differs\n", kind, len(dirs), kind)
	}
}

// tellLeftOut names what was left out, few of each reason.
func (n *folderNight) tellLeftOut(w io.Writer) {
	count, hinted := map[string]int{}, map[string]bool{}
	for _, l := range n.leftOut {
		count[l.why]++
	}
	told := map[string]int{}
	for _, l := range n.leftOut {
		told[l.why]++
		switch k := told[l.why]; {
		case k <= fewLines || count[l.why] == fewLines+1:
			fmt.Fprintf(w, "left out: %s: %s\n", shown(l.path), l.why)
		case k == fewLines+1:
			fmt.Fprintf(w, "left out: %d more: %s\n", count[l.why]-fewLines, l.why)
		}
		if last := told[l.why] == count[l.why]; last && l.hint != "" && !hinted[l.hint] {
			hinted[l.hint] = true
			fmt.Fprintf(w, "  %s\n", l.hint)
		}
	}
	if n.hidden > 0 {
		what := "hidden file or folder"
		if n.hidden > 1 {
			what = "hidden files or folders"
		}
		fmt.Fprintf(w, "left out: %d %s\n", n.hidden, what)
	}
}

// tellJSON does the same for scripts, without leaving anything out.
func (n *folderNight) tellJSON(s *screen) {
	for _, k := range []struct {
		kind  string
		found []foundClip
	}{{map[bool]string{false: "clip", true: "panel"}[n.panels], n.clips}, {"dark", n.darks}, {"flat", n.flats}, {"flat-dark", n.flatDarks}} {
		for _, c := range k.found {
			s.object(map[string]any{"event": "taken", "kind": k.kind, "path": filepath.ToSlash(c.path), "frames": c.frames, "format": c.kind})
		}
	}
	for _, l := range n.leftOut {
		s.object(map[string]any{"event": "left_out", "path": filepath.ToSlash(l.path), "why": l.why})
	}
}
