package main

import (
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"plenilune/cache"
	"plenilune/pipeline"
	"plenilune/steps/publish"
)

func traceCommand() *cobra.Command {
	var clips, text string
	var raw bool
	cmd := &cobra.Command{
		Use:   "trace IMAGE",
		Short: "Print how a picture was made, down to the SHA-256 of each capture",
		Long: `trace reads the record inside a picture (for JPEG, the file beside it; for pages, the
one in their folder) and prints
the whole lineage: each part with its settings and what it was made from, down to
the captures. Each part's key is the SHA-256 of its action text:
  plenilune trace disk.png --text KEY | sha256sum`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			b, err := recordOf(args[0])
			if err != nil {
				return err
			}
			if raw {
				_, err := fmt.Fprintf(cmd.OutOrStdout(), "%s\n", b)
				return err
			}
			r, err := pipeline.ParseRecord(b)
			if err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			if text != "" {
				return printText(cmd.OutOrStdout(), r, text)
			}
			names, err := namesUnder(cmd.Context(), clips)
			if err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "%s\nrecord sha256:%s\n\n", args[0], cache.Sum(b))
			return printLineage(cmd.OutOrStdout(), r, names)
		},
	}
	cmd.Flags().StringVar(&clips, "clips", "", "put names to captures by reading the files in `DIR`")
	cmd.Flags().StringVar(&text, "text", "", "print only the action text with this `KEY` (its first digits do)")
	cmd.Flags().BoolVar(&raw, "json", false, "print the record as it stands in the picture")
	return cmd
}

// recordOf finds a picture's record: inside it, or in the file beside it. That of a folder of pages is a file in it.
func recordOf(path string) ([]byte, error) {
	if st, err := os.Stat(path); err == nil && st.IsDir() {
		path = filepath.Join(path, "record.json")
	}
	if filepath.Base(path) == "record.json" || strings.EqualFold(filepath.Ext(path), ".html") {
		b, err := os.ReadFile(filepath.Join(filepath.Dir(path), "record.json"))
		if err != nil {
			return nil, requestf("open the record of the pages: %v", err)
		}
		return b, nil
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, requestf("open the picture: %v", err)
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return nil, requestf("open the picture: %v", err)
	}
	b, id, err := publish.ReadRecord(f, st.Size())
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if b != nil {
		return b, nil
	}
	if b, err = os.ReadFile(path + ".record.json"); err != nil {
		return nil, fmt.Errorf("%s holds only its record's id; the record should stand beside it: %w", path, err)
	}
	if got := cache.Sum(b).String(); got != id {
		return nil, fmt.Errorf("%s.record.json is another picture's: its SHA-256 is %s, %s names %s", path, got, path, id)
	}
	return b, nil
}

func printText(w io.Writer, r pipeline.Record, key string) error {
	var found []pipeline.RecordPart
	parts := r.Parts
	if r.Lineage != nil {
		parts = slices.Concat(parts, r.Lineage.Parts)
	}
	for _, p := range parts {
		if strings.HasPrefix(p.Key.String(), strings.ToLower(key)) {
			found = append(found, p)
		}
	}
	if len(found) != 1 {
		return requestf("--text %s: %d parts of the record have a key that begins so", key, len(found))
	}
	_, err := io.WriteString(w, found[0].Text)
	return err
}

// printLineage prints parts from the picture back to the captures.
func printLineage(w io.Writer, r pipeline.Record, names map[cache.ID]string) error {
	made := map[string]string{} // output id → what made it
	for _, p := range r.Parts {
		l, err := p.Line()
		if err != nil {
			return err
		}
		for port, id := range p.Outputs {
			made[id.String()] = l.Part + " " + p.Key.Short() + " " + port
		}
	}
	for _, c := range r.Captures {
		made[c.ID.String()] = "capture sha256:" + c.ID.String()
	}
	for _, p := range slices.Backward(r.Parts) {
		l, err := p.Line()
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "%s (version %s)  key %s\n", l.Part, l.Version, p.Key)
		for _, s := range l.Settings {
			fmt.Fprintf(w, "    %s = %s\n", s[0], s[1])
		}
		for _, in := range l.Inputs {
			from, ok := made[in[1]]
			if !ok {
				from = "sha256:" + in[1]
			}
			fmt.Fprintf(w, "    from %s: %s\n", in[0], from)
		}
		for _, f := range p.Facts {
			if f.Text != "" {
				fmt.Fprintf(w, "    found %s: %s\n", f.Name, f.Text)
				continue
			}
			fmt.Fprintf(w, "    found %s: %.6g %s\n", f.Name, f.Value, f.Unit)
		}
	}
	fmt.Fprintf(w, "\n%d captures\n", len(r.Captures))
	for _, c := range r.Captures {
		name, ok := names[c.ID]
		if !ok && names != nil {
			name = "not in that folder"
		}
		fmt.Fprintf(w, "sha256:%s  %d bytes  %s\n", c.ID, c.Bytes, name)
	}
	if r.Lineage == nil {
		return nil
	}
	fmt.Fprintf(w, "\nHow %d of them were made, as they say themselves:\n\n", len(r.Lineage.Made))
	for _, m := range r.Lineage.Made {
		fmt.Fprintf(w, "sha256:%s  holds %s of %s\n", m.Capture, m.Output.Port, m.Output.Key.Short())
	}
	fmt.Fprintln(w)
	return printLineage(w, pipeline.Record{Parts: r.Lineage.Parts, Captures: r.Lineage.Captures}, names)
}

// namesUnder reads every file under a folder, to know captures by name.
func namesUnder(ctx context.Context, dir string) (map[cache.ID]string, error) {
	if dir == "" {
		return nil, nil
	}
	names := map[cache.ID]string{}
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil || !e.Type().IsRegular() {
			return err
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		f, err := os.Open(path)
		if err != nil {
			return err
		}
		defer f.Close()
		h := sha256.New()
		if _, err := io.Copy(h, f); err != nil {
			return err
		}
		var id cache.ID
		h.Sum(id[:0])
		rel, err := filepath.Rel(dir, path)
		if err != nil {
			rel = path
		}
		names[id] = filepath.ToSlash(rel)
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read the files in %s: %w", dir, err)
	}
	return names, nil
}
