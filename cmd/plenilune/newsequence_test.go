package main

import (
	"bytes"
	"fmt"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"plenilune/steps/format/formattest"
	"plenilune/steps/format/raw"
)

// FITS files of one frame each are a clip if many are named alike; cubes are clips each, however they are named, and so are few.
func TestPicturesOrClipsOfFITS(t *testing.T) {
	dir := t.TempDir()
	put := func(name string, frames int) {
		b, err := formattest.FITS(formattest.Scene(8, 6, frames, 8, raw.Mono), formattest.FITSOptions{Bits: 8})
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for i := range 10 {
		put(fmt.Sprintf("alone/s_%d.fits", i), 1)
		put(fmt.Sprintf("mixed/s_%d.fit", i), 1)
		put(fmt.Sprintf("mixed/cube_%d.fits", i), 2)
	}
	put("few/s_1.fits", 1)
	put("few/s_2.fits", 1)
	put("dark/d_1.fits", 1)
	put("dark/d_2.fits", 1)
	s := newSearch(dir)
	s.walk(dir, clipRole)
	var got []string
	for _, f := range s.files {
		rel, err := filepath.Rel(dir, f.path)
		if err != nil {
			t.Fatal(err)
		}
		if q := f.sequence; q != nil {
			rel += fmt.Sprintf(" of %d, folder %t", len(q.Pictures), q.folder)
		}
		got = append(got, filepath.ToSlash(rel))
	}
	want := []string{"alone of 10, folder true", "dark of 2, folder true", "few/s_1.fits", "few/s_2.fits", "mixed/s_#.fit of 10, folder false"}
	for i := range 10 {
		want = append(want, fmt.Sprintf("mixed/cube_%d.fits", i))
	}
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) || len(s.leftOut) > 0 {
		t.Errorf("found %q, want %q; left out %v", got, want, s.leftOut)
	}
}

// What new writes takes every picture of its clips and none besides, whatever else is named alike.
func TestManifestTakesEveryPicture(t *testing.T) {
	for _, c := range []struct{ names, want []string }{
		{[]string{"a_%d.png", "b_%d.png"}, []string{"a_[0-9]*.png", "b_[0-9]*.png"}},
		{[]string{"a_%d_gain10.png"}, []string{"./"}},
		{[]string{"a_%d.png", "a_1%d.PNG", "b_%d.png"}, []string{"a_[0-9]*.[Pp][Nn][Gg]", "b_[0-9]*.png"}},
		{[]string{"a_%d.png", "a_1%d.png", "b_%d.png", "a_%d_small.png"}, []string{"a_[0-9].png", "a_[0-9][0-9].png", "b_[0-9]*.png"}},
	} {
		dir := t.TempDir()
		for _, name := range c.names {
			for i := range 10 {
				side := 8
				if strings.Contains(name, "small") {
					side = 4
				}
				var b bytes.Buffer
				if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, side, side))); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf(name, i)), b.Bytes(), 0o600); err != nil {
					t.Fatal(err)
				}
			}
		}
		n, err := surveyFolder(dir, givenFrames{})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := n.manifest(filepath.Join(dir, "night.hcl")); err != nil { // which proves what it takes
			t.Errorf("%q: %v", c.names, err)
		}
		if holdsPanels(dir) {
			t.Errorf("%q: taken for panels", c.names)
		}
		var said bytes.Buffer
		n.tell(&said)
		if one := len(n.clips) == 1; strings.Contains(said.String(), "plenilune new --panels") != one {
			t.Errorf("%q: told %q", c.names, said.String())
		}
		got, err := sequencePatterns(dir, n.clips)
		if err != nil || !slices.Equal(got, c.want) {
			t.Errorf("%q: patterns %q, want %q; %v", c.names, got, c.want, err)
		}
	}
}
