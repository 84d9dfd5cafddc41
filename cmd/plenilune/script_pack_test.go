package main

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// packedFiles takes a pack apart, in its order.
func packedFiles(file string) (names []string, bodies map[string][]byte, err error) {
	z, err := zip.OpenReader(file)
	if err != nil {
		return nil, nil, err
	}
	defer z.Close()
	bodies = map[string][]byte{}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			return nil, nil, err
		}
		if bodies[f.Name], err = io.ReadAll(r); err != nil {
			return nil, nil, err
		}
		names = append(names, f.Name)
	}
	return names, bodies, nil
}

// scriptPrivate fails if a pack, as it stands or inflated, holds one of the texts, the host's name, or the script's own folder:
// private PACK TEXT….
func scriptPrivate(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 1 {
		ts.Fatalf("usage: private PACK TEXT...")
	}
	names, bodies, err := packedFiles(ts.MkAbs(args[0]))
	ts.Check(err)
	whole, err := os.ReadFile(ts.MkAbs(args[0]))
	ts.Check(err)
	bodies["the archive"], names = whole, append(names, "the archive")
	texts := append(args[1:], ts.Getenv("WORK"))
	if host, err := os.Hostname(); err == nil && len(host) > 5 && host != "localhost" {
		texts = append(texts, host)
	}
	if home, err := os.UserHomeDir(); err == nil && len(home) > 5 {
		texts = append(texts, home)
	}
	for _, name := range names {
		for _, text := range texts {
			if bytes.Contains(bodies[name], []byte(text)) || strings.Contains(name, text) {
				ts.Fatalf("%s holds %q", name, text)
			}
		}
	}
}

// scriptRepack changes a pack as a stranger may: repack PACK edit FILE OLD NEW replaces a text in a file of it and makes pack.json agree;
// repack PACK add NAME TEXT adds a file; repack PACK link NAME TARGET adds a link.
func scriptRepack(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 4 {
		ts.Fatalf("usage: repack PACK edit FILE OLD NEW | add NAME TEXT | link NAME TARGET")
	}
	names, bodies, err := packedFiles(ts.MkAbs(args[0]))
	ts.Check(err)
	link := ""
	switch args[1] {
	case "edit":
		with := bytes.ReplaceAll(bodies[args[2]], []byte(args[3]), []byte(args[4]))
		if bytes.Equal(with, bodies[args[2]]) {
			ts.Fatalf("%s does not hold %q", args[2], args[3])
		}
		if bodies[args[2]] = with; args[2] != "pack.json" {
			bodies["pack.json"], err = relisted(bodies["pack.json"], args[2], with)
			ts.Check(err)
		}
	case "add", "link":
		names, bodies[args[2]] = append(names, args[2]), []byte(args[3])
		if args[1] == "link" {
			link = args[2]
		}
	}
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, name := range names {
		h := &zip.FileHeader{Name: name, Method: zip.Deflate}
		if name == link {
			h.SetMode(fs.ModeSymlink | 0o777)
		}
		w, err := z.CreateHeader(h)
		ts.Check(err)
		_, err = w.Write(bodies[name])
		ts.Check(err)
	}
	ts.Check(z.Close())
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), b.Bytes(), 0o666))
}

// relisted is pack.json with another content of one file.
func relisted(index []byte, name string, body []byte) ([]byte, error) {
	var x map[string]any
	if err := json.Unmarshal(index, &x); err != nil {
		return nil, err
	}
	for _, f := range x["files"].([]any) {
		if f := f.(map[string]any); f["name"] == name {
			f["bytes"], f["id"] = len(body), fmt.Sprintf("%x", sha256.Sum256(body))
		}
	}
	return json.Marshal(x)
}

// Equal pixels make equal previews, and small ones.
func TestPackLook(t *testing.T) {
	a, ending, err := packLook("../../testdata/readme/disk.jpg")
	if err != nil || ending != ".jpg" || len(a) == 0 || len(a) > 200_000 {
		t.Fatalf("a preview of %d bytes with the ending %q: %v", len(a), ending, err)
	}
	if b, _, err := packLook("script_pack_test.go"); err != nil || b != nil {
		t.Errorf("of what is no picture there is a preview of %d bytes: %v", len(b), err)
	}
}
