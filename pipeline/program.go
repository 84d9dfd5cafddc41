package pipeline

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"sync"
)

// Programs runs programs of the machine's own, by their names. They read kinds of files that no step reads.
type Programs interface {
	// Version says exactly which program it is; the error, in a line, what to do where there is none.
	Version(ctx context.Context, name string) (string, error)
	// Run gives a program's output to out as it comes, and returns what it said besides. The error, in a line, says why
	// it failed.
	Run(ctx context.Context, name string, args []string, out io.Writer) (said string, err error)
}

// FilePath stands in a program's arguments for the file that it is to read, whose path no part sees.
const FilePath = "{file}"

// Program returns the version of a program of the machine's own, which a part that runs it must have among its settings.
func (x *Expansion) Program(name string) (string, error) {
	return x.run.g.files.version(x.run.ctx, name)
}

// Through has a program read the file, which FilePath stands for among args.
func (s Source) Through(ctx context.Context, program string, args []string, out io.Writer) (said string, err error) {
	if s.file == nil || s.file.pictures != nil || s.file.set.programs == nil {
		return "", fmt.Errorf("input %s cannot be given to a program", s.id.Short())
	}
	_, closer, err := s.File() // notices a file that changed
	if err != nil {
		return "", err
	}
	closer.Close()
	return Through(ctx, s.file.set.programs, s.file.path, program, args, out)
}

// Through has a program read the file of a path, which FilePath stands for among args.
func Through(ctx context.Context, p Programs, path, program string, args []string, out io.Writer) (said string, err error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return "", fmt.Errorf("find the file: %w", err)
	}
	args = slices.Clone(args)
	for i, a := range args {
		if a == FilePath {
			args[i] = "file:" + abs // so that no name is taken for an option or an address
		}
	}
	said, err = p.Run(ctx, program, args, out)
	hide := strings.NewReplacer("file:"+abs, "the file", abs, "the file")
	if err != nil {
		return hide.Replace(said), errors.New(hide.Replace(err.Error()))
	}
	return hide.Replace(said), nil
}

// versions are of programs, each asked for once.
type versions struct {
	mu  sync.Mutex
	had map[string]programVersion
}

type programVersion struct {
	version string
	err     error
}

func (s *fileSet) version(ctx context.Context, name string) (string, error) {
	if s.programs == nil {
		return "", fmt.Errorf("%s cannot be run here", name)
	}
	s.versions.mu.Lock()
	defer s.versions.mu.Unlock()
	v, ok := s.versions.had[name]
	if !ok {
		v.version, v.err = s.programs.Version(ctx, name)
		if ctx.Err() != nil {
			return "", ctx.Err()
		}
		if s.versions.had == nil {
			s.versions.had = map[string]programVersion{}
		}
		s.versions.had[name] = v
	}
	return v.version, v.err
}
