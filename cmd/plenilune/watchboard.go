package main

import (
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"strings"
	"sync"
	"time"
)

//go:embed watch
var watchAssets embed.FS

// board is what is shown of a night in progress: the state, to everyone who listens, and its pictures.
type board struct {
	volume func(dir string) (name string, free int64, ok bool)
	tell   func(nightState) // the terminal
	done   <-chan struct{}  // closed when it is over

	mu       sync.Mutex
	text     []byte // the state as it was shown last
	pictures map[string][]byte
	changed  chan struct{} // closed when the text changes
}

func newBoard(done <-chan struct{}, volume func(string) (string, int64, bool), tell func(nightState)) *board {
	return &board{done: done, volume: volume, tell: tell, pictures: map[string][]byte{}, changed: make(chan struct{})}
}

// Kinds of pictures.
const (
	diskPicture  = "disk"
	panelPicture = "panel"
)

// keep keeps a picture under a name of its content and returns where the page finds it.
func (b *board) keep(kind, id string, jpg []byte) string {
	b.mu.Lock()
	defer b.mu.Unlock()
	path := "/" + kind + "-" + id + ".jpg"
	if kind == diskPicture { // the one before is of no more use
		maps.DeleteFunc(b.pictures, func(old string, _ []byte) bool { return strings.HasPrefix(old, "/"+diskPicture) })
	}
	b.pictures[path] = jpg
	return path
}

// show shows a state.
func (b *board) show(s nightState) {
	text, err := json.Marshal(s)
	if err != nil {
		return // no part of a state is NaN: they come from tables
	}
	b.mu.Lock()
	news := !bytes.Equal(text, b.text)
	if news {
		b.text = text
		close(b.changed)
		b.changed = make(chan struct{})
	}
	b.mu.Unlock()
	if news {
		b.tell(s)
	}
}

// now is the state as it is shown, and a channel that closes when it changes.
func (b *board) now() ([]byte, <-chan struct{}) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text, b.changed
}

// ServeHTTP gives out the page, its pictures, the state and its changes.
func (b *board) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	switch path := r.URL.Path; {
	case path == "/":
		serveAsset(w, "index.html")
	case path == "/watch.css" || path == "/watch.js":
		serveAsset(w, path[1:])
	case path == "/night.json":
		text, _ := b.now()
		w.Header().Set("Content-Type", "application/json")
		_, _ = w.Write(text)
	case path == "/events":
		b.serveEvents(w, r)
	default:
		b.mu.Lock()
		jpg, ok := b.pictures[path]
		b.mu.Unlock()
		if !ok {
			http.Error(w, "there is no such file", http.StatusNotFound)
			return
		}
		w.Header().Set("Content-Type", "image/jpeg")
		_, _ = w.Write(jpg)
	}
}

func serveAsset(w http.ResponseWriter, name string) {
	text, err := watchAssets.ReadFile("watch/" + name)
	if err != nil {
		http.Error(w, "there is no such file", http.StatusNotFound)
		return
	}
	_, ending, _ := strings.Cut(name, ".")
	w.Header().Set("Content-Type", map[string]string{"html": "text/html", "css": "text/css", "js": "text/javascript"}[ending]+"; charset=utf-8")
	_, _ = w.Write(text)
}

// How often the page hears of changes at most, and at least anything at all: some networks cut what is silent.
const (
	eventsPause = 300 * time.Millisecond
	eventsPulse = 15 * time.Second
)

// serveEvents sends the state now and whenever it changes, as server-sent events (WHATWG HTML, 9.2).
func (b *board) serveEvents(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "text/event-stream")
	out := http.NewResponseController(w)
	for {
		text, changed := b.now()
		if len(text) > 0 {
			if _, err := fmt.Fprintf(w, "data: %s\n\n", text); err != nil {
				return
			}
		}
		if out.Flush() != nil {
			return
		}
		if !b.pulse(w, out, r, changed) {
			return
		}
	}
}

// pulse waits for a change, with a remark now and then to keep the connection; it tells whether to go on.
func (b *board) pulse(w http.ResponseWriter, out *http.ResponseController, r *http.Request, changed <-chan struct{}) bool {
	t := time.NewTicker(eventsPulse)
	defer t.Stop()
	for {
		select {
		case <-r.Context().Done():
			return false
		case <-b.done:
			return false
		case <-t.C:
			if _, err := fmt.Fprint(w, ": still here\n\n"); err != nil || out.Flush() != nil {
				return false
			}
		case <-changed:
			time.Sleep(eventsPause)
			return true
		}
	}
}
