package main

import (
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"path"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"
)

func viewCommand() *cobra.Command {
	var at place
	cmd := &cobra.Command{
		Use:   "view DIR",
		Short: "Show a folder of pages in the browser",
		Long: `view serves a folder of pages, as a run delivers it (night-out/disk), to the browser on
this machine, and prints the address to open. It only reads, and only inside the folder.
Ctrl-C ends it. The pages also open without it: open index.html in the folder.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if at.port < 0 || at.port > 65535 {
				return requestf("--port %d: want a number from 0 to 65535; 0 takes one that is free", at.port)
			}
			root, err := pagesIn(args[0])
			if err != nil {
				return err
			}
			defer root.Close()
			l, err := at.open()
			if err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "http://%s/\n", l.Addr())
			fmt.Fprintln(cmd.ErrOrStderr(), "Ctrl-C ends this")
			return serve(cmd.Context(), l, folderHandler{root.FS()})
		},
	}
	cmd.Flags().IntVar(&at.port, "port", 0, "`PORT` to listen on (default: one that is free)")
	cmd.Flags().StringVar(&at.listen, "listen", "", "`ADDRESS` of this machine to listen on, for others to see it too (default: this machine alone)")
	return cmd
}

// pagesIn opens a folder that has an index.html.
func pagesIn(dir string) (*os.Root, error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, requestf("open the folder: %v", err)
	}
	if _, err := root.Stat("index.html"); err == nil {
		return root, nil
	}
	root.Close()
	hint := "a run delivers one where the manifest has a pages block"
	if found, err := filepath.Glob(filepath.Join(dir, "*", "index.html")); err == nil && len(found) > 0 {
		hint = "did you mean " + filepath.ToSlash(filepath.Dir(found[0])) + "?"
	}
	return nil, requestf("%s holds no index.html: %s", filepath.ToSlash(dir), hint)
}

// folderHandler gives out plain files of a folder, and index.html for the folder itself.
type folderHandler struct{ files fs.FS }

// contentTypes are of all kinds of files that pages consist of; the system's own list differs from machine to machine.
var contentTypes = map[string]string{
	".html": "text/html; charset=utf-8", ".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8",
	".json": "application/json", ".jpg": "image/jpeg", ".png": "image/png", ".svg": "image/svg+xml",
}

func (h folderHandler) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	name := strings.TrimPrefix(r.URL.Path, "/")
	if name == "" {
		name = "index.html"
	}
	f, st, err := h.open(name)
	if err != nil {
		http.Error(w, "there is no such file", http.StatusNotFound)
		return
	}
	defer f.Close()
	kind, ok := contentTypes[strings.ToLower(path.Ext(name))]
	if !ok {
		kind = "application/octet-stream"
	}
	w.Header().Set("Content-Type", kind)
	http.ServeContent(w, r, name, st, f)
}

// seekable is a file that can be given out in ranges.
type seekable interface {
	fs.File
	Seek(offset int64, whence int) (int64, error)
}

// open opens a plain file that is not hidden.
func (h folderHandler) open(name string) (seekable, time.Time, error) {
	if !fs.ValidPath(name) || strings.Contains("/"+name, "/.") {
		return nil, time.Time{}, fs.ErrNotExist
	}
	f, err := h.files.Open(name)
	if err != nil {
		return nil, time.Time{}, err
	}
	st, err := f.Stat()
	s, ok := f.(seekable)
	if err == nil && ok && st.Mode().IsRegular() {
		return s, st.ModTime(), nil
	}
	return nil, time.Time{}, errors.Join(fs.ErrNotExist, f.Close())
}
