// Package pipeline is the engine: it reads a manifest, expands its blocks into
// parts, runs only those whose settings or inputs changed, and records how each
// output came about. It knows no pixels.
package pipeline

import "plenilune/cache"

// ID names content by its SHA-256.
type ID = cache.ID

// Step is one stage of the job, serving one kind of manifest block. Several
// steps may serve the same kind, each with fields of its own; they expand in the
// order in which they are registered.
type Step struct {
	Name  string // the folder under steps/, as it stands in action texts
	Block string // the kind of manifest block

	// New returns a pointer to the settings struct with every default set.
	// Fields carry tags, see package documentation in settings.go.
	New func() any

	// Check finds faults that the field tags cannot express. It may be nil.
	Check func(settings any, night Night) []Problem

	// Outputs lists what a block's settings name for the output folder, so that no two
	// blocks take one place there. It may be nil.
	Outputs func(settings any) []Output

	// Expand cuts one block into parts. It runs in a goroutine of its own and
	// may wait for small tables of earlier parts.
	Expand func(x *Expansion) error
}

// Problem is a fault in a block's settings.
type Problem struct {
	Path    string // the field, as in the manifest: "keep", "band.fine.boost"; empty for the block
	Text    string // what is wrong
	Hint    string // what to do
	Warning bool   // the run may go on
}

// Output is a file or a folder that a setting names, relative to the output folder,
// with slashes.
type Output struct {
	Path   string // the setting, as in the manifest: "picture.0.file"
	File   string
	Folder bool // it is replaced whole, with all that is in it
}

// Ref names another block, as in clips.disk.
type Ref struct{ Kind, Name string }

func (r Ref) String() string { return r.Kind + "." + r.Name }

// Files holds file name patterns, relative to the manifest's folder.
type Files []string

// Sequences holds patterns, relative to the manifest's folder, of pictures that together are clips: one that ends in /
// stands for folders, each a clip; another for pictures, of which those that differ only in the last number of their
// names are one.
type Sequences []string
