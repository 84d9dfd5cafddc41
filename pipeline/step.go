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

// Ref names another block, as in clips.disk.
type Ref struct{ Kind, Name string }

func (r Ref) String() string { return r.Kind + "." + r.Name }

// Files holds file name patterns, relative to the manifest's folder.
type Files []string

// Night is what the manifest says of the whole night. Zero numbers are unknown.
type Night struct {
	Title     string     `hcl:"title,optional"`
	Mount     string     `hcl:"mount,optional" oneof:"altaz equatorial"`
	Site      *Site      `hcl:"site,block"`
	Telescope *Telescope `hcl:"telescope,block"`
	Camera    *Camera    `hcl:"camera,block"`
}

// Site is the observer's place; east and north are positive. It never leaves
// the manifest: records and pages carry how the Moon was turned at each clip, and not where from.
type Site struct {
	LatitudeDeg  float64 `hcl:"latitude_deg" min:"-90" max:"90"`
	LongitudeDeg float64 `hcl:"longitude_deg" min:"-180" max:"360"`
	ElevationM   float64 `hcl:"elevation_m,optional" min:"-500" max:"9000"`
}

// Telescope describes the optics in front of the camera; zero is unknown.
type Telescope struct {
	ApertureMM    float64 `hcl:"aperture_mm,optional" min:"20" max:"5000"`
	FocalLengthMM float64 `hcl:"focal_length_mm,optional" min:"50" max:"100000"`
	Obstruction   float64 `hcl:"obstruction,optional" min:"0" max:"0.8"`
}

// Camera describes the sensor; zero is unknown.
type Camera struct {
	PixelUM float64 `hcl:"pixel_um,optional" min:"0.5" max:"50"`
}

// ScaleArcsecPerPx returns the stated image scale, or 0 when the manifest does
// not say enough: 206.264806 × pixel µm / focal length mm (small angle).
func (n Night) ScaleArcsecPerPx() float64 {
	if n.Camera == nil || n.Telescope == nil || n.Camera.PixelUM == 0 || n.Telescope.FocalLengthMM == 0 {
		return 0
	}
	return 206.264806 * n.Camera.PixelUM / n.Telescope.FocalLengthMM
}
