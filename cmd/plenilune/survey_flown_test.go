//go:build unix

package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plenilune/steps/survey"
)

// flownNight is a night of a camera so small that it is made in seconds.
const flownNight = `
night {
  mount = "%s"
  site {
    latitude_deg  = 47.4
    longitude_deg = 8.5
  }
  telescope {
    aperture_mm     = 30
    focal_length_mm = 90.5
  }
  camera {
    pixel_um  = 2.9
    width_px  = 144
    height_px = 132
    angle_deg = %d
  }
  survey {
    pointing_error_arcmin = %g
    overlap               = %g
  }
}
`

// The panels that a survey tells, shot at their times with the errors of aim that it was told of, close the disk 99 times of 100:
// every clip is made, stacked and placed. All flights take minutes; without them it is one, whose panels hang together by strips of a
// sixth of their width, and which came apart before points held such.
func TestFlownGridsClose(t *testing.T) {
	t.Parallel()
	type kind struct {
		mount   string
		camera  int
		error   float64
		overlap float64
	}
	kinds, from, to := []kind{{"equatorial", 0, 0.5, 0.15}}, uint64(5), uint64(6)
	if long() {
		kinds, from, to = append(kinds, kind{"altaz", 20, 0.5, 0.3}, kind{"altaz", 65, 1, 0.3}, kind{"equatorial", 33, 1, 0.5}), 0, 25
	}
	open, flights := 0, 0
	for _, k := range kinds {
		for seed := from; seed < to; seed++ {
			flights++
			if why := flyOnce(t, fmt.Sprintf(flownNight, k.mount, k.camera, k.error, k.overlap), seed); why != "" {
				open++
				t.Logf("%+v, flight %d: %s", k, seed, why)
			}
		}
	}
	t.Logf("%d of %d flights left the disk open", open, flights)
	if 100*open > flights {
		t.Errorf("%d of %d flights left the disk open", open, flights)
	}
}

// flyOnce shoots the grid of a night and runs what comes of it; it says what of the disk is missing.
func flyOnce(t *testing.T, recipe string, seed uint64) (why string) {
	t.Helper()
	dir, err := os.MkdirTemp(t.TempDir(), "flight")
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(dir)
	manifest := filepath.Join(dir, "night.hcl")
	if err := os.WriteFile(manifest, []byte(recipe), 0o666); err != nil {
		t.Fatal(err)
	}
	var said bytes.Buffer
	m, err := (&surveyFlags{}).load(&said, manifest)
	if err != nil {
		t.Fatal(err)
	}
	day, err := survey.ParseDay("2027-03-19")
	if err != nil {
		t.Fatal(err)
	}
	r, err := survey.Plan(m.Night, day)
	if err != nil || r.Grid == nil {
		t.Fatalf("no grid: %v, %v", r, err)
	}
	if _, err := flight(r, m.Night, rand.New(rand.NewPCG(seed, 27))).Shoot(t.Context(), folderSink{dir}, nil); err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if code := run([]string{"new", filepath.Join(dir, "clips"), "-o", manifest, "--force"}, &out, &said); code != exitDone {
		t.Fatalf("flight %d: new ended with %d: %s", seed, code, &said)
	}
	out.Reset()
	code := run([]string{"run", manifest, "--only", "mosaic.disk", "--cache", filepath.Join(dir, "cache"), "--json"}, &out, &said)
	if code == exitFailed {
		return "a part of the run failed: " + said.String()
	}
	if code != exitDone {
		t.Fatalf("flight %d: run ended with %d: %s", seed, code, &said)
	}
	return openGround(t, &out)
}

// openGround reads in what a run said whether the whole sunlit disk is shown.
func openGround(t *testing.T, out *bytes.Buffer) (why string) {
	t.Helper()
	shown := false
	for line := range strings.Lines(out.String()) {
		var o struct {
			Event, Code, Text string
			Facts             map[string]any
		}
		if err := json.Unmarshal([]byte(line), &o); err != nil {
			t.Fatalf("%s: %v", line, err)
		}
		if o.Event == "warning" && (o.Code == "hole" || o.Code == "disk-open") {
			why = o.Text
		}
		if f, ok := o.Facts["sunlit_shown"].(map[string]any); ok {
			shown = f["value"] == 100.0
		}
	}
	if why == "" && !shown {
		return "not all of the sunlit ground is shown"
	}
	return why
}
