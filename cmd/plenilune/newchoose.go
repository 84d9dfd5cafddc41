package main

import (
	"cmp"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"plenilune/steps/captures"
	"plenilune/steps/format/raw"
)

// probers is how many captures are looked at side by side: enough to hide the
// disk's delay, few enough for a slow one.
const probers = 4

// read reads the headers of what was found. Captures that cannot be used are left out.
func (n *folderNight) read(files []roleFile) {
	clips := make([]foundClip, len(files))
	errs := make([]error, len(files))
	var wg sync.WaitGroup
	next := make(chan int)
	for range probers {
		wg.Go(func() {
			for i := range next {
				if q := files[i].sequence; q != nil {
					clips[i], errs[i] = readSequence(q)
				} else {
					clips[i], errs[i] = readClip(files[i].path)
				}
			}
		})
	}
	for i := range files {
		next <- i
	}
	close(next)
	wg.Wait()
	for _, l := range n.leftOut {
		if isCapture(l.path) {
			n.byFolder.add(l.path)
		}
	}
	for i, f := range files {
		if f.sequence == nil {
			n.byFolder.add(f.path)
		}
		switch {
		case errs[i] != nil:
			n.leftOut = append(n.leftOut, leftOut{path: f.path, why: errs[i].Error()})
		case f.role == darkRole:
			n.darks = append(n.darks, clips[i])
		case f.role == flatDarkRole:
			n.flatDarks = append(n.flatDarks, clips[i])
		case f.role == flatRole:
			n.flats = append(n.flats, clips[i])
		default:
			n.clips = append(n.clips, clips[i])
		}
	}
}

func readClip(path string) (foundClip, error) {
	x, err := probe(path)
	if err != nil {
		return foundClip{}, errors.New(strings.TrimPrefix(bare(err), path+": "))
	}
	if x.Empty {
		return foundClip{}, errors.New("it holds no frame")
	}
	return foundClip{path: path, frames: x.Frames, declared: x.Declared, start: x.StartUnixNS,
		byClock: x.ClockUnixNS != 0, bytes: int64(x.Frames) * x.Layout.FrameBytes(), kind: kindOf(x)}, nil
}

// kindOf is what clips of one night share.
func kindOf(x captures.Index) string {
	pattern := x.Layout.Pattern
	if pattern == raw.BGR {
		pattern = raw.RGB // in which order a file holds them is no matter
	}
	return fmt.Sprintf("%d×%d px, %s, %d bit", x.Layout.Width, x.Layout.Height, pattern, x.Depth)
}

// apart is how long nothing is recorded between two nights.
const apart = 9 * time.Hour

// nightOf numbers the nights of clips with a time, in the order of time; 0 is
// unknown.
func nightOf(clips []foundClip) map[string]int {
	timed := slices.DeleteFunc(slices.Clone(clips), func(c foundClip) bool { return c.start == 0 })
	slices.SortFunc(timed, func(a, b foundClip) int { return cmp.Compare(a.start, b.start) })
	of := map[string]int{}
	night := 1
	for i, c := range timed {
		if i > 0 && c.start-timed[i-1].start > int64(apart) {
			night++
		}
		of[c.path] = night
	}
	return of
}

// choice is clips that belong together: of one kind and one night.
type choice struct {
	kind  string
	night int
}

// chooseClips takes the most clips that belong together, of equals those with
// most bytes, of equals the latest. Clips that do not say when they were taken go
// with any night.
func (n *folderNight) chooseClips() {
	nights := nightOf(n.clips)
	type size struct{ clips, bytes int64 }
	count := map[choice]size{}
	for _, c := range n.clips {
		k := choice{c.kind, nights[c.path]}
		s := count[k]
		count[k] = size{s.clips + 1, s.bytes + c.bytes}
	}
	var all []choice
	for k := range count {
		all = append(all, k)
	}
	if len(all) == 0 {
		return
	}
	whole := func(k choice) size {
		s := count[k]
		if k.night > 0 {
			u := count[choice{k.kind, 0}]
			s.clips, s.bytes = s.clips+u.clips, s.bytes+u.bytes
		}
		return s
	}
	best := slices.MaxFunc(all, func(a, b choice) int {
		x, y := whole(a), whole(b)
		return cmp.Or(cmp.Compare(x.clips, y.clips), cmp.Compare(x.bytes, y.bytes), cmp.Compare(a.night, b.night), strings.Compare(b.kind, a.kind))
	})
	n.clips = slices.DeleteFunc(n.clips, func(c foundClip) bool {
		const (
			another = "if these show panels of the same night, add them to files: any size is joined; else move them to another folder and run new there"
			hint    = "these need a manifest of their own: move them to another folder and run new there"
		)
		night := nights[c.path]
		switch {
		case c.kind != best.kind:
			n.leftOut = append(n.leftOut, leftOut{c.path, fmt.Sprintf("it is %s; most clips are %s", c.kind, best.kind), another})
		case night != 0 && best.night != 0 && night != best.night:
			n.leftOut = append(n.leftOut, leftOut{c.path, "it was recorded on another night, " + dayOf(c.start), hint})
		default:
			return false
		}
		return true
	})
	slices.SortFunc(n.clips, func(a, b foundClip) int { return strings.Compare(a.path, b.path) })
}

func dayOf(start int64) string { return time.Unix(0, start).UTC().Format("2 January 2006") }

// chooseMasters keeps the dark or flat frames that fit the clips.
func (n *folderNight) chooseMasters(kind string, found []foundClip) []foundClip {
	if len(n.clips) == 0 {
		return nil
	}
	want := n.clips[0].kind
	out := slices.DeleteFunc(found, func(c foundClip) bool {
		if c.kind != want {
			n.leftOut = append(n.leftOut, leftOut{path: c.path, why: fmt.Sprintf("these %s frames fit no clip: they are %s, the clips are %s", kind, c.kind, want)})
		}
		return c.kind != want
	})
	slices.SortFunc(out, func(a, b foundClip) int { return strings.Compare(a.path, b.path) })
	return out
}

// needFlats leaves out dark frames of flats that are not there.
func (n *folderNight) needFlats() {
	if len(n.flats) > 0 {
		return
	}
	for _, c := range n.flatDarks {
		n.leftOut = append(n.leftOut, leftOut{path: c.path, why: "these are dark frames of flat frames, and there are no flat frames"})
	}
	n.flatDarks = nil
}

// foldersOf lists the folders that captures lie in.
func foldersOf(clips []foundClip) []string {
	var out []string
	for _, c := range clips {
		out = append(out, filepath.Dir(c.path))
	}
	slices.Sort(out)
	return slices.Compact(out)
}
