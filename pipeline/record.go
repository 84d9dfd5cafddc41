package pipeline

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"slices"

	"plenilune/cache"
)

// recordVersion is the layout of Record as JSON.
const recordVersion = 1

// Record is the provenance of one value: the graph of parts that made it, each
// with its action text, and the captures at the graph's leaves. It holds no
// time, path, host or name, so that equal work gives equal bytes.
type Record struct {
	Version  int             `json:"plenilune_record"`
	Output   RecordOutput    `json:"output"`
	Parts    []RecordPart    `json:"parts"` // each after those it depends on
	Captures []RecordCapture `json:"captures"`
	Lineage  *RecordLineage  `json:"lineage,omitempty"` // what is known of how the captures were made
}

// RecordLineage is what captures that this program made earlier, such as panels, tell of themselves: it was not done anew.
type RecordLineage struct {
	Made     []LineageOf     `json:"made"`
	Parts    []RecordPart    `json:"parts"` // each after those it depends on
	Captures []RecordCapture `json:"captures"`
}

// LineageOf says which value a capture holds.
type LineageOf struct {
	Capture ID           `json:"capture"`
	Output  RecordOutput `json:"output"`
}

// RecordOutput points at the value that the record is about.
type RecordOutput struct {
	Key  ID     `json:"key"`
	Port string `json:"port"`
	ID   ID     `json:"id"`
}

// RecordPart is one part. Key is the SHA-256 of Text.
type RecordPart struct {
	Key      ID            `json:"key"`
	Text     string        `json:"text"`
	Outputs  map[string]ID `json:"outputs"`
	Facts    []Fact        `json:"facts,omitempty"`
	Warnings []Warning     `json:"warnings,omitempty"`
}

// RecordCapture is a file that the user put in.
type RecordCapture struct {
	ID    ID    `json:"id"` // SHA-256 of the file
	Bytes int64 `json:"bytes"`
}

// recordOf walks the graph behind a value; every part in it has settled.
func recordOf(c *cache.Cache, v Value) (Record, error) {
	r := Record{Version: recordVersion}
	if v.node != nil {
		r.Output = RecordOutput{v.node.key, v.port, v.node.outs[v.port]}
	}
	var told lineageOf
	seen := map[ID]bool{}
	var visit func(v Value)
	visit = func(v Value) {
		if v.file != nil {
			if !seen[v.file.id] {
				seen[v.file.id] = true
				r.Captures = append(r.Captures, RecordCapture{v.file.id, v.file.size})
			}
			return
		}
		if v.node == nil || seen[v.node.key] {
			return
		}
		seen[v.node.key] = true
		for _, in := range v.node.part.In {
			visit(in.Value)
		}
		r.Parts = append(r.Parts, RecordPart{v.node.key, string(v.node.text), v.node.outs,
			v.node.notes.Facts, v.node.notes.Warnings})
		told.node(c, v.node)
	}
	visit(v)
	r.Lineage = told.all()
	return r, told.err
}

func (r Record) encode() ([]byte, error) {
	b, err := json.Marshal(r)
	if err != nil {
		return nil, fmt.Errorf("encode record: %w", err)
	}
	return b, nil
}

// encodedRecord is the record of a value, and its bytes.
func encodedRecord(c *cache.Cache, v Value) (Record, []byte, error) {
	r, err := recordOf(c, v)
	if err != nil {
		return r, nil, err
	}
	b, err := r.encode()
	return r, b, err
}

// ParseRecord reads an embedded record and proves that every key in it is the
// SHA-256 of its text.
func ParseRecord(b []byte) (Record, error) {
	var r Record
	if crowded(b) {
		return r, errors.New("read record: it lists more things than its length has room for")
	}
	if err := json.Unmarshal(b, &r); err != nil {
		return r, fmt.Errorf("read record: %w", err)
	}
	if r.Version != recordVersion {
		return r, fmt.Errorf("read record: it has layout %d, this program reads %d", r.Version, recordVersion)
	}
	parts := r.Parts
	if r.Lineage != nil {
		parts = slices.Concat(parts, r.Lineage.Parts)
	}
	for _, p := range parts {
		if got := cache.Sum([]byte(p.Text)); got != p.Key {
			return r, fmt.Errorf("read record: the text of part %s has the SHA-256 %s: the record was altered", p.Key, got)
		}
		if _, err := parseAction([]byte(p.Text)); err != nil {
			return r, fmt.Errorf("read record: part %s: %w", p.Key, err)
		}
	}
	return r, nil
}

// crowded tells JSON that is made to take many times its length of memory, by lists of empty things. What this program writes has
// more than a hundred bytes for each.
func crowded(b []byte) bool {
	const least = 64
	return bytes.Count(b, []byte("{"))+bytes.Count(b, []byte("null")) > least+len(b)/least
}

// RecordLine is one part of a record, taken apart for showing.
type RecordLine struct {
	Part, Version string
	Settings      [][2]string
	Inputs        [][2]string // port, id
}

// Line takes the part's text apart.
func (p RecordPart) Line() (RecordLine, error) {
	a, err := parseAction([]byte(p.Text))
	if err != nil {
		return RecordLine{}, err
	}
	l := RecordLine{Part: a.part, Version: a.version}
	for _, s := range a.set {
		l.Settings = append(l.Settings, [2]string{s.name, s.value})
	}
	for _, s := range a.in {
		l.Inputs = append(l.Inputs, [2]string{s.name, s.value})
	}
	return l, nil
}
