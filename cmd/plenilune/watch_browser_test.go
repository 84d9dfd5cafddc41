package main

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"github.com/chromedp/chromedp"
)

// pageNight is a night with a hole, or without one, and a clip whose name would be harm if it were read as HTML.
func pageNight(b *board, hole bool) nightState {
	panels := grid("c3")
	for _, p := range panels {
		p.row.Width, p.row.Height = 100, 80
	}
	places := &placementsRow{Scale: 6}
	places.Limb.Found, places.Limb.Radius = true, 150
	if !hole {
		panels = grid()
	}
	view := viewDisk(places, panels, false)
	jpg, err := drawDisk(view.disk.Box, panels)
	if err != nil {
		panic(err)
	}
	view.disk.Picture = b.keep(diskPicture, fmt.Sprint(hole), jpg)
	s := nightState{Event: "night", Title: "A night for tests", Stage: "at rest", Landing: []fileState{{"x.ser", 1 << 30, "being written"}}, Disk: view.disk,
		Holes: append([]holeState{}, view.holes...), Next: view.next, Notes: []saying{{"fading", "it fades"}}, Problems: []saying{}, Room: roomState{ClipsLeft: 3, Text: "room for 3 more clips"}}
	for i, name := range []string{"plain", `<img src=x onerror="document.title='harm'">`} {
		c := clipState{Name: name, State: "placed", Frames: 40, Kept: 20, FinestPx: 2.5, Brightness: 1, Flags: []saying{}, Picture: b.keep(panelPicture, fmt.Sprint(i), jpg)}
		for _, corner := range panels[i].field.corners() {
			c.Outline = append(c.Outline, corner)
		}
		s.Clips = append(s.Clips, c)
	}
	s.Clips[1].Flags = []saying{{"soft", "it is soft"}}
	return s
}

// The page shows the hole and the aim, follows the night without being loaded again, fits a phone, keeps its look, and reads
// no name as HTML.
func TestWatchPageInABrowser(t *testing.T) {
	b := openBrowser(t)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	page := newBoard(ctx.Done(), func(string) (string, int64, bool) { return "", 0, false }, func(nightState) {})
	l, err := place{}.open()
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- serve(ctx, l, page) }()
	page.show(pageNight(page, true))
	url := "http://" + l.Addr().String() + "/"
	for _, width := range []int{360, 1024} {
		b.do(b.call("Emulation.setDeviceMetricsOverride", map[string]any{"width": width, "height": 1400, "deviceScaleFactor": 1, "mobile": false}), chromedp.Navigate(url))
		b.until("the hole", `document.querySelectorAll("#holes li").length === 1 && document.getElementById("holes").textContent.includes("near the disk's middle")`)
		b.until("the aim", `document.querySelectorAll("#map .aim").length === 1 && document.getElementById("next").textContent.includes("It overlaps")`)
		b.until("the picture", `document.querySelector("#map img").naturalWidth > 100`)
		b.until("that it fits", fmt.Sprintf(`document.documentElement.scrollWidth <= %d`, width))
		b.until("the names as they are", `document.getElementById("list").textContent.includes("onerror") && document.title.includes("A night for tests") && document.querySelectorAll("#list img").length === 2`)
		b.shot(fmt.Sprintf("watch-%d", width))
	}
	b.do(b.call("Runtime.evaluate", map[string]any{"expression": `document.querySelector('#looks input[value="red"]').click()`}))
	b.until("the red look", `document.documentElement.dataset.look === "red" && getComputedStyle(document.documentElement, "::after").mixBlendMode === "multiply"`)
	b.shot("watch-red")
	page.show(pageNight(page, false))
	b.until("a closed disk", `document.getElementById("next").textContent.includes("closed") && document.getElementById("holes").textContent.includes("No hole")`)
	b.until("what to shoot again", `document.getElementById("next").textContent.includes("Worth shooting again")`)
	b.sound(url)
	cancel()
	if err := <-done; !errors.Is(err, errServed) {
		t.Errorf("the server ended with %v", err)
	}
}
