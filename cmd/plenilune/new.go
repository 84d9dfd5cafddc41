package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
)

// newFlags are those of new.
type newFlags struct {
	out         string
	given       givenFrames
	force, json bool
	panels      bool
}

// givenFrames are the paths of calibration frames that the user named.
type givenFrames struct{ darks, flats, flatDarks []string }

func newCommand() *cobra.Command {
	var f newFlags
	cmd := &cobra.Command{
		Use:   "new CLIPSDIR",
		Short: "Write a complete, commented manifest for a folder of clips",
		Long: `new reads the headers of the clips in a folder, and in the folders inside it, and
writes a manifest that runs as it is. Clips are files that end in .ser, .avi, .fits,
.fit or .fts; what they hold, they say themselves, and several kinds may be mixed.
Ten pictures or more (.png, .tif, .jpg) of a folder whose names differ in nothing but a
number are a clip, too, and films (.mp4, .mov, .mkv and more) where FFmpeg is installed.

What begins with dark or flat, a folder or a single clip, inside that folder, beside
it or one level up, is taken as dark or flat frames, and it says so. What begins with
flatdark or darkflat, and dark frames in a folder of flat frames, are taken as dark
frames for the flats, of the flats' own exposure. Of clips of several sizes, depths or
nights the commonest are taken. What is left out is listed, with why, and with how to
take it; hidden files and other files are passed over.

A folder of panels that were stacked already, by this program or by others (.fits, .tif,
.png), and of nothing else is known as such; --panels says so where it is not.`,
		Example: `  plenilune new ~/moon/clips -o ~/moon/night.hcl
  plenilune new clips --dark darks_gain10 --flat flats.ser`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return f.run(cmd.OutOrStdout(), cmd.ErrOrStderr(), args[0])
		},
	}
	fl := cmd.Flags()
	fl.StringVarP(&f.out, "out", "o", "night.hcl", "the manifest `FILE` to write")
	fl.StringArrayVar(&f.given.darks, "dark", nil, "`PATH` of a folder or clip of dark frames, instead of what is named so; may be repeated")
	fl.StringArrayVar(&f.given.flats, "flat", nil, "`PATH` of a folder or clip of flat frames, instead of what is named so; may be repeated")
	fl.StringArrayVar(&f.given.flatDarks, "flat-dark", nil, "`PATH` of a folder or clip of dark frames for the flats, instead of what is named so; may be repeated")
	fl.BoolVar(&f.panels, "panels", false, "the folder holds panels that were stacked already, a picture each")
	fl.BoolVar(&f.force, "force", false, "replace the manifest if it stands there already")
	fl.BoolVar(&f.json, "json", false, "print what is taken and left out as one JSON object a line on stdout")
	return cmd
}

func (f *newFlags) run(stdout, stderr io.Writer, dir string) error {
	if _, err := os.Stat(f.out); err == nil && !f.force {
		return requestf("%s stands there already; choose another name with -o, or say --force", f.out)
	}
	n, err := f.survey(dir)
	if n != nil && f.json {
		n.tellJSON(newScreen(stdout, stderr, true))
	} else if n != nil {
		n.tell(stderr)
	}
	if err != nil {
		return err
	}
	text, err := n.manifest(f.out)
	if err != nil {
		return err
	}
	err = os.WriteFile(f.out, text, 0o644)
	if errors.Is(err, fs.ErrNotExist) {
		return requestf("write the manifest: there is no folder %s", shown(filepath.Dir(f.out)))
	}
	if err != nil {
		return fmt.Errorf("write the manifest: %w", err)
	}
	if f.json {
		newScreen(stdout, stderr, true).object(map[string]any{"event": "written", "path": filepath.ToSlash(f.out)})
		return nil
	}
	fmt.Fprintln(stdout, filepath.ToSlash(f.out))
	return nil
}

// survey looks for clips, or for panels.
func (f *newFlags) survey(dir string) (*folderNight, error) {
	if f.panels {
		return surveyPanels(dir)
	}
	if holdsPanels(dir) {
		n, err := surveyPanels(dir)
		if n != nil {
			n.guessed = true
		}
		return n, err
	}
	return surveyFolder(dir, f.given)
}

// folderNight is what was found in a folder of clips.
type folderNight struct {
	dir          string
	title        string
	clips        []foundClip // taken, in the order of their paths
	darks, flats []foundClip
	flatDarks    []foundClip // dark frames of the flats' own exposure
	leftOut      []leftOut
	hidden       int      // files passed over because systems hide them
	byFolder     siblings // every capture, taken or not
	panels       bool     // clips are panels that were stacked already
	guessed      bool     // nobody said that they are panels
}

// foundClip is a capture whose header was read.
type foundClip struct {
	path     string
	kind     string // size, pattern and depth: what the clips of one night share
	frames   int
	declared int64 // frames
	bytes    int64
	start    int64          // Unix ns, 0 unknown
	byClock  bool           // it says when it began, and not how its camera's clock stood to UTC
	panel    bool           // one that this program stacked
	sequence *foundSequence // nil: a file
}

// leftOut is a file or folder that the manifest does not use. Those of one why
// are told together.
type leftOut struct {
	path, why string
	hint      string // how to take it all the same; may be empty
}

// surveyFolder finds the clips of one night and their calibration frames. The
// night comes back with an error, too, if what was found tells why.
func surveyFolder(dir string, given givenFrames) (*folderNight, error) {
	st, err := os.Stat(dir)
	if err != nil {
		return nil, requestf("look into the folder of clips: %v", err)
	}
	if !st.IsDir() {
		return nil, requestf("%s is not a folder; new wants the folder that holds the clips", shown(dir))
	}
	s := newSearch(dir)
	if err := s.all(given); err != nil {
		return nil, err
	}
	n := &folderNight{dir: dir, leftOut: s.leftOut, hidden: s.hidden, byFolder: siblings{}}
	n.read(s.files)
	n.chooseClips()
	n.darks = n.chooseMasters("dark", n.darks)
	n.flats = n.chooseMasters("flat", n.flats)
	n.flatDarks = n.chooseMasters("flat-dark", n.flatDarks)
	n.needFlats()
	if len(n.clips) == 0 {
		return n, requestf("there is no usable clip in %s; plenilune reads %s, sequences of pictures, and by way of FFmpeg other films", shown(dir), strings.Join(captureEndings, ", "))
	}
	return n, nil
}
