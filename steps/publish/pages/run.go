package pages

import (
	"encoding/json"
	"fmt"

	"plenilune/pipeline"
)

// writeRun is a script that fills in, on the report's page, what the last run computed and what came from the cache.
func writeRun(l pipeline.RunLog) []byte {
	type row struct {
		Part    string  `json:"part"`
		Ran     int     `json:"ran"`
		Cached  int     `json:"cached"`
		Failed  int     `json:"failed"`
		Seconds float64 `json:"seconds"`
	}
	out := struct {
		Ended string `json:"ended"`
		Rows  []row  `json:"rows"`
	}{Ended: l.Ended.UTC().Format("2006-01-02"), Rows: []row{}}
	for _, k := range l.Kinds {
		out.Rows = append(out.Rows, row{k.Part, k.Ran, k.Cached, k.Failed + k.Skipped, k.Seconds})
	}
	b, err := json.Marshal(out) // escapes <, > and &
	if err != nil {
		b = []byte("null") // numbers and words always encode
	}
	return fmt.Appendf(nil, "\"use strict\";\nshowRun(%s);\n", b)
}

// writeWarnings is a script that adds, to those that stand in the report's page, what else the last run warned of.
func writeWarnings(all []pipeline.Warning) []byte {
	type row struct {
		Code string `json:"code"`
		Text string `json:"text"`
	}
	out := []row{}
	for _, w := range all {
		out = append(out, row{w.Code, warningText(w.Text)})
	}
	b, err := json.Marshal(out)
	if err != nil {
		b = []byte("[]") // words always encode
	}
	return fmt.Appendf(nil, "\"use strict\";\nshowWarnings(%s);\n", b)
}
