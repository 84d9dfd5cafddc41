package main

import (
	"bytes"
	"io"
	"math"
	"math/rand/v2"
	"net"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
)

// flatPanel is a panel of 100×80 px that shows ground of one brightness on the disk of radius 150 about (0, 0), and black sky.
func flatPanel(name string, x, y, turnDeg float64) *chartedPanel {
	r := placedRow{ID: name, Placed: true, X: x, Y: y, TurnDeg: turnDeg, Scale: 1, Factor: 1}
	p := &chartedPanel{&watchedPanel{id: name, name: name, small: smallPicture{w: 100, h: 80, step: 1}}, r, r.field(100, 80)}
	for k := range 100 * 80 {
		v := float32(0)
		if math.Hypot(p.field.at(float64(k%100), float64(k/100))) < 150 {
			v = 0.5
		}
		p.small.v = append(p.small.v, v)
	}
	p.small.tone()
	return p
}

// grid is panels that cover the disk of radius 150, steps of 75 and 60 px apart, but for those left out.
func grid(without ...string) (out []*chartedPanel) {
	for j := -2; j <= 2; j++ {
		for i := -2; i <= 2; i++ {
			name := string(rune('c'+j)) + string(rune('3'+i))
			if !slices.Contains(without, name) {
				out = append(out, flatPanel(name, float64(75*i), float64(60*j), 0))
			}
		}
	}
	return out
}

func TestFieldGoesThereAndBack(t *testing.T) {
	f := field{10, -4, 0.7, 1.3, 100, 80}
	if x, y := f.at(49.5, 39.5); math.Hypot(x-10, y+4) > 1e-9 {
		t.Errorf("the middle lies at %g, %g", x, y)
	}
	if u, v := f.of(f.at(12, 71)); math.Hypot(u-12, v-71) > 1e-9 {
		t.Errorf("there and back: %g, %g", u, v)
	}
}

func TestAWholeDiskHasNoGap(t *testing.T) {
	c := newChart(0, 0, 150, grid())
	if g := c.gaps(); len(g) != 0 || c.seen < 0.999 {
		t.Errorf("gaps %+v, %.3f shown", g, c.seen)
	}
	if a := c.nextAim(nil, grid()); a != nil {
		t.Errorf("next %+v of a whole disk", a)
	}
}

// One panel is missing in the middle: what its neighbours leave is 50×40 px about (0, 0); the aim is there, and the
// neighbours are those beside, above and below.
func TestAHoleIsFoundAndAimedAt(t *testing.T) {
	panels := grid("c3")
	c := newChart(0, 0, 150, panels)
	g := c.gaps()
	if len(g) != 1 || !g[0].enclosed || math.Hypot(g[0].u, g[0].v) > 0.01 {
		t.Fatalf("gaps %+v, want one about the middle", g)
	}
	if want := 50 * 40 / (math.Pi * 150 * 150); math.Abs(g[0].share/want-1) > 0.1 {
		t.Errorf("it is %.4f of the disk, want %.4f", g[0].share, want)
	}
	a := c.nextAim(g, panels)
	if a == nil || math.Hypot(a.field.x, a.field.y) > 12 {
		t.Fatalf("next %+v, want the middle", a)
	}
	var names []string
	for _, n := range a.neighbours {
		names = append(names, n.panel.name)
	}
	for _, want := range []string{"c2", "c4", "b3", "d3"} {
		if !slices.Contains(names, want) {
			t.Errorf("neighbours %v, without %s", names, want)
		}
	}
	h := c.holeAt(g[0], 6) // arcsec a pixel
	if h.Kind != "hole" || !strings.Contains(h.Text, "near the disk's middle") {
		t.Errorf("told as %+v", h)
	}
}

// With one panel there, the next overlaps it by a fifth at least, and shows more than any that overlaps it further.
func TestTheSecondFieldOverlapsTheFirst(t *testing.T) {
	panels := []*chartedPanel{flatPanel("first", 0, 0, 0)}
	c := newChart(0, 0, 150, panels)
	a := c.nextAim(c.gaps(), panels)
	if a == nil || len(a.neighbours) != 1 || a.neighbours[0].share < 0.17 || a.neighbours[0].share > 0.4 {
		t.Errorf("next %+v", a)
	}
}

func TestWordsForPlaces(t *testing.T) {
	for _, c := range []struct {
		u, v float64
		want string
	}{{0.1, 0.1, "near the disk's middle"}, {0.5, 0, "half-way to the right edge"}, {0, -0.9, "at the upper edge"}, {-0.6, 0.6, "at the lower left edge"}} {
		if got := placeWords(c.u, c.v); got != c.want {
			t.Errorf("(%g, %g): %q, want %q", c.u, c.v, got, c.want)
		}
	}
	for want, got := range map[string]string{"1.2′ right, 3.0′ up": offsetWords(1.2, -3, 1, "′"), "2.0′ down": offsetWords(0.04, 2, 1, "′"), "0′": offsetWords(0, 0.01, 1, "′")} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// clipsOf are clips of some brightness, in order.
func clipsOf(bright ...float64) (out []clipState) {
	for i, b := range bright {
		out = append(out, clipState{Name: string(rune('a' + i)), Brightness: b, FinestPx: b})
	}
	return out
}

// quickAt are clips of which some have quick stacks only.
func quickAt(clips []clipState, at ...int) []clipState {
	for _, i := range at {
		clips[i].Quick, clips[i].FinestPx = true, 0
	}
	return clips
}

// One clip is called soft against three whose sharpness is known, itself among them: quick stacks do not count.
func TestSoftIsToldByFinalStacks(t *testing.T) {
	for _, quick := range []bool{true, false} {
		var k nightKnown
		for i, px := range []float64{3, 6, 3, 3, 3} {
			k.stacked = append(k.stacked, &watchedPanel{name: string(rune('a' + i)), id: string(rune('a' + i)), quick: quick && i > 1,
				row: stackRow{MidUnixNS: int64(i + 1), Limit: 1 / px}, small: smallPicture{bright: 1}})
		}
		s := k.state(nil, nil)
		if soft := slices.ContainsFunc(s.Clips[1].Flags, func(f saying) bool { return f.Code == "soft" }); soft == quick {
			t.Errorf("with quick stacks %v: flags %v", quick, s.Clips[1].Flags)
		}
		if px := s.Clips[4].FinestPx; (px == 0) != quick {
			t.Errorf("with quick stacks %v: the last clip's detail is %v px", quick, px)
		}
		k.noFinal = map[string]string{"d": "the disk is full"}
		if f := k.state(nil, nil).Clips[3].Flags; len(f) != 1 || f[0].Code != "stack-failed" || !strings.Contains(f[0].Text, "the disk is full") {
			t.Errorf("flags %v of a clip without a final stack", f)
		}
	}
}

func TestNotes(t *testing.T) {
	for _, c := range []struct {
		name  string
		notes []saying
		want  []string
	}{
		{"steady", brightNotes(clipsOf(1, 1.02, 0.97, 1, 1.05)), nil},
		{"dew", brightNotes(clipsOf(1, 1, 0.92, 0.85, 0.78)), []string{"fading"}},
		{"another exposure", brightNotes(clipsOf(1, 1, 0.5, 0.5, 0.5)), []string{"exposure-changed"}},
		{"unknown ones between", brightNotes(clipsOf(1, 0, 1, 0, 1)), nil},
		{"focus lost", sharpNotes(clipsOf(2, 2, 2, 3, 3, 3)), []string{"getting-softer"}},
		{"focus found", sharpNotes(clipsOf(3, 3, 3, 2, 2, 2)), []string{"getting-sharper"}},
		{"focus lost, the newest not known", sharpNotes(quickAt(clipsOf(2, 2, 2, 3, 3, 3, 3, 3), 6, 7)), []string{"getting-softer"}},
		{"one of the last not known", sharpNotes(quickAt(clipsOf(2, 2, 2, 3, 3, 3, 3), 4)), nil},
		{"an early one not known", sharpNotes(quickAt(clipsOf(2, 2, 2, 2, 3, 3, 3), 1)), []string{"getting-softer"}},
		{"too few to tell", sharpNotes(clipsOf(2, 2, 3, 3, 3)), nil},
	} {
		var got []string
		for _, n := range c.notes {
			got = append(got, n.Code)
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: %+v, want %v", c.name, c.notes, c.want)
		}
	}
	var got []string
	for _, f := range clipFlags(clipState{FinestPx: 3, Brightness: 0.5}, 2, 2, true) {
		got = append(got, f.Code)
	}
	if want := []string{"soft", "overexposed", "dim", "cut"}; !slices.Equal(got, want) {
		t.Errorf("flags %v, want %v", got, want)
	}
	if f := clipFlags(clipState{FinestPx: 2.5, Brightness: 0.7}, 0.4, 2, false); len(f) != 0 {
		t.Errorf("flags %v of a clip in order", f)
	}
}

// What is read slowly is the same.
func TestPacedReadingReadsTheSame(t *testing.T) {
	b := make([]byte, 3<<20+17)
	for i := range b {
		b[i] = byte(rand.Uint32())
	}
	p := &pace{most: 2}
	p.recording.Store(true)
	got, err := io.ReadAll(io.NewSectionReader(p.through(bytes.NewReader(b)), 5, 1<<40))
	if err != nil || !bytes.Equal(got, b[5:]) {
		t.Errorf("%d bytes, %v; want %d", len(got), err, len(b)-5)
	}
}

func TestWatchPageManners(t *testing.T) {
	at := &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 8080}
	b := newBoard(make(chan struct{}), func(string) (string, int64, bool) { return "", 0, false }, func(nightState) {})
	b.show(nightState{Event: "night"})
	picture := b.keep(diskPicture, "old", []byte("old"))
	newer := b.keep(diskPicture, "new", []byte("new"))
	h := guarded(b, at)
	for _, c := range []struct {
		method, path, host string
		code               int
		kind               string
	}{
		{"GET", "/", "127.0.0.1:8080", 200, "text/html; charset=utf-8"},
		{"GET", "/watch.js", "localhost:8080", 200, "text/javascript; charset=utf-8"},
		{"GET", "/watch.css", "127.0.0.1:8080", 200, "text/css; charset=utf-8"},
		{"GET", "/night.json", "127.0.0.1:8080", 200, "application/json"},
		{"GET", newer, "127.0.0.1:8080", 200, "image/jpeg"},
		{"GET", picture, "127.0.0.1:8080", 404, ""},
		{"GET", "/../watch.go", "127.0.0.1:8080", 404, ""},
		{"GET", "/index.html/", "127.0.0.1:8080", 404, ""},
		{"POST", "/", "127.0.0.1:8080", 405, ""},
		{"GET", "/night.json", "moon.example:8080", 403, ""},
		{"GET", "/events", "moon.example:8080", 403, ""},
	} {
		r := httptest.NewRequest(c.method, "http://"+c.host+"/", http.NoBody)
		r.URL.Path = c.path
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if w.Code != c.code || c.kind != "" && w.Header().Get("Content-Type") != c.kind {
			t.Errorf("%s %s of %s: %d %s, want %d %s", c.method, c.path, c.host, w.Code, w.Header().Get("Content-Type"), c.code, c.kind)
		}
		if !strings.Contains(w.Header().Get("Content-Security-Policy"), "default-src 'none'") {
			t.Errorf("%s: there is no policy", c.path)
		}
	}
	for _, name := range []string{"index.html", "watch.css", "watch.js"} {
		text, err := watchAssets.ReadFile("watch/" + name)
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(strings.ReplaceAll(string(text), "http://www.w3.org/2000/svg", ""), "//www.") || strings.Contains(string(text), "https:") || strings.Contains(string(text), "innerHTML") {
			t.Errorf("%s names what lies outside, or reads text as HTML", name)
		}
	}
}
