package pipeline

import (
	"archive/tar"
	"fmt"
	"io"
)

// PutFolder stores the files of a folder, in the order in which write adds them: a tar stream whose heads hold nothing but
// names and lengths, so that equal files give equal bytes. Names have slashes and lie inside the folder.
func (t *Task) PutFolder(port string, write func(add func(name string, b []byte) error) error) error {
	return t.PutBytes(port, func(w io.Writer) error {
		out := tar.NewWriter(w)
		err := write(func(name string, b []byte) error {
			h := tar.Header{Typeflag: tar.TypeReg, Name: name, Size: int64(len(b)), Mode: 0o644, Format: tar.FormatUSTAR}
			if err := out.WriteHeader(&h); err != nil {
				return fmt.Errorf("begin %s: %w", name, err)
			}
			_, err := out.Write(b)
			return err
		})
		if err != nil {
			return err
		}
		return out.Close()
	})
}
