package pipeline

import (
	"bytes"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plenilune/cache"

	"plenilune/pipeline/boundtest"
)

func (b *bench) record() []byte {
	b.t.Helper()
	got, err := os.ReadFile(filepath.Join(b.dir, "out", "sum.txt"))
	if err != nil {
		b.t.Fatal(err)
	}
	return got[bytes.IndexByte(got, '{'):]
}

func TestRecordTellsTheLineage(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha", "b": "beta"})
	b.must(fakeManifest, Options{})
	r, err := ParseRecord(b.record())
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Parts) != 4 || len(r.Captures) != 2 {
		t.Fatalf("%d parts and %d captures, want 4 and 2", len(r.Parts), len(r.Captures))
	}
	made := map[ID]bool{}
	for _, c := range r.Captures {
		made[c.ID] = true
	}
	if want := cache.Sum([]byte("alpha")); !made[want] {
		t.Errorf("the capture %s is missing", want)
	}
	for _, p := range r.Parts { // each after those it depends on
		l, err := p.Line()
		if err != nil {
			t.Fatal(err)
		}
		for _, in := range l.Inputs {
			id, err := cache.ParseID(in[1])
			if err != nil || !made[id] {
				t.Errorf("%s reads %s before anything made it", l.Part, in[1])
			}
		}
		for _, id := range p.Outputs {
			made[id] = true
		}
	}
	last := r.Parts[len(r.Parts)-1]
	if r.Output.Key != last.Key || r.Output.Port != "file" || r.Output.ID != last.Outputs["file"] {
		t.Errorf("the output %+v is not that of the last part", r.Output)
	}
	if s := string(b.record()); strings.Contains(s, b.dir) || strings.Contains(s, "alpha") {
		t.Error("the record holds a path or a name")
	}
}

func TestRecordsAreEqualFromRunToRun(t *testing.T) {
	a := newBench(t, map[string]string{"a": "alpha", "b": "beta"})
	b := newBench(t, map[string]string{"x/zz": "beta", "y": "alpha"})
	if err := os.Rename(filepath.Join(b.dir, "clips", "x", "zz"), filepath.Join(b.dir, "clips", "zz")); err != nil {
		t.Fatal(err)
	}
	a.must(fakeManifest, Options{Jobs: 2})
	b.must(fakeManifest, Options{Jobs: 7})
	if !bytes.Equal(a.record(), b.record()) {
		t.Errorf("records differ:\n%s\n%s", a.record(), b.record())
	}
}

func TestAlteredRecordIsFoundOut(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha"})
	b.must(fakeManifest, Options{})
	good := b.record()
	for old, with := range map[string]string{`set glue \"-\"`: `set glue \"+\"`, `"plenilune_record":1`: `"plenilune_record":2`, "{": "["} {
		bad := bytes.Replace(good, []byte(old), []byte(with), 1)
		if bytes.Equal(bad, good) {
			t.Fatalf("the record does not hold %s", old)
		}
		if _, err := ParseRecord(bad); err == nil {
			t.Errorf("a record with %s was believed", with)
		}
	}
}

func FuzzParseRecord(f *testing.F) {
	r := Record{Version: 1}
	text := "plenilune action 1\npart a/b 1\nset x 1\nin p " + strings.Repeat("0", 64) + "\nout q\n"
	r.Parts = append(r.Parts, RecordPart{Key: cache.Sum([]byte(text)), Text: text, Outputs: map[string]ID{"q": {}}})
	b, err := json.Marshal(r)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(b)
	f.Add([]byte(`{"plenilune_record":1,"parts":[{"text":""}]}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		var r Record
		var err error
		boundtest.Memory(t, len(b), boundtest.MemoryEach, func() { r, err = ParseRecord(b) })
		if err != nil {
			return
		}
		for _, p := range r.Parts {
			if _, err := p.Line(); err != nil {
				t.Errorf("a part that was accepted cannot be shown: %v", err)
			}
		}
	})
}

// What two captures tell of how they were made is told once each, the older first, down to the captures of their own.
func TestLineageIsGathered(t *testing.T) {
	c, err := cache.Open(t.Context(), filepath.Join(t.TempDir(), "cache"), cache.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	text := func(s string) RecordPart {
		b := []byte("plenilune action 1\npart " + s + " 1\n")
		return RecordPart{Key: cache.Sum(b), Text: string(b), Outputs: map[string]ID{}}
	}
	shared, first, second, older := text("a/shared"), text("a/first"), text("a/second"), text("a/older")
	clip := RecordCapture{cache.Sum([]byte("clip")), 4}
	var told lineageOf
	for i, r := range []Record{
		{Version: recordVersion, Output: RecordOutput{Key: first.Key, Port: "p"}, Parts: []RecordPart{shared, first}, Captures: []RecordCapture{clip},
			Lineage: &RecordLineage{Made: []LineageOf{{Capture: clip.ID}}, Parts: []RecordPart{older}}},
		{Version: recordVersion, Output: RecordOutput{Key: second.Key, Port: "p"}, Parts: []RecordPart{shared, second}, Captures: []RecordCapture{clip}},
	} {
		b, err := r.encode()
		if err != nil {
			t.Fatal(err)
		}
		id, err := writeStream(cacheStore{c}, func(w io.Writer) error {
			_, err := w.Write(b)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		file := &inputFile{id: cache.Sum([]byte{byte(i)})}
		told.node(c, &node{part: Part{Lineage: "record", In: []Input{{"file", Value{file: file}}}}, outs: map[string]ID{"record": id}})
	}
	l := told.all()
	if told.err != nil || l == nil || len(l.Made) != 3 || l.Made[0].Output.Key != first.Key || l.Made[2].Output.Key != second.Key ||
		len(l.Captures) != 1 || len(l.Parts) != 4 || l.Parts[0].Key != older.Key || l.Parts[1].Key != shared.Key {
		t.Errorf("%+v, %v", l, told.err)
	}
	altered := *l
	altered.Parts = []RecordPart{{Key: older.Key, Text: shared.Text}}
	b, err := Record{Version: recordVersion, Lineage: &altered}.encode()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := ParseRecord(b); err == nil {
		t.Error("an altered lineage was read")
	}
}
