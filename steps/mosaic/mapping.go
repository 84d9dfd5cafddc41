package mosaic

import "fmt"

// mapping is how the pixels of a panel and the places of the joined picture become each other, over the sphere if the panel is carried,
// but for its bend.
type mapping struct {
	toMosaic, toPanel similarity // between the carried panel's pixels and the picture
	globe             globe
}

// flat is the mapping of a panel that is not carried.
func flat(m similarity) mapping { return mapping{toMosaic: m, toPanel: m.inverse()} }

// mapping returns that of a placed panel.
func (p placed) mapping() (mapping, error) {
	m := flat(p.toMosaic())
	m.globe = p.Globe
	return m, m.globe.ready()
}

// at returns where in the picture a pixel lies.
func (m *mapping) at(x, y float64) (float64, float64) { return m.toMosaic.at(m.globe.carried(x, y)) }

// pixel returns the pixel at a place of the picture.
func (m *mapping) pixel(x, y float64) (float64, float64) { return m.globe.pixel(m.toPanel.at(x, y)) }

// bounds returns the smallest and largest picture coordinates of a panel of w by h pixels.
func (m *mapping) bounds(w, h int) (x0, y0, x1, y1 float64) { return m.globe.bounds(m.toMosaic, w, h) }

// mappings returns those of all panels, in panel order; of panels that are not placed it says nothing.
func (g *geometry) mappings() ([]mapping, error) {
	out := make([]mapping, len(g.Panels))
	for i, p := range g.Panels {
		var err error
		if out[i], err = p.mapping(); err != nil {
			return nil, fmt.Errorf("carry panel %d over the sphere: %w", i+1, err)
		}
	}
	return out, nil
}
