package panels

import (
	"bytes"
	"strings"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/format/panel"
)

// stackTables are tables of a panel of 20×16 px, as a stack of three frames makes them.
func stackTables() []panel.Table {
	return []panel.Table{
		{Name: "panel", JSON: []byte(`{"width":20,"height":16,"frames_total":3,"frames_kept":2,"noise_sigma":0.001,"mid_unix_ns":1774640848000000000,"sky_only":false,"channels":1,"reference_x":0,"reference_y":-1,"px_per_sensor_px":1,"channel_noise_sigma":0.001,"limit_cycles_per_px":0.43}`)},
		{Name: "spectrum", JSON: []byte(`{"bands":[{"cycles_per_px":0.03,"power":1575.9,"correlation":0.99,"samples":107.35},{"cycles_per_px":0.4,"power":-3,"correlation":-0.02,"samples":9}]}`)},
		{Name: "light", JSON: []byte(`{"wavelength_nm":807}`)},
		{Name: "index", JSON: []byte(`{"layout":{"width":20},"frames":3,"times_unix_ns":[1774640836000000000,0,1774640837200000000],"start_unix_ns":1774640836000000000,"level":0.1,"cut_short":false}`)},
		{Name: "frames", JSON: []byte(`{"grade":[0.8,0,1.1],"cells":{"nx":2,"ny":1,"grade":[[0.7,0.8],[],[1.1,1.2]]},"shift":[[0,0],[0,0],[1.5,-2]],"gain":[1,0,1],"fit":[1,0,0.9],"rejected":[{"frame":1,"reason":"dark"}],"reference":2,"level":[0.1,0,0.1]}`)},
		{Name: "track", JSON: []byte(`{"frames":[0,2],"shift":[[0.4,-0.8],[1.9,-2]]}`)},
		{Name: "finest", JSON: []byte(`{"width":20,"height":16,"window_px":8,"nx":2,"ny":1,"x0":3.5,"y0":7.5,"step_x":6,"step_y":0,"limit_cycles_per_px":[0.42,0]}`)},
	}
}

// A table that later steps would stumble over is refused, and one line says which, and what of it.
func TestTablesThatAreNone(t *testing.T) {
	for _, c := range []struct{ table, from, to, want string }{
		{"panel", `"width":20`, `"width":21`, "panel: width is 21, and the panel has 20"},
		{"panel", `"channels":1`, `"channels":2`, "panel: channels is 2"},
		{"panel", `{"width":20`, `{"width`, "panel: "},
		{"panel", `"frames_total":3`, `"frames_total":1000000000000`, "panel: frames_total is 1000000000000, and may be 0 to 2147483647"},
		{"panel", `"frames_kept":2`, `"frames_kept":-7`, "panel: frames_kept is -7, and may be 0 to 3"},
		{"panel", `"frames_kept":2`, `"frames_kept":4`, "panel: frames_kept is 4"},
		{"panel", `1774640848000000000`, `-9223372036854775808`, "panel: mid_unix_ns is -9223372036854775808"},
		{"panel", `"px_per_sensor_px":1`, `"px_per_sensor_px":-1`, "panel: px_per_sensor_px is -1"},
		{"panel", `"noise_sigma":0.001`, `"noise_sigma":"low"`, "panel: noise_sigma is a string"},
		{"spectrum", `"cycles_per_px":0.4`, `"cycles_per_px":0.01`, "spectrum: bands[1].cycles_per_px is 0.01, and may be 0.03 to 1"},
		{"spectrum", `"samples":9`, `"samples":-9`, "spectrum: bands[1].samples is -9"},
		{"light", `807`, `-807`, "light: wavelength_nm is -807"},
		{"index", `"frames":3`, `"frames":-1`, "index: frames is -1, and the panel has 3"},
		{"index", `1774640836000000000,0,`, `0,`, "index: times_unix_ns has 2 entries, and should have 3"},
		{"index", `,0,`, `,-5,`, "index: times_unix_ns[1] is -5"},
		{"frames", `[0.8,0,1.1]`, `[]`, ""},
		{"frames", `[0.8,0,1.1]`, `[0.8,0]`, "frames: grade has 2 entries, and should have 3"},
		{"frames", `"nx":2`, `"nx":900000`, "frames: cells.nx is 900000"},
		{"frames", `[1.1,1.2]`, `[1.1]`, "frames: cells.grade[2] has 1 entries, and should have 2"},
		{"frames", `"frame":1`, `"frame":3`, "frames: rejected[0].frame is 3, and may be 0 to 2"},
		{"frames", `"reference":2`, `"reference":-1`, "frames: reference is -1"},
		{"frames", `[1.5,-2]`, `[1.5,-2e30]`, "frames: shift[1] is -2e+30"},
		{"track", `[0,2]`, `[0,3]`, "track: frames[1] is 3"},
		{"track", `[0,2]`, `[2,0]`, "track: frames[1] is 0, after 2"},
		{"track", `[0,2]`, `[2]`, "track: shift has 2 entries, and should have 1"},
		{"finest", `[0.42,0]`, `[]`, "finest: limit_cycles_per_px has 0 entries, and should have 2"},
		{"finest", `"nx":2`, `"nx":-5`, "finest: nx is -5, and may be 0 to 20"},
		{"finest", `"nx":2`, `"nx":1000000000`, "finest: nx is 1000000000"},
		{"finest", `"step_x":6`, `"step_x":-6`, "finest: step_x is -6"},
		{"finest", `"width":20`, `"width":0`, "finest: width is 0, and the panel has 20"},
		{"finest", `{"width"`, `[1,{"width"`, "finest: "},
		{"finest", `0.42`, `1e999`, "finest: limit_cycles_per_px"},
	} {
		file := ownFile(t, ownPanel(func(p *panel.Panel) {
			p.Tables = stackTables()
			for i, q := range p.Tables {
				if q.Name == c.table {
					p.Tables[i].JSON = bytes.Replace(q.JSON, []byte(c.from), []byte(c.to), 1)
					if bytes.Equal(q.JSON, p.Tables[i].JSON) {
						t.Errorf("%s has no %s", c.table, c.from)
					}
				}
			}
		}))
		_, err := pipelinetest.New().Run(t, pipeline.Part{Name: "read", Run: runRead}, map[string][]any{"file": {pipelinetest.File(file)}})
		if c.want == "" {
			if err != nil {
				t.Errorf("%s with %s for %s: %v", c.table, c.to, c.from, err)
			}
			continue
		}
		if err == nil || !strings.Contains(err.Error(), "its table "+c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s with %s for %s: error %v, want one line with %q", c.table, c.to, c.from, err, c.want)
		}
	}
}

// A panel of one of our own may be as large as any other, and as its stack's scale makes it.
func TestLargestOwnPanel(t *testing.T) {
	for _, c := range []struct {
		json string
		ok   bool
	}{
		{`{"width":15000,"height":10000,"channels":1}`, true},
		{`{"width":15000,"height":10001,"channels":1}`, false},
		{`{"width":15000,"height":10001,"channels":1,"px_per_sensor_px":1.5}`, true},
		{`{"width":1000000,"height":1000000,"channels":1,"px_per_sensor_px":2}`, false},
	} {
		var p panelTable
		var w tableCheck
		decoded(&w, []byte(c.json), func(q panelTable) { p = q })
		if err := checkTable(panel.Table{Name: "panel", JSON: []byte(c.json)}, &p); w.err != nil || (err == nil) != c.ok {
			t.Errorf("%s: %v, %v", c.json, err, w.err)
		}
	}
}
