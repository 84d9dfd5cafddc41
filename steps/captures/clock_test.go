package captures

import (
	"bytes"
	"image/jpeg"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/format/outsidetest"
	"plenilune/steps/format/raw"
)

// indexOf indexes what was laid out.
func indexOf(t *testing.T, s source, l laid, frames []byte, a asked) (Index, *pipelinetest.Result) {
	t.Helper()
	r := pipelinetest.Run(t, indexLaidPart(pipeline.Item{}, pipeline.Value{}, pipeline.Value{}, a),
		map[string][]any{"file": {pipelinetest.File(frames)}, "source": {s}, "laid": {l}})
	var x Index
	r.Table("index", &x)
	return x, r
}

// TestClockOf: a clock that is ahead shows more than UTC.
func TestClockOf(t *testing.T) {
	for text, want := range map[string]time.Duration{"utc": 0, "+00:00": 0, "+02:00": 2 * time.Hour, "-03:30": -7 * time.Hour / 2, "+02:03": 2*time.Hour + 3*time.Minute, "+14:00": 14 * time.Hour, "-12:00": -12 * time.Hour} {
		if got, known, err := clockOf(text); err != nil || !known || got != int64(want) {
			t.Errorf("%q: %d ns, known %v, %v; want %v", text, got, known, err, want)
		}
	}
	if _, known, err := clockOf(clockAuto); known || err != nil {
		t.Errorf("auto says how the clock goes: %v, %v", known, err)
	}
	for _, text := range []string{"CET", "2", "+2", "+0200", "UTC", "+02:61", "+99:00", "+24:00", "+14:01", "-12:01"} {
		if _, _, err := clockOf(text); err == nil {
			t.Errorf("%q is taken for a clock", text)
		}
	}
}

// TestRetimed: the middle frame is when the manifest says, others as far from it as they were.
func TestRetimed(t *testing.T) {
	c := &raw.Clip{Times: []int64{100, 0, 300, 450, 500}, Start: 90, TimeSource: "trailer"}
	got := retimed(c, 10000)
	if want := []int64{9800, 0, 10000, 10150, 10200}; !slices.Equal(got.Times, want) || got.Start != 9790 || got.TimeSource != timesByRecipe {
		t.Errorf("%+v, want times %v from 9790", got, want)
	}
	if c.Times[0] != 100 || c.Start != 90 {
		t.Errorf("the clip itself was changed: %+v", c)
	}
	for _, c := range []struct{ times, want []int64 }{ // the middle frame is damaged, and says nothing
		{[]int64{100, 200, 0, 450, 500}, []int64{9900, 10000, 0, 10250, 10300}},
		{[]int64{100, 0, 0, 450}, []int64{9650, 0, 0, 10000}},
		{[]int64{100, 0}, []int64{10000, 0}},
		{[]int64{0, 0, 0}, nil},
	} {
		if got := retimed(&raw.Clip{Times: c.times}, 10000); !slices.Equal(got.Times, c.want) {
			t.Errorf("of %v: %v, want %v", c.times, got.Times, c.want)
		}
	}
	if got := retimed(&raw.Clip{}, 10000); got.Start != 10000 || got.Times != nil {
		t.Errorf("without times it is %+v", got)
	}
}

// TestFilmTimes: a film's frames follow its date by its rate; which counts where the zone is known.
func TestFilmTimes(t *testing.T) {
	outsidetest.Program(t, "ffmpeg")
	const created = "creation_time=2024-03-19T21:04:05.5Z"
	zoned := []string{"-movflags", "use_metadata_tags", "-metadata", "com.apple.quicktime.creationdate=2024-03-19T22:04:05+0100"}
	stated := time.Date(2024, 3, 19, 21, 4, 5, 500e6, time.UTC).UnixNano()
	middle := time.Date(2024, 3, 19, 20, 0, 0, 0, time.UTC).UnixNano()
	for _, c := range []struct {
		name  string
		file  string
		codec []string
		clock string
		taken int64
		first int64 // of frames a twenty-fifth of a second apart; 0: no times
		by    string
	}{
		{"not believed", "a.mkv", []string{"-metadata", created}, clockAuto, 0, 0, ""},
		{"by UTC", "a.mkv", []string{"-metadata", created}, clockUTC, 0, stated, timesByClock},
		{"two hours ahead", "a.mkv", []string{"-metadata", created}, "+02:00", 0, stated - 2*int64(time.Hour), timesByClock},
		{"with its zone", "a.mov", append(zoned, "-metadata", created), "+02:00", 0, stated - 500e6, "header"},
		{"the manifest's middle", "a.mkv", []string{"-metadata", created}, clockAuto, middle, middle - 3*40e6, timesByRecipe},
		{"never set", "a.mkv", nil, clockUTC, 0, 0, ""},
	} {
		b := pipelinetest.New()
		path := shot(t, c.file, "gray", noise(7*32*16), append([]string{"-c:v", map[string]string{"a.mkv": "ffv1", "a.mov": "png"}[c.file], "-r", "25"}, c.codec...)...)
		in := map[string][]any{"file": {pipelinetest.Film{Path: path, Programs: tools{t: t}}}}
		r, err := b.Run(t, filmPart(pipeline.Item{}, sourceSettings{encodingAuto, "ffmpeg"}), in)
		if err != nil {
			t.Fatal(err)
		}
		var s source
		r.Table("source", &s)
		in["source"] = []any{r.Stored("source")}
		if r, err = b.Run(t, layFilmPart(pipeline.Item{}, pipeline.Value{}, s, "ffmpeg"), in); err != nil {
			t.Fatal(err)
		}
		var l laid
		r.Table("laid", &l)
		set := asked{partSettings: auto, clock: c.clock}
		if c.taken != 0 {
			set.taken = map[pipeline.ID]int64{{}: c.taken}
		}
		x, r := indexOf(t, s, l, r.Bytes("file"), set)
		var want []int64
		for i := range 7 {
			if c.first != 0 {
				want = append(want, c.first+int64(i)*40e6)
			}
		}
		if !slices.Equal(x.TimesUnixNS, want) || x.StartUnixNS != c.first || x.TimeSource != c.by {
			t.Errorf("%s: times %v from %d by %q, want %v by %q", c.name, x.TimesUnixNS, x.StartUnixNS, x.TimeSource, want, c.by)
		}
		if told := r.Warned("clip-without-times"); told != (c.codec == nil) { // of others the block tells why
			t.Errorf("%s: warned that it has no time: %v", c.name, told)
		}
	}
}

// TestFilmDates: what ffprobe shows of dates.
func TestFilmDates(t *testing.T) {
	at := time.Date(2024, 3, 19, 21, 4, 5, 0, time.UTC).UnixNano()
	for _, c := range []struct {
		says  tags
		want  int64
		zoned bool
	}{
		{tags{"2024-03-19T21:04:05.000000Z", ""}, at, false},
		{tags{"", "2024-03-19T22:04:05+0100"}, at, true},
		{tags{"2020-01-01T00:00:00Z", "2024-03-19T22:04:05+01:00"}, at, true},
		{tags{"2024-03-19T21:04:05Z", "2024-03-19"}, at, false},
		{tags{"1904-01-01T00:00:00.000000Z", ""}, 0, false}, // where nothing was filled in
		{tags{"1970-01-01T00:00:00.000000Z", ""}, 0, false},
		{tags{"yesterday", "today"}, 0, false},
	} {
		if got := c.says.moment(); got.UnixNS != c.want || got.Zoned != c.zoned {
			t.Errorf("%+v: %+v, want %d, zoned %v", c.says, got, c.want, c.zoned)
		}
	}
	for rate, want := range map[string]float64{"25/1": 0.04, "30000/1001": 1001. / 30000, "0/0": 0, "": 0, "1/0": 0, "-1/1": 0, "1/60": 60, "1/61": 0} {
		if got := frameSeconds(rate); got != want {
			t.Errorf("%q: %v s a frame, want %v", rate, got, want)
		}
	}
	late := source{Began: time.Date(2199, 12, 31, 0, 0, 0, 0, time.UTC).UnixNano(), FrameS: longestFrame}
	if got := late.moment(1 << 24); got.UnixNS-late.Began != 60e9*1<<24 {
		t.Errorf("the last frame of the longest film is %d ns after the first", got.UnixNS-late.Began)
	}
}

// TestPictureTimes: Exif of single pictures, as exiftool writes it.
func TestPictureTimes(t *testing.T) {
	exiftool := outsidetest.Program(t, "exiftool")
	write := func(tags ...string) []byte {
		var b bytes.Buffer
		if err := jpeg.Encode(&b, grey8(0, 10, 128, 255), nil); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(t.TempDir(), "p.jpg")
		if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		if out, err := exec.Command(exiftool, append(tags, "-q", "-overwrite_original", path)...).CombinedOutput(); err != nil {
			t.Fatalf("exiftool: %v\n%s", err, out)
		}
		out, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	at := time.Date(2024, 3, 19, 21, 4, 5, 0, time.UTC).UnixNano()
	plain := pipelinetest.Pictures{write("-DateTimeOriginal=2024:03:19 21:04:05"), write("-DateTimeOriginal=2024:03:19 21:04:06", "-SubSecTimeOriginal=5")}
	zoned := pipelinetest.Pictures{write("-DateTimeOriginal=2024:03:19 21:04:05", "-OffsetTimeOriginal=+01:00"), write("-Artist=nobody")}
	for _, c := range []struct {
		name     string
		pictures pipelinetest.Pictures
		clock    string
		want     []int64
		warning  string // beside the block's
	}{
		{"no zone", plain, clockAuto, []int64{}, ""},
		{"no zone, the clock is told", plain, "+01:00", []int64{at - 3600e9, at + 1500e6 - 3600e9}, ""},
		{"no zone, but of another than the first", slices.Concat(plain[:1], zoned[:1]), clockAuto, []int64{0, at - 3600e9}, ""},
		{"a zone", zoned, clockAuto, []int64{at - 3600e9, 0}, ""},
		{"a zone, whatever the clock", zoned, "+05:00", []int64{at - 3600e9, 0}, ""},
		{"nothing of the first", slices.Concat(zoned[1:], plain), clockAuto, []int64{}, clipsByAClock},
		{"nothing of the first, the clock is told", slices.Concat(zoned[1:], plain[:1]), clockUTC, []int64{0, at}, ""},
		{"nothing", zoned[1:], clockAuto, []int64{}, "clip-without-times"},
	} {
		s, l, frames, _, err := laidOut(t, c.pictures, encodingAuto)
		if err != nil {
			t.Fatal(err)
		}
		if s.byClock() != strings.HasPrefix(c.name, "no zone") {
			t.Errorf("%s: that it goes by a clock is %v", c.name, s.byClock())
		}
		x, r := indexOf(t, s, l, frames, asked{partSettings: auto, clock: c.clock})
		if !slices.Equal(x.TimesUnixNS, c.want) {
			t.Errorf("%s: %v, want %v", c.name, x.TimesUnixNS, c.want)
		}
		for _, code := range []string{clipsByAClock, "clip-without-times"} {
			if r.Warned(code) != (code == c.warning) {
				t.Errorf("%s: %v, want %q", c.name, r.Warnings, c.warning)
			}
		}
	}
}
