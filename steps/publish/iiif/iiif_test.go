package iiif

import (
	"encoding/json"
	"strings"
	"testing"
)

// byRule lists the names of all tiles by the rule as IIIF Image API 3.0 writes it (implementation notes, section 3):
// xr = n·tw·s, wr = min(tw·s, W−xr), ws = ceil(wr/s).
func byRule(w, h, tile int, scales []int) map[string]bool {
	out := map[string]bool{}
	for _, s := range scales {
		for n := 0; n*tile*s < w; n++ {
			for m := 0; m*tile*s < h; m++ {
				xr, yr := n*tile*s, m*tile*s
				wr, hr := min(tile*s, w-xr), min(tile*s, h-yr)
				ws, hs := -(-wr / s), -(-hr / s)
				if wr%s > 0 {
					ws = wr/s + 1
				}
				if hr%s > 0 {
					hs = hr/s + 1
				}
				out[Tile{Scale: s, X: xr, Y: yr, W: wr, H: hr, Width: ws, Height: hs,
					Whole: wr == w && hr == h, Full: wr == w && hr == h && s == 1}.Name()] = true
			}
		}
	}
	return out
}

func (l Layout) names() map[string]bool {
	out := map[string]bool{}
	for _, s := range l.Scales() {
		for _, row := range l.Tiles(s) {
			for _, t := range row {
				out[t.Name()] = true
			}
		}
	}
	return out
}

func TestTilesByHand(t *testing.T) {
	for _, c := range []struct {
		l     Layout
		count int
		has   []string
	}{
		// 12·8 tiles at 1:1, then 6·4, 3·2, 2·1 and one.
		{Layout{6000, 4000, 512}, 129, []string{"5632,3584,368,416/368,416/0/default.jpg", "4096,0,1904,4000/238,500/0/default.jpg", "full/375,250/0/default.jpg", "0,0,512,512/512,512/0/default.jpg"}},
		{Layout{1000, 700, 256}, 17, []string{"512,512,488,188/244,94/0/default.jpg", "full/250,175/0/default.jpg"}},
		// One tile shows it all: it is the picture itself.
		{Layout{200, 100, 256}, 1, []string{"full/max/0/default.jpg"}},
		{Layout{256, 256, 256}, 1, []string{"full/max/0/default.jpg"}},
		{Layout{257, 1, 256}, 3, []string{"256,0,1,1/1,1/0/default.jpg", "full/129,1/0/default.jpg"}},
	} {
		got := c.l.names()
		if len(got) != c.count {
			t.Errorf("%v: %d tiles, want %d", c.l, len(got), c.count)
		}
		for _, n := range c.has {
			if !got[n] {
				t.Errorf("%v: there is no tile %s", c.l, n)
			}
		}
	}
}

func TestTilesAreTheRules(t *testing.T) {
	for _, l := range []Layout{{1, 1, 512}, {511, 513, 512}, {1023, 1025, 512}, {3001, 777, 256}, {4097, 4095, 512}, {10000, 10000, 512}, {333, 5000, 128}} {
		got, want := l.names(), byRule(l.W, l.H, l.Tile, l.Scales())
		for n := range want {
			if !got[n] {
				t.Errorf("%v: %s is missing", l, n)
			}
		}
		if len(got) != len(want) {
			t.Errorf("%v: %d tiles, the rule has %d", l, len(got), len(want))
		}
	}
}

// TestTilesCover puts every scale's tiles together: each pixel of the picture is in one, and in no other.
func TestTilesCover(t *testing.T) {
	for _, l := range []Layout{{37, 23, 8}, {64, 65, 8}, {1, 40, 8}} {
		for _, s := range l.Scales() {
			seen := make([]int, l.W*l.H)
			w, h := 0, 0
			for i, row := range l.Tiles(s) {
				for j, tile := range row {
					for y := tile.Y; y < tile.Y+tile.H; y++ {
						for x := tile.X; x < tile.X+tile.W; x++ {
							seen[y*l.W+x]++
						}
					}
					if i == 0 {
						w += tile.Width
					}
					if j == 0 {
						h += tile.Height
					}
				}
			}
			for i, n := range seen {
				if n != 1 {
					t.Fatalf("%v at 1:%d: pixel %d,%d is in %d tiles", l, s, i%l.W, i/l.W, n)
				}
			}
			if lw, lh := l.Level(s); w != lw || h != lh {
				t.Errorf("%v at 1:%d: tiles make %d×%d, the level is %d×%d", l, s, w, h, lw, lh)
			}
		}
	}
}

// The keys and values are those that IIIF Image API 3.0 asks for in sections 5.2 to 5.4.
func TestInfo(t *testing.T) {
	b, err := Layout{6000, 4000, 512}.Info("https://example.org/moon")
	if err != nil {
		t.Fatal(err)
	}
	if first := strings.Index(string(b), `"`); !strings.HasPrefix(string(b[first:]), `"@context"`) {
		t.Errorf("@context should be the first key: %s", b)
	}
	var got map[string]any
	if err := json.Unmarshal(b, &got); err != nil {
		t.Fatal(err)
	}
	for k, want := range map[string]any{"@context": "http://iiif.io/api/image/3/context.json", "id": "https://example.org/moon",
		"type": "ImageService3", "protocol": "http://iiif.io/api/image", "profile": "level0", "width": 6000.0, "height": 4000.0} {
		if got[k] != want {
			t.Errorf("%s is %v, want %v", k, got[k], want)
		}
	}
	j, err := json.Marshal(map[string]any{"tiles": got["tiles"], "sizes": got["sizes"]})
	if err != nil {
		t.Fatal(err)
	}
	if want := `{"sizes":[{"height":250,"width":375}],"tiles":[{"scaleFactors":[1,2,4,8,16],"width":512}]}`; string(j) != want {
		t.Errorf("got %s, want %s", j, want)
	}
}
