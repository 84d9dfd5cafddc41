package main

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"plenilune/pipeline"
	"plenilune/steps"
)

func unpackCommand() *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "unpack PACK DIR",
		Short: "Lay out a pack in a new folder, and say what is in it, what is missing, and what to do next",
		Long: `unpack lays out a pack in a folder that does not exist yet, or is empty: all of it, or,
where anything is wrong with the archive, nothing. Every file is held to its SHA-256. The
path of the manifest goes to stdout; what is missing is listed on stderr.

A pack may come from anyone. The manifest in it reads only what lies in the new folder, or
under the folder that --clips names in later verbs, and writes only into its output folder.
The file pack.json in the folder stands for that. With --clips, the clips that the pack was
made from are found by their content, whatever they are called; if none of them is there,
clips of your own are taken, from folders that are called as in the manifest.`,
		Example: `  plenilune unpack moon.zip moon
  plenilune run moon/night.hcl --clips /media/disk/clips`,
		Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			return unpack(cmd.Context(), cmd.OutOrStdout(), cmd.ErrOrStderr(), args[0], args[1], asJSON)
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON object a line on stdout")
	return cmd
}

func unpack(ctx context.Context, stdout, stderr io.Writer, file, dir string, asJSON bool) error {
	p, done, err := openPack(file)
	if err != nil {
		return err
	}
	defer done()
	u, err := pipeline.Unpack(ctx, p, dir, steps.All())
	if err != nil {
		return packError(file, err)
	}
	next := "plenilune run " + shellWord(filepath.ToSlash(u.Manifest))
	if len(u.Missing) > 0 {
		next += " --clips DIR"
	}
	if u.Panels != "" && len(u.Missing) > 0 {
		next = "plenilune run " + shellWord(filepath.ToSlash(u.Panels))
	}
	if asJSON {
		s := newScreen(stdout, stderr, true)
		s.object(map[string]any{"event": "unpacked", "path": filepath.ToSlash(u.Manifest), "title": u.Index.Title, "date": u.Index.Date,
			"files": len(u.Index.Files), "inputs": len(u.Index.Inputs), "outputs": len(u.Index.Outputs)})
		for _, in := range u.Missing {
			s.object(missingObject(in))
		}
		s.object(map[string]any{"event": "next", "command": next})
		return nil
	}
	x := u.Index
	night := ""
	if x.Date != pipeline.Undated {
		night = ", the night of " + x.Date
	}
	fmt.Fprintf(stderr, "%s%s: the manifest and the records of %s, made from %s\n", strconv.Quote(x.Title), night, pipeline.Counted(len(x.Outputs), "file"), pipeline.CountedInputs(x.Inputs))
	if err := tellMissing(stderr, u.Missing); err != nil {
		return err
	}
	fmt.Fprintf(stderr, "next: %s\n", next)
	switch {
	case len(u.Missing) > 0 && u.Panels != "":
		fmt.Fprintf(stderr, "which begins with the panels in the pack; with these clips at hand: plenilune run %s --clips DIR\n", shellWord(filepath.ToSlash(u.Manifest)))
	case len(u.Missing) > 0:
		fmt.Fprintln(stderr, "where DIR holds these clips, whatever they are called there; or clips of your own, in folders that are called as in the manifest")
	}
	fmt.Fprintln(stdout, filepath.ToSlash(u.Manifest))
	return nil
}

// tellMissing lists files that are not there.
func tellMissing(w io.Writer, missing []pipeline.PackInput) error {
	if len(missing) == 0 {
		return nil
	}
	var sum int64
	for _, in := range missing {
		sum += in.Bytes
	}
	fmt.Fprintf(w, "missing: %s, %s\n", pipeline.CountedInputs(missing), bytesText(sum))
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, in := range missing {
		fmt.Fprintf(t, "  %s\t%s\t%d bytes\tsha256:%s\n", in.Block, in.Label(), in.Bytes, in.ID)
	}
	return t.Flush()
}

func missingObject(in pipeline.PackInput) map[string]any {
	return map[string]any{"event": "missing", "block": in.Block, "name": in.Label(), "bytes": in.Bytes, "id": in.ID}
}

// shellWord quotes a word, if it needs that, for a POSIX shell; for those of Windows where we run there.
func shellWord(s string) string {
	if s != "" && !strings.ContainsFunc(s, func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("/._-:", r))
	}) {
		return s
	}
	if runtime.GOOS == "windows" {
		return `"` + s + `"` // no file name there has one in it
	}
	return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'"
}
