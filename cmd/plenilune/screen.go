package main

// What the screen shows, and how:
//   - results (paths of delivered files) go to stdout, everything else to stderr;
//   - on a terminal one line shows progress and is redrawn in place; elsewhere a
//     plain line comes now and then, so that a log stays readable;
//   - with --json, stdout carries one JSON object a line and stderr stays for
//     failures of the program itself;
//   - every number has its unit.

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/vbauerster/mpb/v8"
	"github.com/vbauerster/mpb/v8/decor"
	"golang.org/x/term"

	"plenilune/pipeline"
)

// plainEvery is how often progress is told where it cannot be redrawn.
const plainEvery = 10 * time.Second

type screen struct {
	out, err io.Writer
	json     bool
	began    time.Time
	also     func(pipeline.Event) // hears every event too; may be nil

	mu    sync.Mutex
	last  time.Time // of the last plain line or JSON progress
	bars  *mpb.Progress
	bar   *mpb.Bar
	label string
	full  bool // it was said that a disk is full
}

func newScreen(out, err io.Writer, jsonLines bool) *screen {
	s := &screen{out: out, err: err, json: jsonLines, began: time.Now(), last: time.Now()}
	if f, ok := fileOf(err); ok && !jsonLines && hasWidth(f) {
		s.bars = mpb.New(mpb.WithOutput(f), mpb.WithWidth(32))
		s.bar = s.bars.AddBar(1000, mpb.BarRemoveOnComplete(),
			mpb.AppendDecorators(decor.Any(func(decor.Statistics) string { return s.status() })))
	}
	return s
}

// hasWidth tells a terminal that a line can be redrawn on.
func hasWidth(f *os.File) bool {
	cols, _, err := term.GetSize(int(f.Fd()))
	return term.IsTerminal(int(f.Fd())) && err == nil && cols > 0
}

func (s *screen) status() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.label
}

// event shows one event of a run.
func (s *screen) event(e pipeline.Event) {
	if s.also != nil {
		s.also(e)
	}
	if s.json {
		s.eventJSON(e)
		return
	}
	switch {
	case e.Step != nil && e.Step.State == pipeline.Failed:
		if s.knownFull(e.Step.Err) {
			return // the same of every part that was at work
		}
		s.line("failed: %s: %v", e.Step.Step, e.Step.Err)
		s.diskFull(e.Step.Err)
	case e.Warning != nil:
		s.line("warning: %s (%s)", e.Warning.Text, e.Warning.Code)
	case e.Delivered != nil:
		s.mu.Lock()
		fmt.Fprintln(s.out, filepath.ToSlash(e.Delivered.Path))
		s.mu.Unlock()
	case e.Progress != nil:
		s.progress(e.Progress)
	}
}

// knownFull tells that an error is of a full disk, and that this was said.
func (s *screen) knownFull(err error) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.full && errors.Is(err, syscall.ENOSPC)
}

// diskFull says, once, what to do about a full disk.
func (s *screen) diskFull(err error) {
	s.mu.Lock()
	first := !s.full && errors.Is(err, syscall.ENOSPC)
	s.full = s.full || first
	s.mu.Unlock()
	if first {
		s.line("a disk is full: %s; the next run goes on from here", roomHint)
	}
}

// line writes a line to stderr, above the progress line if there is one.
func (s *screen) line(format string, args ...any) {
	text := harmlessText(fmt.Sprintf(format, args...)) + "\n"
	if s.bars != nil {
		if _, err := s.bars.Write([]byte(text)); err == nil {
			return
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	io.WriteString(s.err, text)
}

func (s *screen) progress(p *pipeline.ProgressEvent) {
	text := harmlessText(progressText(p))
	if s.bar != nil {
		s.mu.Lock()
		s.label = text
		s.mu.Unlock()
		s.bar.SetCurrent(min(int64(p.Done*1000), 999))
		return
	}
	s.mu.Lock()
	due := time.Since(s.last) >= plainEvery
	if due {
		s.last = time.Now()
	}
	s.mu.Unlock()
	if due {
		s.line("%4.0f s: %s", time.Since(s.began).Seconds(), text)
	}
}

func progressText(p *pipeline.ProgressEvent) string {
	if p.ToRead > 0 {
		return fmt.Sprintf("reading clips, %s of %s", bytesText(p.Read), bytesText(p.ToRead))
	}
	text := fmt.Sprintf("%d of %d parts", p.Parts, p.Known)
	if p.SecondsLeft >= 0 {
		text += ", about " + durationText(p.SecondsLeft) + " left"
	}
	if len(p.Working) > 0 {
		text += ", at " + p.Working[0]
	}
	return text
}

func durationText(seconds float64) string {
	switch {
	case seconds < 1:
		return "a second or less"
	case seconds < 100:
		return fmt.Sprintf("%.0f s", seconds)
	case seconds < 6000:
		return fmt.Sprintf("%.0f min", seconds/60)
	}
	return fmt.Sprintf("%.1f h", seconds/3600)
}

// close takes the progress line away.
func (s *screen) close() {
	if s.bar != nil {
		s.bar.Abort(true)
		s.bars.Wait()
		s.bar, s.bars = nil, nil
	}
}

// summary is the last word on a run.
func (s *screen) summary(sum pipeline.Summary) {
	s.close()
	peak := peakBytes()
	if s.json {
		s.object(map[string]any{"event": "summary", "ran": sum.Ran, "cached": sum.Cached, "failed": sum.Failed,
			"skipped": sum.Skipped, "seconds": round3(sum.Seconds), "peak_bytes": peak})
		return
	}
	words := []string{fmt.Sprintf("%d parts ran", sum.Ran), fmt.Sprintf("%d from the cache", sum.Cached)}
	if sum.Failed+sum.Skipped > 0 {
		words = append(words, fmt.Sprintf("%d failed", sum.Failed), fmt.Sprintf("%d skipped", sum.Skipped))
	}
	words = append(words, fmt.Sprintf("%.1f s", sum.Seconds), "at most "+bytesText(peak)+" of memory")
	s.line("%s", strings.Join(words, ", "))
}

func (s *screen) eventJSON(e pipeline.Event) {
	switch {
	case e.Step != nil:
		facts := map[string]any{}
		for _, f := range e.Step.Facts {
			if f.Text != "" {
				facts[f.Name] = f.Text
				continue
			}
			facts[f.Name] = map[string]any{"value": f.Value, "unit": f.Unit}
		}
		o := map[string]any{"event": "step", "step": e.Step.Step, "state": e.Step.State,
			"seconds": round3(e.Step.Seconds), "facts": facts}
		if !e.Step.Key.IsZero() {
			o["key"] = e.Step.Key
		}
		if e.Step.Err != nil {
			o["error"] = e.Step.Err.Error()
		}
		s.object(o)
	case e.Warning != nil:
		s.object(map[string]any{"event": "warning", "code": e.Warning.Code, "text": e.Warning.Text})
	case e.Delivered != nil:
		s.object(map[string]any{"event": "delivered", "path": filepath.ToSlash(e.Delivered.Path), "id": e.Delivered.ID,
			"changed": e.Delivered.Changed})
	case e.Progress != nil:
		if time.Since(s.last) < time.Second {
			return
		}
		s.last = time.Now()
		if p := e.Progress; p.ToRead > 0 {
			s.object(map[string]any{"event": "progress", "read_bytes": p.Read, "to_read_bytes": p.ToRead})
			return
		}
		o := map[string]any{"event": "progress", "done": round3(e.Progress.Done), "parts": e.Progress.Parts, "known": e.Progress.Known}
		if e.Progress.SecondsLeft >= 0 {
			o["seconds_left"] = round3(e.Progress.SecondsLeft)
		}
		s.object(o)
	}
}

// object writes one JSON object as one line of stdout.
func (s *screen) object(o map[string]any) {
	b, err := json.Marshal(o)
	if err != nil {
		b = fmt.Appendf(nil, `{"event":"warning","code":"not-encoded","text":%q}`, err.Error())
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.out.Write(append(b, '\n'))
}

func round3(v float64) float64 { return float64(int64(v*1000+0.5)) / 1000 }
