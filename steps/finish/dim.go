package finish

import (
	"image"

	"plenilune/pipeline"
	"plenilune/steps/kernel/plane"
)

// dim is the share of light beyond the limb that a print leaves out, if the picture comes with one.
type dim struct {
	src *pipeline.PlaneReader // nil: there is none
}

func openDim(t *pipeline.Task) (dim, error) {
	if !t.Has("beyond") {
		return dim{}, nil
	}
	src, err := t.One("beyond").Plane()
	return dim{src}, err
}

func (d dim) close() {
	if d.src != nil {
		d.src.Close()
	}
}

// apply takes the share from a levelled picture's rectangle r, seen as look sees the picture itself.
func (d dim) apply(m *plane.Image, r image.Rectangle, look window) error {
	if d.src == nil {
		return nil
	}
	look.src = d.src
	share := plane.New(m.W, m.H, 1)
	if err := look.read(r, share); err != nil {
		return err
	}
	for _, p := range m.Pix {
		for i, s := range share.Pix[0] {
			if s == s {
				p[i] -= float32(s * p[i])
			}
		}
	}
	return nil
}
