package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// browser is a tab of a real browser, with what went wrong in it.
type browser struct {
	t   *testing.T
	ctx context.Context

	mu       sync.Mutex
	errors   []string
	requests []string
}

// openBrowser starts Chromium; where there is none the test is skipped, unless CI asks for it.
func openBrowser(t *testing.T) *browser {
	t.Helper()
	exe, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("PLENILUNE_REQUIRE_TOOLS") == "1" {
			t.Fatal("chromium is not there, and PLENILUNE_REQUIRE_TOOLS asks for it")
		}
		t.Skip("chromium is not there: pages were not looked at in a browser")
	}
	alloc, cancel := chromedp.NewExecAllocator(t.Context(), append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(exe), chromedp.NoSandbox,
		chromedp.Flag("disable-dev-shm-usage", true), chromedp.Flag("touch-events", "enabled"))...)
	t.Cleanup(cancel)
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(cancel)
	ctx, cancel = context.WithTimeout(ctx, 4*time.Minute)
	t.Cleanup(cancel)
	b := &browser{t: t, ctx: ctx}
	b.do(b.call("Network.enable", map[string]any{}), b.call("Runtime.enable", map[string]any{}))
	if err := chromedp.Listen(ctx, b.hear); err != nil {
		t.Fatal(err)
	}
	return b
}

func (b *browser) hear(ev any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch e := ev.(type) {
	case *runtime.EventExceptionThrown:
		b.errors = append(b.errors, fmt.Sprintf("exception: %s %v", e.ExceptionDetails.Text, e.ExceptionDetails.Exception))
	case *runtime.EventConsoleAPICalled:
		b.errors = append(b.errors, fmt.Sprintf("console: %v", e.Type))
	case *network.EventLoadingFailed:
		if !e.Canceled {
			b.errors = append(b.errors, "not loaded: "+e.ErrorText)
		}
	case *network.EventRequestWillBeSent:
		b.requests = append(b.requests, e.Request.URL)
	}
}

// call is a command of the browser's protocol.
func (b *browser) call(method string, params any) chromedp.Action[chromedp.Void] {
	return func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		return chromedp.Void{}, t.Call(ctx, method, params, nil)
	}
}

func (b *browser) do(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b.ctx, steps...); err != nil {
		b.t.Fatal(err)
	}
}

// js evaluates an expression that gives a number.
func (b *browser) js(expression string) float64 {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[float64](expression))
	if err != nil {
		b.t.Fatalf("%s: %v", expression, err)
	}
	return v
}

func (b *browser) text(expression string) string {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[string](expression))
	if err != nil {
		b.t.Fatalf("%s: %v", expression, err)
	}
	return v
}

// until waits for something to come true.
func (b *browser) until(what, expression string) {
	b.t.Helper()
	for range 400 {
		if b.js("+Boolean("+expression+")") == 1 {
			return
		}
		time.Sleep(25 * time.Millisecond)
	}
	b.t.Fatalf("%s never came: %s", what, expression)
}

// drawn waits until the view rests and all tiles in it are drawn.
func (b *browser) drawn() {
	b.t.Helper()
	b.until("the picture", `document.getElementById("stage").dataset.state === "drawn" && !viewer.flight && !viewer.due`)
}

func (b *browser) open(url string, width, height int) {
	b.t.Helper()
	b.do(b.call("Emulation.setDeviceMetricsOverride", map[string]any{"width": width, "height": height, "deviceScaleFactor": 1, "mobile": false}), chromedp.Navigate(url))
	b.drawn()
}

func (b *browser) mouse(kind string, x, y float64, more map[string]any) {
	b.t.Helper()
	params := map[string]any{"type": kind, "x": x, "y": y, "button": "left", "clickCount": 1}
	if kind == "mouseWheel" || kind == "mouseMoved" && more == nil {
		params["button"] = "none"
	}
	for k, v := range more {
		params[k] = v
	}
	b.do(b.call("Input.dispatchMouseEvent", params))
}

func (b *browser) click(x, y float64) {
	b.t.Helper()
	b.mouse("mousePressed", x, y, nil)
	b.mouse("mouseReleased", x, y, nil)
}

// touch moves fingers, each from its first place to its last.
func (b *browser) touch(from, to [][2]float64) {
	b.t.Helper()
	const steps = 8
	for i := range steps + 1 {
		var points []map[string]any
		for k := range from {
			at := float64(i) / steps
			points = append(points, map[string]any{"id": k + 1, "x": from[k][0] + at*(to[k][0]-from[k][0]), "y": from[k][1] + at*(to[k][1]-from[k][1])})
		}
		kind := "touchMove"
		if i == 0 {
			kind = "touchStart"
		}
		b.do(b.call("Input.dispatchTouchEvent", map[string]any{"type": kind, "touchPoints": points}))
	}
	b.do(b.call("Input.dispatchTouchEvent", map[string]any{"type": "touchEnd", "touchPoints": []any{}}))
}

// shot keeps a picture of the page where PLENILUNE_SHOTS names a folder, for people to look at.
func (b *browser) shot(name string) {
	b.t.Helper()
	dir := os.Getenv("PLENILUNE_SHOTS")
	if dir == "" {
		return
	}
	png, err := chromedp.Run(b.ctx, chromedp.CaptureScreenshot())
	if err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o666); err != nil {
		b.t.Fatal(err)
	}
}

// sound tells whatever went wrong, and every request that left the folder.
func (b *browser) sound(base string) {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, e := range b.errors {
		b.t.Error(e)
	}
	if len(b.requests) < 5 {
		b.t.Errorf("only %d requests were heard of: the test is deaf", len(b.requests))
	}
	for _, r := range b.requests {
		if !strings.HasPrefix(r, base) && !strings.HasPrefix(r, "data:") {
			b.t.Errorf("the page asked for %s", r)
		}
	}
}
