package main

import (
	"context"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"plenilune/steps/simulate"
)

// pagesNight runs a night whose disk is wider than a tile, so that its pages have tiles of several scales, and returns
// the folder of pages. How the Moon lies is stated, so that there are names; the title tries to end a script.
func pagesNight(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	plan := simulate.Small()
	plan.DiskPx, plan.Width, plan.Height, plan.Frames, plan.Calibration = 560, 360, 300, 4, 4
	plan.Workers = 2
	if _, err := plan.Shoot(context.Background(), folderSink{dir}, nil); err != nil {
		t.Fatal(err)
	}
	exe, manifest := program(t), filepath.Join(dir, "night.hcl")
	if out, err := exec.Command(exe, "new", filepath.Join(dir, "clips"), "-o", manifest).CombinedOutput(); err != nil {
		t.Fatalf("new: %v\n%s", err, out)
	}
	text, err := os.ReadFile(manifest)
	if err != nil {
		t.Fatal(err)
	}
	changed := strings.Replace(string(text), `title = "A night of the Moon"`, `title = "</script><img src=x onerror=alert(1)> & more"`, 1)
	changed = strings.Replace(changed, "  panels = stack.panels\n", "  panels = stack.panels\n  orientation {\n    north_deg = 0\n  }\n", 1)
	changed += `
finish "soft" {
  image       = detail.crisp
  shadow_lift = 4
}
publish "compared" {
  pages {
    image  = finish.print
    beside = finish.soft
    folder = "both"
  }
}
`
	if err := os.WriteFile(manifest, []byte(changed), 0o666); err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(dir, "out")
	if b, err := exec.Command(exe, "run", manifest, "-o", out, "--cache", filepath.Join(dir, "cache"), "--only", "disk", "--only", "both").CombinedOutput(); err != nil {
		t.Fatalf("run: %v\n%s", err, b)
	}
	return filepath.Join(out, "disk")
}

// TestPagesInABrowser opens the pages of a night as people do, from the disk and by view.
func TestPagesInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("a night is run and looked at in a browser")
	}
	open := openBrowser(t) // first, so that a machine without a browser is spared the night
	dir := pagesNight(t)
	t.Run("from disk", func(t *testing.T) {
		lookAround(t, open, "file://"+filepath.ToSlash(dir)+"/")
	})
	t.Run("two versions", func(t *testing.T) {
		comparesVersions(t, openBrowser(t), "file://"+filepath.ToSlash(filepath.Join(filepath.Dir(dir), "both"))+"/")
	})
	t.Run("by view", func(t *testing.T) {
		lookAround(t, openBrowser(t), "http://"+viewed(t, dir, place{}).String()+"/")
	})
}

func lookAround(t *testing.T, b *browser, base string) {
	b.t = t
	b.open(base+"index.html", 1024, 768)
	if got := b.text(`document.querySelector("h1").textContent`); got != "</script><img src=x onerror=alert(1)> & more" {
		t.Errorf("the title is %q", got)
	}
	if n := b.js("scene.scales.length"); n < 2 {
		t.Fatalf("the picture has %v scales: this test needs more", n)
	}
	whole := b.js("viewer.view.k")
	b.shot("whole-1024")
	movesByMouse(t, b, whole)
	movesByTouch(t, b)
	jumpsWhereMotionIsNotWanted(t, b)
	movesByKeys(t, b, whole)
	findsNames(t, b)
	showsPanels(t, b)
	drawsLayers(t, b)
	for _, size := range [][2]int{{320, 568}, {360, 740}, {2560, 1440}} {
		b.open(base+"index.html", size[0], size[1])
		if over := b.js("document.documentElement.scrollWidth - innerWidth"); over > 0 {
			t.Errorf("at %d px the page is %v px too wide", size[0], over)
		}
		b.do(b.call("Runtime.evaluate", map[string]any{"expression": `for (const l of ["names", "panels", "grid"]) viewer.toggle(l)`}))
		b.drawn()
		b.shot(fmt.Sprintf("layers-%d", size[0]))
	}
	b.do(b.call("Page.navigate", map[string]any{"url": base + "report.html"}))
	b.until("the report", `document.readyState === "complete" && document.querySelectorAll("section.clip svg").length >= 8`)
	if over := b.js("document.documentElement.scrollWidth - innerWidth"); over > 0 {
		t.Errorf("the report is %v px too wide", over)
	}
	b.shot("report")
	b.sound(base)
}

// near tells whether two numbers are equal to some per mille.
func near(a, b float64) bool { return math.Abs(a-b) <= 0.004*math.Max(math.Abs(a), math.Abs(b)) }

func movesByMouse(t *testing.T, b *browser, whole float64) {
	b.until("coordinates", `(viewer.point({x: 500, y: 400}), document.getElementById("where").textContent !== "")`)
	// What lies under the pointer stays there.
	under := func() (x, y float64) {
		return b.js("viewer.toPicture(300, 300).x"), b.js("viewer.toPicture(300, 300).y")
	}
	x, y := under()
	b.mouse("mouseWheel", 300, 300, map[string]any{"deltaX": 0, "deltaY": -240})
	b.until("a larger picture by the wheel", fmt.Sprintf("viewer.view.k > 1.3 * %v", whole))
	if x1, y1 := under(); math.Abs(x1-x) > 1 || math.Abs(y1-y) > 1 {
		t.Errorf("the wheel moved what was under the pointer from %.1f, %.1f to %.1f, %.1f", x, y, x1, y1)
	}
	was, k := b.js("viewer.view.x"), b.js("viewer.view.k")
	b.mouse("mousePressed", 500, 400, nil)
	b.mouse("mouseMoved", 460, 400, map[string]any{"buttons": 1})
	b.mouse("mouseMoved", 400, 400, map[string]any{"buttons": 1})
	b.mouse("mouseReleased", 400, 400, nil)
	if got := b.js("viewer.view.x"); math.Abs(got-was-100/k) > 0.5 {
		t.Errorf("a drag of 100 px to the left moved the view by %.1f px of the picture, want %.1f", got-was, 100/k)
	}
	k = b.js("viewer.view.k")
	b.click(500, 400)
	b.click(500, 400)
	b.drawn()
	if got := b.js("viewer.view.k"); !near(got, math.Min(2*k, 12)) {
		t.Errorf("a double click brought the scale from %.3f to %.3f, want twice", k, got)
	}
}

func movesByTouch(t *testing.T, b *browser) {
	b.js("viewer.fly(viewer.wholeView()), 1")
	b.drawn()
	k := b.js("viewer.view.k")
	b.touch([][2]float64{{480, 400}, {560, 400}}, [][2]float64{{440, 400}, {600, 400}})
	if got := b.js("viewer.view.k"); !near(got, 2*k) {
		t.Errorf("a pinch to twice the width brought the scale from %.3f to %.3f", k, got)
	}
	was, k := b.js("viewer.view.y"), b.js("viewer.view.k")
	b.touch([][2]float64{{500, 500}}, [][2]float64{{500, 440}})
	if got := b.js("viewer.view.y"); math.Abs(got-was-60/k) > 1 {
		t.Errorf("a finger's 60 px upwards moved the view by %.1f px of the picture, want %.1f", got-was, 60/k)
	}
}

// Two taps of a finger come twice as near; where motion is not wanted, at once.
func jumpsWhereMotionIsNotWanted(t *testing.T, b *browser) {
	motion := func(value string) {
		b.do(b.call("Emulation.setEmulatedMedia", map[string]any{"features": []map[string]any{{"name": "prefers-reduced-motion", "value": value}}}))
	}
	tap := func() {
		b.do(b.call("Input.dispatchTouchEvent", map[string]any{"type": "touchStart", "touchPoints": []map[string]any{{"id": 1, "x": 500, "y": 400}}}),
			b.call("Input.dispatchTouchEvent", map[string]any{"type": "touchEnd", "touchPoints": []any{}}))
	}
	motion("reduce")
	defer motion("")
	b.js("viewer.fly(viewer.wholeView()), 1")
	k := b.js("viewer.view.k")
	tap()
	tap()
	if got, flying := b.js("viewer.view.k"), b.js("+Boolean(viewer.flight)"); !near(got, 2*k) || flying != 0 {
		t.Errorf("two taps brought the scale from %.3f to %.3f (in flight: %v), want twice at once", k, got, flying)
	}
}

func movesByKeys(t *testing.T, b *browser, whole float64) {
	key := func(name string) {
		t.Helper()
		for _, kind := range []string{"keyDown", "keyUp"} {
			b.do(b.call("Input.dispatchKeyEvent", map[string]any{"type": kind, "key": name}))
		}
	}
	b.js(`document.getElementById("stage").focus(), 1`)
	key("0")
	b.drawn()
	if got := b.js("viewer.view.k"); !near(got, whole) {
		t.Errorf("key 0 shows the scale %.3f, all of it is %.3f", got, whole)
	}
	key("+")
	x := b.js("viewer.view.x")
	key("ArrowRight")
	if k, x1 := b.js("viewer.view.k"), b.js("viewer.view.x"); !near(k, 1.4*whole) || x1 <= x {
		t.Errorf("keys + and right: scale %.3f of %.3f, from %.1f to %.1f", k, whole, x, x1)
	}
	key("1")
	b.drawn()
	if got := b.js("viewer.view.k"); !near(got, 1) {
		t.Errorf("key 1 shows the scale %.3f", got)
	}
	key("g")
	if b.js("+viewer.overlay.on.grid") != 1 {
		t.Error("key g does not show the grid")
	}
	key("g")
}

// findsNames searches Copernicus, which lies 9.6° north, 20.1° west (Gazetteer of Planetary Nomenclature).
func findsNames(t *testing.T, b *browser) {
	b.js(`document.getElementById("name").focus(), 1`)
	b.do(b.call("Input.insertText", map[string]any{"text": "COPERNÍC"}))
	b.until("names", `document.querySelectorAll("#found li").length > 0 && document.querySelector("#found li").textContent.startsWith("Copernicus")`)
	for _, kind := range []string{"keyDown", "keyUp"} {
		b.do(b.call("Input.dispatchKeyEvent", map[string]any{"type": kind, "key": "Enter", "code": "Enter", "windowsVirtualKeyCode": 13, "text": "\r"}))
	}
	b.until("a flight", `viewer.overlay.target && viewer.overlay.target[0] === "Copernicus"`)
	b.drawn()
	lon, lat := b.js("moonAt(scene.disk, viewer.view.x - 0.5, viewer.view.y - 0.5).lon"), b.js("moonAt(scene.disk, viewer.view.x - 0.5, viewer.view.y - 0.5).lat")
	if math.Abs(lon+20.1) > 0.5 || math.Abs(lat-9.6) > 0.5 {
		t.Errorf("the flight to Copernicus ended at %.1f° north, %.1f° east", lat, lon)
	}
	b.js(`viewer.toggle("names"), 1`)
	b.drawn()
	b.shot("names")
	b.js(`viewer.toggle("names"), 1`)
}

func showsPanels(t *testing.T, b *browser) {
	b.js("viewer.fly(viewer.wholeView()), 1")
	b.drawn()
	if b.js("+document.getElementById('card').hidden") != 1 {
		t.Error("a panel is told of before one was chosen")
	}
	b.js(`viewer.toggle("panels"), 1`)
	b.click(470, 380)
	b.until("a panel's card", "!document.getElementById('card').hidden")
	if got := b.text(`document.querySelector("#card").textContent`); !strings.Contains(got, "Panel ") || !strings.Contains(got, " of 4") {
		t.Errorf("the card says %q", got)
	}
	b.js(`viewer.toggle("sharpness"), 1`)
	b.drawn()
	b.shot("panels")
	if b.js("+document.getElementById('ramp').hidden") == 1 || b.js(`document.querySelectorAll("#ramp .swatches i").length`) < 2 {
		t.Error("there is no scale of the finest detail")
	}
	b.click(420, 330) // far enough from the last click to be no double one
	b.until("the figure at a place", `document.querySelector("#card").textContent.includes("Finest detail here")`)
	here := b.text(`viewer.fineAt(viewer.toPicture(420, 330))`)
	if got := b.text(`document.querySelector("#card dd").textContent`); got != here || here == "" {
		t.Errorf("the card says %q of a place that has %q", got, here)
	}
}

// drawsLayers switches each layer on and off: it leaves ink of its own, and its words keep clear of the controls, one of which is put into
// the middle, and of each other.
func drawsLayers(t *testing.T, b *browser) {
	ink := func() float64 {
		return b.js(`(viewer.draw(), (c => c.getContext("2d").getImageData(0, 0, c.width, c.height).data.filter((v, i) => i % 4 === 3 && v).length)(viewer.overlay.canvas))`)
	}
	toggle := func(layer string) { b.js(fmt.Sprintf("(viewer.toggle(%q), 1)", layer)) }
	b.js(`(viewer.close(), viewer.view = viewer.wholeView(), document.querySelectorAll("[data-layer]:checked").forEach(box => box.click()), 1)`)
	if n := ink(); n != 0 {
		t.Errorf("without layers %v px are drawn over the picture", n)
	}
	for layer, least := range map[string]float64{"names": 500, "panels": 1000, "grid": 5000, "sharpness": 10000} {
		toggle(layer)
		if n := ink(); n < least {
			t.Errorf("layer %s draws %v px, want %v at least", layer, n, least)
		}
		toggle(layer)
		if n := ink(); n != 0 {
			t.Errorf("layer %s leaves %v px behind", layer, n)
		}
	}
	b.js(`(scene.holes.push({x: scene.width / 2, y: scene.height / 2, r: 40, place: "here"}), viewer.overlay.on.holes = true, 1)`)
	if n := ink(); n < 300 {
		t.Errorf("a hole is drawn by %v px", n)
	}
	b.js(`(scene.holes.pop(), 1)`)
	toggle("grid")
	if n := b.js(`(viewer.overlay.text = () => {}, 1)`) * ink(); n < 4000 {
		t.Errorf("lines of the grid are drawn by %v px", n)
	}
	toggle("names")
	b.js(`(delete viewer.overlay.text, Object.assign(document.getElementById("card"), {hidden: false}).style.cssText = "left: 360px; top: 250px; right: auto; width: 300px; height: 260px", 1)`)
	const words = `(() => {
		const o = viewer.overlay, said = [];
		o.text = (s, x, y) => { said.push([s, x, y]); };
		viewer.draw();
		delete o.text;
		const under = said.filter(([s, x, y]) => o.controls().some(c => x > c[0] && x < c[2] && y > c[1] && y < c[3]));
		const met = said.filter((a, i) => said.some((b, j) => j < i && Math.abs(a[1] - b[1]) < 20 && Math.abs(a[2] - b[2]) < 10));
		return [said.length, under.length, met.length][%d];
	})()`
	if n := b.js(fmt.Sprintf(words, 0)); n < 15 {
		t.Errorf("only %v words are written", n)
	}
	if under, met := b.js(fmt.Sprintf(words, 1)), b.js(fmt.Sprintf(words, 2)); under != 0 || met != 0 {
		t.Errorf("%v words lie under controls, %v over others", under, met)
	}
	b.shot("words-and-controls")
	toggle("names")
	toggle("grid")
	b.js(`(document.getElementById("card").style.cssText = "", viewer.close(), 1)`)
}

func comparesVersions(t *testing.T, b *browser, base string) {
	b.open(base+"index.html", 1024, 768)
	b.shot("two-versions")
	if left, right := b.text(`document.querySelector("#split b").textContent`), b.text(`document.querySelectorAll("#split b")[1].textContent`); left != "print" || right != "soft" {
		t.Errorf("the versions are called %q and %q", left, right)
	}
	b.mouse("mousePressed", 512, 384, nil)
	b.mouse("mouseMoved", 400, 384, map[string]any{"buttons": 1})
	b.mouse("mouseMoved", 300, 384, map[string]any{"buttons": 1})
	b.mouse("mouseReleased", 300, 384, nil)
	if got := b.js(`parseFloat(document.querySelector("#split i").style.left)`); math.Abs(got-300) > 4 {
		t.Errorf("the line is at %.0f px after its handle was drawn to 300", got)
	}
	if x := b.js("viewer.view.x"); math.Abs(x-b.js("viewer.wholeView().x")) > 0.1 {
		t.Errorf("the slider moved the picture to %g", x)
	}
	b.drawn()
	b.shot("two-versions-moved")
	b.sound(base)
}

// TestBrowserHears proves that what lookAround calls sound would be heard if it were not.
func TestBrowserHears(t *testing.T) {
	b := openBrowser(t)
	page := filepath.Join(t.TempDir(), "page.html")
	text := `<script>console.warn("a"); setTimeout(() => { window.over = 1; throw new Error("b"); });</script><img src="missing.jpg"><img src="http://127.0.0.1:9/away.jpg">`
	if err := os.WriteFile(page, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	b.do(chromedp.Navigate("file://" + filepath.ToSlash(page)))
	b.until("the page", "window.over === 1")
	b.mu.Lock()
	defer b.mu.Unlock()
	heard := strings.Join(append(b.errors, b.requests...), "\n")
	for _, want := range []string{"console: warning", "exception: ", "not loaded: ", "http://127.0.0.1:9/away.jpg"} {
		if !strings.Contains(heard, want) {
			t.Errorf("%q was not heard:\n%s", want, heard)
		}
	}
}
