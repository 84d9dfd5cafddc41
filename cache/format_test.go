package cache

import (
	"bytes"
	"encoding/hex"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// block returns the fenced block of FORMAT.md that is marked with a name.
func block(t *testing.T, name string) string {
	t.Helper()
	doc, err := os.ReadFile("FORMAT.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, ok := strings.Cut(string(doc), "```"+name+"\n")
	text, _, end := strings.Cut(rest, "```")
	if !ok || !end {
		t.Fatalf("FORMAT.md has no block %q", name)
	}
	return text
}

var dumpLine = regexp.MustCompile(`(?m)^([0-9a-f]{4})  ((?:[0-9a-f]{2} ?)+)(?:  .*)?$`)

// bytesOf reads a dump: offset, two spaces, bytes, and a comment after two spaces.
func bytesOf(t *testing.T, dump string) []byte {
	t.Helper()
	var out []byte
	for _, m := range dumpLine.FindAllStringSubmatch(dump, -1) {
		b, err := hex.DecodeString(strings.ReplaceAll(strings.TrimSpace(m[2]), " ", ""))
		if err != nil {
			t.Fatal(err)
		}
		var at [2]byte
		if _, err := hex.Decode(at[:], []byte(m[1])); err != nil || int(at[0])<<8|int(at[1]) != len(out) {
			t.Fatalf("line %q stands at byte %d", m[0], len(out))
		}
		out = append(out, b...)
	}
	return out
}

// dump writes bytes as FORMAT.md shows them, for the message of a failed test.
func dump(b []byte) string {
	var s strings.Builder
	for at := 0; at < len(b); at += 16 {
		s.WriteString(hex.EncodeToString([]byte{byte(at >> 8), byte(at)}) + "  ")
		for _, c := range b[at:min(at+16, len(b))] {
			s.WriteString(hex.EncodeToString([]byte{c}) + " ")
		}
		s.WriteString("\n")
	}
	return s.String()
}

func TestFormatExampleOfABlobIsWhatIsWrittenAndRead(t *testing.T) {
	c, _ := open(t, t.TempDir())
	id := putBlob(t, c, "head", false, []byte("moon"), []byte("rise"))
	written, err := os.ReadFile(c.blobPath(id))
	if err != nil {
		t.Fatal(err)
	}
	shown := bytesOf(t, block(t, "blob"))
	if !bytes.Equal(written, shown) {
		t.Errorf("FORMAT.md shows other bytes than are written:\n%s", dump(written))
	}
	list := block(t, "blob-id")
	if Sum([]byte(list)) != id {
		t.Errorf("the text in FORMAT.md hashes to %s, the blob's id is %s", Sum([]byte(list)), id)
	}
	if name := strings.TrimSpace(block(t, "blob-name")); filepath.ToSlash(c.blobPath(id)) != filepath.ToSlash(filepath.Join(c.dir, name)) {
		t.Errorf("FORMAT.md names the file %s, it is %s", name, c.blobPath(id))
	}
	// The document, read by itself: where it says the directory begins, and its chunks.
	at := int64(le.Uint64(shown[len(shown)-48:]))
	d, err := parseDirectory(shown[at:], at)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"moon", "rise"} {
		k := d.chunks[i]
		if got := string(shown[k.offset : k.offset+int64(k.stored)]); got != want || Sum([]byte(got)) != k.sum {
			t.Errorf("chunk %d is %q", i, got)
		}
	}
}

func TestFormatExampleOfTheJournalIsWhatIsWrittenAndRead(t *testing.T) {
	want := appendRecord(segmentHeader(flagBase), record{kindNote, 1_000_000_000, encodeNote("day", []byte("full moon"))})
	shown := bytesOf(t, block(t, "journal"))
	if !bytes.Equal(shown, want) {
		t.Fatalf("FORMAT.md shows other bytes than are written:\n%s", dump(want))
	}
	n := 0
	end, err := scanRecords(shown, segmentHead, func(at int, r record) error {
		n++
		if name, text, err := decodeNote(r.payload); err != nil || name != "day" || string(text) != "full moon" || at != segmentHead {
			t.Errorf("read %q %q %v at byte %d", name, text, err, at)
		}
		return nil
	}, func(from, to int) { t.Errorf("bytes %d to %d are no record", from, to) })
	if err != nil || n != 1 || end != len(shown) {
		t.Errorf("%d records up to byte %d, %v", n, end, err)
	}
}

func TestFormatExampleOfWords(t *testing.T) {
	src := bytesOf(t, block(t, "words-in"))
	want := bytesOf(t, block(t, "words-out"))
	got := make([]byte, len(src))
	splitWords(got, src)
	if !bytes.Equal(got, want) {
		t.Errorf("FORMAT.md shows\n%sgot\n%s", dump(want), dump(got))
	}
	back := make([]byte, len(src))
	joinWords(back, got)
	if !bytes.Equal(back, src) {
		t.Errorf("joined again:\n%s", dump(back))
	}
}

func TestFormatExampleOfTheState(t *testing.T) {
	s := state{word: stateClean, files: []fileSum{
		{1048576, Sum([]byte("x")).String(), "DISCARD"}, {4096, "-", "000001.vlog"},
	}}
	if got := string(s.text()); got != block(t, "state") {
		t.Errorf("FORMAT.md shows another text than\n%s", got)
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, stateFile), []byte(block(t, "state")), 0o666); err != nil {
		t.Fatal(err)
	}
	if got := readState(dir); !bytes.Equal(got.text(), s.text()) {
		t.Errorf("read back: %+v", got)
	}
	if got := block(t, "format"); got != versionText(version) {
		t.Errorf("FORMAT.md shows another format file than\n%s", versionText(version))
	}
}
