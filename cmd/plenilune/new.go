package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"
)

func newCommand() *cobra.Command {
	var out string
	var darks, flats []string
	var force bool
	cmd := &cobra.Command{
		Use:   "new CLIPSDIR",
		Short: "Write a complete, commented manifest for a folder of clips",
		Long: `new reads the headers of the clips in a folder and writes a manifest that runs as
it is. Folders beside or inside it whose names begin with dark or flat are taken as
dark and flat frames, and it says so. What it leaves out, and why, is listed.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if _, err := os.Stat(out); err == nil && !force {
				return requestf("%s stands there already; choose another name with -o, or say --force", out)
			}
			n, err := surveyFolder(args[0], darks, flats)
			if err != nil {
				return err
			}
			text, err := n.manifest(out)
			if err != nil {
				return err
			}
			if err := os.WriteFile(out, text, 0o644); err != nil {
				return fmt.Errorf("write the manifest: %w", err)
			}
			n.tell(cmd.ErrOrStderr())
			fmt.Fprintln(cmd.OutOrStdout(), filepath.ToSlash(out))
			return nil
		},
	}
	fl := cmd.Flags()
	fl.StringVarP(&out, "out", "o", "night.hcl", "the manifest to write")
	fl.StringArrayVar(&darks, "dark", nil, "folder of dark frames (default: folders whose names begin with dark)")
	fl.StringArrayVar(&flats, "flat", nil, "folder of flat frames (default: folders whose names begin with flat)")
	fl.BoolVar(&force, "force", false, "replace the manifest if it stands there already")
	return cmd
}

// folderNight is what was found in a folder of clips.
type folderNight struct {
	dir          string
	title        string
	clips        []foundClip
	leftOut      []leftOut
	darks, flats []string // folders
}

type foundClip struct {
	path   string
	width  int
	height int
	kind   string // size, pattern and depth: what clips of one night share
	frames int
	start  int64 // Unix ns, 0 unknown
}

type leftOut struct{ path, why string }

// surveyFolder finds clips and calibration folders.
func surveyFolder(dir string, darks, flats []string) (*folderNight, error) {
	st, err := os.Stat(dir)
	if err != nil {
		return nil, requestf("look into the folder of clips: %v", err)
	}
	if !st.IsDir() {
		return nil, requestf("%s is not a folder; new wants the folder that holds the clips", dir)
	}
	n := &folderNight{dir: dir, darks: darks, flats: flats}
	if err := n.findMasters(); err != nil {
		return nil, err
	}
	if err := n.findClips(); err != nil {
		return nil, err
	}
	n.leaveOutOddOnes()
	if len(n.clips) == 0 {
		n.tell(os.Stderr)
		return nil, requestf("there is no usable clip in %s; plenilune reads .ser captures", dir)
	}
	return n, nil
}

// findMasters takes folders beside or inside the clips' by their names.
func (n *folderNight) findMasters() error {
	abs, err := filepath.Abs(n.dir)
	if err != nil {
		return fmt.Errorf("find the folder beside: %w", err)
	}
	find := func(prefix string, given []string) []string {
		if len(given) > 0 {
			return given
		}
		var out []string
		for _, base := range []string{filepath.Dir(abs), abs} {
			entries, _ := os.ReadDir(base) // a folder that cannot be listed holds no masters for us
			for _, e := range entries {
				path := filepath.Join(base, e.Name())
				if e.IsDir() && path != abs && strings.HasPrefix(strings.ToLower(e.Name()), prefix) && holdsCaptures(path) {
					out = append(out, path)
				}
			}
		}
		return out
	}
	n.darks, n.flats = find("dark", n.darks), find("flat", n.flats)
	return nil
}

func holdsCaptures(dir string) bool {
	entries, err := os.ReadDir(dir)
	return err == nil && slices.ContainsFunc(entries, func(e fs.DirEntry) bool { return isCapture(e.Name()) })
}

func isCapture(name string) bool { return strings.EqualFold(filepath.Ext(name), ".ser") }

func (n *folderNight) findClips() error {
	master := map[string]bool{}
	for _, d := range slices.Concat(n.darks, n.flats) {
		if abs, err := filepath.Abs(d); err == nil {
			master[abs] = true
		}
	}
	err := filepath.WalkDir(n.dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if abs, aerr := filepath.Abs(path); aerr == nil && e.IsDir() && master[abs] {
			return fs.SkipDir
		}
		if e.IsDir() {
			return nil
		}
		if !isCapture(path) {
			n.leftOut = append(n.leftOut, leftOut{path, "not a .ser capture"})
			return nil
		}
		x, err := probe(path)
		if err != nil {
			n.leftOut = append(n.leftOut, leftOut{path, strings.TrimPrefix(err.Error(), path+": ")})
			return nil
		}
		l := x.Layout
		n.clips = append(n.clips, foundClip{path: path, width: l.Width, height: l.Height, frames: x.Frames, start: x.StartUnixNS,
			kind: fmt.Sprintf("%d×%d px, %s, %d bit", l.Width, l.Height, l.Pattern, x.Depth)})
		return nil
	})
	if err != nil {
		return fmt.Errorf("look into the folder of clips: %w", err)
	}
	return nil
}

// leaveOutOddOnes keeps the clips of the commonest kind and of one night.
func (n *folderNight) leaveOutOddOnes() {
	count := map[string]int{}
	best := ""
	var starts []int64
	for _, c := range n.clips {
		if count[c.kind]++; count[c.kind] > count[best] || best == "" {
			best = c.kind
		}
		if c.start > 0 {
			starts = append(starts, c.start)
		}
	}
	slices.Sort(starts)
	const halfDay = int64(12 * 3600 * 1e9)
	n.clips = slices.DeleteFunc(n.clips, func(c foundClip) bool {
		why := ""
		switch {
		case c.kind != best:
			why = fmt.Sprintf("it is %s; the others are %s", c.kind, best)
		case c.start > 0 && len(starts) > 0:
			if d := c.start - starts[len(starts)/2]; d > halfDay || d < -halfDay {
				why = "it was recorded on another night"
			}
		}
		if why != "" {
			n.leftOut = append(n.leftOut, leftOut{c.path, why})
		}
		return why != ""
	})
}

// tell lists what was taken and what was left out.
func (n *folderNight) tell(w io.Writer) {
	fmt.Fprintf(w, "%d clips taken", len(n.clips))
	if len(n.clips) > 0 {
		fmt.Fprintf(w, ", %s", n.clips[0].kind)
	}
	fmt.Fprintln(w)
	for _, m := range []struct {
		kind string
		dirs []string
	}{{"dark", n.darks}, {"flat", n.flats}} {
		for _, d := range m.dirs {
			fmt.Fprintf(w, "%s frames taken from %s\n", m.kind, filepath.ToSlash(d))
		}
		if len(m.dirs) == 0 {
			fmt.Fprintf(w, "no %s frames found: the clips run without\n", m.kind)
		}
	}
	for _, l := range n.leftOut {
		fmt.Fprintf(w, "left out: %s: %s\n", filepath.ToSlash(l.path), l.why)
	}
}

// relative is a path as the manifest writes it: from its folder, with slashes.
func relative(base, path string) (string, error) {
	absBase, err1 := filepath.Abs(base)
	absPath, err2 := filepath.Abs(path)
	if err := errors.Join(err1, err2); err != nil {
		return "", fmt.Errorf("find the way to %s: %w", path, err)
	}
	rel, err := filepath.Rel(absBase, absPath)
	if err != nil { // another drive
		return filepath.ToSlash(absPath), nil
	}
	return filepath.ToSlash(rel), nil
}
