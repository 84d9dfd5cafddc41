package main

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// viewed serves a folder until the test ends, and returns its address.
func viewed(t *testing.T, dir string, at place) net.Addr {
	t.Helper()
	root, err := pagesIn(dir)
	if err != nil {
		t.Fatal(err)
	}
	l, err := at.open()
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- serve(ctx, l, folderHandler{root.FS()}) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; !errors.Is(err, errServed) {
			t.Errorf("the server ended with %v", err)
		}
		root.Close()
	})
	return l.Addr()
}

func pagesFolder(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range map[string]string{"disk/index.html": "<p>the disk", "disk/tiles/full/max/0/default.jpg": "jpeg", "disk/.hidden": "hidden", "secret.txt": "secret"} {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink(filepath.Join(dir, "secret.txt"), filepath.Join(dir, "disk", "way-out.txt")); err != nil {
		t.Log(err) // not every system lets one make them
	}
	return filepath.Join(dir, "disk")
}

// ask sends a request as it is written, since http.Client would tidy paths up.
func ask(t *testing.T, at net.Addr, method, path, host string) (status string, head, body string) {
	t.Helper()
	c, err := net.Dial("tcp", at.String())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if _, err := io.WriteString(c, method+" "+path+" HTTP/1.1\r\nHost: "+host+"\r\nConnection: close\r\n\r\n"); err != nil {
		t.Fatal(err)
	}
	b, err := io.ReadAll(c)
	if err != nil {
		t.Fatal(err)
	}
	head, body, _ = strings.Cut(string(b), "\r\n\r\n")
	status, _, _ = strings.Cut(head, "\r\n")
	return strings.TrimPrefix(status, "HTTP/1.1 "), head, body
}

func TestViewServesTheFolderAndNothingElse(t *testing.T) {
	at := viewed(t, pagesFolder(t), place{})
	own := at.String()
	if !strings.HasPrefix(own, "127.0.0.1:") {
		t.Fatalf("it listens on %s", own)
	}
	_, port, _ := net.SplitHostPort(own)
	for _, c := range []struct{ method, path, host, status string }{
		{"GET", "/", own, "200 OK"},
		{"HEAD", "/index.html", own, "200 OK"},
		{"GET", "/", "localhost:" + port, "200 OK"},
		{"GET", "/tiles/full/max/0/default.jpg", own, "200 OK"},
		{"GET", "/tiles", own, "404 Not Found"},
		{"GET", "/../secret.txt", own, "404 Not Found"},
		{"GET", "/%2e%2e/secret.txt", own, "404 Not Found"},
		{"GET", "/tiles/..%2f..%2fsecret.txt", own, "404 Not Found"},
		{"GET", `/..\secret.txt`, own, "404 Not Found"},
		{"GET", "/way-out.txt", own, "404 Not Found"},
		{"GET", "/.hidden", own, "404 Not Found"},
		{"GET", "//etc/passwd", own, "404 Not Found"},
		{"POST", "/", own, "405 Method Not Allowed"},
		{"DELETE", "/index.html", own, "405 Method Not Allowed"},
		{"GET", "/", "moon.example:" + port, "403 Forbidden"},
		{"GET", "/", "127.0.0.1", "403 Forbidden"},
		{"GET", "/", "127.0.0.2:" + port, "403 Forbidden"},
	} {
		status, head, body := ask(t, at, c.method, c.path, c.host)
		if status != c.status {
			t.Errorf("%s %s of %s: %s, want %s", c.method, c.path, c.host, status, c.status)
		}
		if strings.Contains(body, "secret") || strings.Contains(body, "hidden") {
			t.Errorf("%s %s of %s gives out %q", c.method, c.path, c.host, body)
		}
		for _, s := range security {
			if !strings.Contains(head, s[0]+": "+s[1]) {
				t.Errorf("%s %s: there is no header %s", c.method, c.path, s[0])
			}
		}
	}
	if _, head, _ := ask(t, at, "GET", "/tiles/full/max/0/default.jpg", own); !strings.Contains(head, "Content-Type: image/jpeg") {
		t.Errorf("a tile comes as\n%s", head)
	}
}

// Whoever asks for it serves others too; a name that leads here is still refused.
func TestViewListensElsewhereWhenAsked(t *testing.T) {
	at := viewed(t, pagesFolder(t), place{listen: "0.0.0.0"})
	_, port, _ := net.SplitHostPort(at.String())
	loop := &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: at.(*net.TCPAddr).Port}
	for host, want := range map[string]string{"127.0.0.1:" + port: "200 OK", "192.168.7.7:" + port: "200 OK", "moon.example:" + port: "403 Forbidden"} {
		if status, _, _ := ask(t, loop, "GET", "/", host); status != want {
			t.Errorf("as %s: %s, want %s", host, status, want)
		}
	}
}

// The command prints its address, and ends well when it is told to stop.
func TestViewStops(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	root := newRoot()
	root.SetArgs([]string{"view", pagesFolder(t)})
	r, w := io.Pipe()
	var told bytes.Buffer
	root.SetOut(w)
	root.SetErr(io.Discard)
	code := make(chan int, 1)
	go func() { code <- exitCode(ctx, root.ExecuteContext(ctx), &told) }()
	line := make([]byte, 100)
	n, err := r.Read(line)
	if err != nil {
		t.Fatal(err)
	}
	url := strings.TrimSpace(string(line[:n]))
	got, err := http.Get(url)
	if err != nil {
		t.Fatalf("%s: %v", url, err)
	}
	got.Body.Close()
	cancel()
	if c := <-code; c != exitDone || told.Len() > 0 {
		t.Errorf("it ended with code %d and said %q", c, &told)
	}
	if _, err := http.Get(url); err == nil {
		t.Error("it answers after its end")
	}
}
