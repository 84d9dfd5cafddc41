package main

import (
	"context"
	"fmt"
	"io"
	"net"
	"runtime"
	"time"

	"github.com/spf13/cobra"

	"plenilune/cache"
	"plenilune/pipeline"
)

// watchFlags are those of watch.
type watchFlags struct {
	cacheFlags
	at            place
	clips, memory string
	set           []string
	jobs          int
	json          bool
}

func watchCommand() *cobra.Command {
	var f watchFlags
	cmd := &cobra.Command{
		Use:   "watch FILE",
		Short: "Follow a night while its clips are recorded: the disk so far, what is missing, where to point next",
		Long: `watch looks for new clips where the manifest's file patterns say, places each by a quick
stack of its best frames as soon as it is whole, and shows the night on a page that updates
itself: the disk so far, what of it is missing, clips that are soft, overexposed or dim,
where to point next, how sharpness and brightness go, and how many more clips the disk has
room for. Final stacks, those that run makes, follow while no clip is waiting, and tell how
sharp each clip is. It prints the page's address, and a line for each stack.

A clip is whole when its size has been steady for some seconds and its header fits its
length; one that its recorder never finished is taken after a minute, up to the cut. While
any file grows, watch works on one processor and leaves the disk idle half of the time; it
always runs at low priority, locks no file, and writes nothing but its cache. A run finds
the final stacks there; beside a watch it may wait a moment, since one of them works at a time.

The manifest may name clips that are not there yet. Ctrl-C ends it; started again, it goes
on from where it was.`,
		Example: `  plenilune watch night.hcl
  plenilune watch night.hcl --listen 192.168.1.20 --port 8080`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return f.run(cmd.Context(), cmd.OutOrStdout(), cmd.ErrOrStderr(), args[0])
		},
	}
	f.cacheFlags.add(cmd)
	fl := cmd.Flags()
	fl.IntVar(&f.at.port, "port", 0, "`PORT` to listen on (default: one that is free)")
	fl.StringVar(&f.at.listen, "listen", "", "`ADDRESS` of this machine to listen on, for others to see it too (default: this machine alone)")
	fl.IntVarP(&f.jobs, "jobs", "j", 0, "`N` processors, while nothing is recorded (default: all)")
	fl.StringVar(&f.memory, "memory", "", "`SIZE` of memory that the work may take, as in 4GB (default: half of what is free)")
	fl.StringVar(&f.clips, "clips", "", "look for the manifest's files under `DIR` instead")
	fl.StringArrayVar(&f.set, "set", nil, "`NAME=VALUE` replaces an entry of the manifest's settings block; may be repeated")
	fl.BoolVar(&f.json, "json", false, "print one JSON object a line on stdout")
	return cmd
}

func (f *watchFlags) run(ctx context.Context, stdout, stderr io.Writer, file string) error {
	w, err := f.watcher(stderr, file)
	if err != nil {
		return err
	}
	l, err := f.at.open()
	if err != nil {
		return err
	}
	defer l.Close()
	if err := f.lend(ctx, stderr, w); err != nil {
		return err
	}
	lowerPriority()
	return w.serve(ctx, l, newWatchTeller(newScreen(stdout, stderr, f.json)))
}

// lend makes the watch use the cache in each round and let go of it between them, for a run beside it. That it can be used is
// tried at once.
func (f *watchFlags) lend(ctx context.Context, stderr io.Writer, w *watcher) error {
	dir, err := f.folder()
	if err != nil {
		return err
	}
	o := f.options(stderr)
	o.OnWait = func(holder string) {
		w.update(func(k *nightKnown) { k.stage = "waiting for the cache: " + holder })
	}
	o.NoWait = false
	w.open = func(ctx context.Context) (*cache.Cache, error) { return cache.Open(ctx, dir, o) }
	c, err := f.cacheFlags.open(ctx, stderr)
	if err != nil {
		return err
	}
	return c.Close()
}

// serve watches, and shows the page, until ctx ends.
func (w *watcher) serve(ctx context.Context, l net.Listener, tell *watchTeller) error {
	before := runtime.GOMAXPROCS(w.pace.most)
	defer runtime.GOMAXPROCS(before)
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	w.board = newBoard(ctx.Done(), volumeOf, tell.tell)
	w.update(func(*nightKnown) {}) // there is a state from the first request on
	tell.address("http://" + l.Addr().String() + "/")
	watching := make(chan struct{})
	go func() {
		defer close(watching)
		w.run(ctx)
	}()
	err := serve(ctx, l, w.board)
	stop()
	<-watching
	return err
}

// watcher prepares the watch of a manifest, whose own faults are told as ever.
func (f *watchFlags) watcher(stderr io.Writer, file string) (*watcher, error) {
	if f.at.port < 0 || f.at.port > 65535 {
		return nil, requestf("--port %d: want a number from 0 to 65535; 0 takes one that is free", f.at.port)
	}
	if f.jobs < 0 {
		return nil, requestf("-j %d: want at least 1 processor", f.jobs)
	}
	over, err := overrides(f.set)
	if err != nil {
		return nil, err
	}
	m, err := readManifest(stderr, file, over)
	if err != nil {
		return nil, err
	}
	if b, _ := mosaicOf(m); b == nil {
		return nil, requestf("%s has no mosaic block: there is nothing to place panels in", file)
	}
	jobs := f.jobs
	if jobs == 0 {
		jobs = runtime.GOMAXPROCS(0)
	}
	w := &watcher{file: file, clips: f.clips, set: over, pace: &pace{most: jobs}, every: time.Second, placeAfter: 30 * time.Second,
		land: newLanding(), wake: make(chan struct{}, 1), panels: map[string]*watchedPanel{}, known: nightKnown{title: m.Night.Title, stage: "waiting for the first clip"}}
	w.opts = pipeline.Options{Jobs: jobs, Build: buildName()}
	run := workFlags{memory: f.memory}
	w.opts.Memory, err = run.budget()
	return w, err
}

// watchTeller tells a night in progress line by line: each thing once.
type watchTeller struct {
	screen *screen
	told   map[string]string
}

func newWatchTeller(s *screen) *watchTeller {
	return &watchTeller{screen: s, told: map[string]string{}}
}

func (t *watchTeller) address(url string) {
	if t.screen.json {
		t.screen.object(map[string]any{"event": "listening", "url": url})
		return
	}
	fmt.Fprintln(t.screen.out, url)
	t.screen.line("Ctrl-C ends this")
}

// news tells whether this was not said of the thing last.
func (t *watchTeller) news(thing, text string) bool {
	if t.told[thing] == text {
		return false
	}
	t.told[thing] = text
	return true
}

// tell tells what changed.
func (t *watchTeller) tell(s nightState) {
	for _, c := range s.Clips {
		key := fmt.Sprint(c.State, c.Quick)
		for _, f := range c.Flags {
			key += " " + f.Code
		}
		if c.State != "landed" && c.State != "stacked" && t.news("clip "+c.Name, key) {
			t.say(clipLine(c), map[string]any{"event": "clip", "clip": c})
		}
	}
	for _, list := range []struct {
		event string
		says  []saying
	}{{"note", s.Notes}, {"problem", s.Problems}} {
		for _, n := range list.says {
			if t.news(list.event+" "+n.Code+n.Text, "said") {
				t.say(list.event+": "+n.Text+" ("+n.Code+")", map[string]any{"event": list.event, "code": n.Code, "text": n.Text})
			}
		}
	}
	if s.Disk != nil {
		if text := diskLines(s); t.news("disk", text) {
			t.say(text, map[string]any{"event": "disk", "disk": s.Disk, "holes": s.Holes, "next": s.Next})
		}
	}
}

func (t *watchTeller) say(text string, o map[string]any) {
	if t.screen.json {
		t.screen.object(o)
		return
	}
	t.screen.line("%s", text)
}

// clipLine tells of one clip.
func clipLine(c clipState) string {
	text := c.Name + ": "
	switch c.State {
	case "failed", "unused":
		return text + c.State + ": " + c.Why
	}
	if c.Quick {
		text += fmt.Sprintf("a quick stack of %d of %d frames", c.Kept, c.Frames)
	} else {
		text += fmt.Sprintf("%d of %d frames kept", c.Kept, c.Frames)
	}
	if c.FinestPx > 0 {
		text += fmt.Sprintf(", finest detail %.1f px", c.FinestPx)
	}
	if c.FinestSky > 0 {
		text += fmt.Sprintf(" (%.2f″)", c.FinestSky)
	}
	if c.State == "placed" {
		text += ", placed"
	} else {
		text += ", not placed: " + c.Why
	}
	for _, f := range c.Flags {
		text += "; " + f.Text
	}
	return text
}

// diskLines tells of the disk.
func diskLines(s nightState) string {
	text := "disk: no limb found yet"
	if len(s.Disk.Limb) > 0 {
		text = fmt.Sprintf("disk: %.1f %% of the sunlit ground is shown", s.Disk.ShownPct)
	}
	for _, h := range s.Holes {
		text += "\n  " + h.Text
	}
	if s.Next != nil {
		text += "\n  next: " + s.Next.Text
	}
	return text
}
