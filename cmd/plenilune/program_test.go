package main

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
)

// stub puts a program of a name before all others.
func stub(t *testing.T, name, script string) {
	t.Helper()
	if runtime.GOOS == "windows" {
		t.Skip("a program of a few lines is a shell's")
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, name), []byte("#!/bin/sh\n"+script+"\n"), 0o700); err != nil {
		t.Fatal(err)
	}
	t.Setenv("PATH", dir+string(os.PathListSeparator)+os.Getenv("PATH"))
}

func TestProgramAbsent(t *testing.T) {
	t.Setenv("PATH", t.TempDir())
	for _, name := range []string{"ffmpeg", "ffprobe"} {
		_, err := programs{}.Version(t.Context(), name)
		if err == nil || !strings.Contains(err.Error(), "is not installed here: install FFmpeg, or record clips as SER") {
			t.Errorf("%s: error %v", name, err)
		}
	}
}

func TestProgramsAreFew(t *testing.T) {
	if _, err := (programs{}).Run(t.Context(), "sh", []string{"-c", "true"}, io.Discard); err == nil || !strings.Contains(err.Error(), "no program that plenilune runs") {
		t.Error("any program may be run")
	}
}

// TestProgramVersion: libraries that were put in after the program was built decode otherwise.
func TestProgramVersion(t *testing.T) {
	stub(t, "ffprobe", `cat <<'E'
ffprobe version 5.1.9-0+deb12u1 Copyright (c) 2007-2026
built with gcc 12 (Debian 12.2.0-14+deb12u1)
configuration: --libdir=/usr/lib
libavutil      57. 28.100 / 57. 28.100
libavcodec     59. 37.100 / 59. 38.101
libavformat    59. 27.100 / 59. 27.100
libswscale      6.  7.100 /  6.  8.100
E`)
	const want = "ffprobe version 5.1.9-0+deb12u1, libavcodec 59.38.101, libavformat 59.27.100, libswscale 6.8.100"
	if v, err := (programs{}).Version(t.Context(), "ffprobe"); v != want || err != nil {
		t.Errorf("version %q, %v", v, err)
	}
}

func TestProgramSpeaks(t *testing.T) {
	stub(t, "ffmpeg", `printf 'ffmpeg version 9 Copyright (c)\nmore\n'; printf 'a\033[31mline\n' >&2; echo "$FFREPORT" >&2; [ "$1" = -version ]`)
	t.Setenv("FFREPORT", "file=/tmp/written")
	if v, err := (programs{}).Version(t.Context(), "ffmpeg"); v != "ffmpeg version 9" || err != nil {
		t.Errorf("version %q, %v", v, err)
	}
	var out bytes.Buffer
	said, err := programs{}.Run(t.Context(), "ffmpeg", []string{"3"}, &out)
	if err == nil || said != "a[31mline\n\n" || !strings.HasPrefix(out.String(), "ffmpeg version 9") {
		t.Errorf("said %q, gave %q, error %v", said, out.String(), err)
	}
}

// TestProgramEnds: one that stands still is ended, as is one whose output nobody takes, or that nobody waits for any more.
func TestProgramEnds(t *testing.T) {
	stub(t, "ffmpeg", "echo first; exec sleep 600")
	if _, err := (programs{still: 300 * time.Millisecond}).Run(t.Context(), "ffmpeg", nil, io.Discard); err == nil || !strings.Contains(err.Error(), "gave nothing for") {
		t.Errorf("error %v", err)
	}
	full := errors.New("the disk is full")
	if _, err := (programs{}).Run(t.Context(), "ffmpeg", nil, refusing{full}); !errors.Is(err, full) {
		t.Errorf("error %v", err)
	}
	ctx, stop := context.WithTimeout(t.Context(), 200*time.Millisecond)
	defer stop()
	if _, err := (programs{}).Run(ctx, "ffmpeg", nil, io.Discard); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("error %v", err)
	}
}

type refusing struct{ err error }

func (r refusing) Write([]byte) (int, error) { return 0, r.err }
