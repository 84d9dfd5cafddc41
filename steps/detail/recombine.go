package detail

import (
	"context"
	"fmt"
	"image"

	"plenilune/pipeline"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/wavelet"
)

type recombineSettings struct {
	Bands     []bandSettings `json:"bands"`
	Sharpened bool           `json:"sharpened"` // the picture's noise is no longer that of its stacks
}

// placement is what recombine reads of a mosaic's placements or a stack's panel.
type placement struct {
	ScaleArcsecPerPx float64 `json:"scale_arcsec_per_px"` // 0 unknown
	NoiseSigma       float64 `json:"noise_sigma"`
	Fineness         float64 `json:"px_per_sensor_px"` // along a side; 0 is 1
}

// recombine adds to the picture what its levels gain. With all boosts 1 and no
// floor the picture comes out as it went in, bit for bit.
func recombine(ctx context.Context, s recombineSettings, t *pipeline.Task) error {
	m, err := newMixer(s, t)
	if err != nil {
		return err
	}
	defer m.close()
	w, h, channels := m.image.Size()
	return t.WritePlane(ctx, "image", w, h, channels, func(r image.Rectangle, dst [][]float32) error {
		return m.tile(r, dst)
	})
}

// mixer computes recombination tile by tile.
type mixer struct {
	recipe        recipe
	apart         apart
	sigma         float64 // of the noise, at the median weight
	image, guard  *pipeline.PlaneReader
	steepen       float64               // of the limb's edge: 1 leaves it
	weight        *pipeline.PlaneReader // nil without weights
	level         [levels]*pipeline.PlaneReader
	bounds        image.Rectangle
	readers       []*pipeline.PlaneReader
	noiseOfLevel2 [levels]float32
}

func newMixer(s recombineSettings, t *pipeline.Task) (*mixer, error) {
	m := &mixer{}
	if err := t.One("apart").Table(&m.apart); err != nil {
		return nil, err
	}
	p, err := readPlacement(t)
	if err != nil {
		return nil, err
	}
	m.setRecipe(s, p, t)
	m.steepen = m.recipe.steepening(m.apart.LimbSigmaPx)
	m.sigma = m.apart.NoiseSigma
	if p.NoiseSigma > 0 && !s.Sharpened {
		m.sigma = p.NoiseSigma
	}
	for j := range levels {
		n := float32(m.sigma * wavelet.NoiseFactor(j))
		m.noiseOfLevel2[j] = n * n
	}
	if err := m.open(t); err != nil {
		m.close()
		return nil, err
	}
	return m, nil
}

func readPlacement(t *pipeline.Task) (p placement, err error) {
	for _, port := range []string{"placements", "panel"} {
		if t.Has(port) {
			if err := t.One(port).Table(&p); err != nil {
				return p, err
			}
		}
	}
	return p, nil
}

func (m *mixer) setRecipe(s recombineSettings, p placement, t *pipeline.Task) {
	bands := s.Bands
	var leftOut int
	m.recipe, leftOut = newRecipe(bands, p.ScaleArcsecPerPx)
	if leftOut > 0 {
		t.Warn("scale-unknown", "%d of %d bands of detail are left out: their scale is in arcseconds and this picture's is not known (no limb to measure it from, "+
			"no optics in the night block); give scale_px, or state pixel_um and focal_length_mm", leftOut, len(bands))
	}
	for _, b := range bands {
		if px := b.ScaleArcsec / max(p.ScaleArcsecPerPx, 1e-9); b.ScaleArcsec > 0 && p.ScaleArcsecPerPx > 0 && px < levelScalePx[0] {
			t.Warn("band-too-fine", "a band of detail asks for %g″, which is %.2f px here: the finest that a picture holds, 1 px (%.2f″), is taken", b.ScaleArcsec, px, p.ScaleArcsecPerPx)
		}
	}
}

func (m *mixer) open(t *pipeline.Task) (err error) {
	get := func(port string) (*pipeline.PlaneReader, error) {
		r, err := t.One(port).Plane()
		if err != nil {
			return nil, fmt.Errorf("read %s: %w", port, err)
		}
		m.readers = append(m.readers, r)
		return r, nil
	}
	if m.image, err = get("image"); err != nil {
		return err
	}
	if m.guard, err = get("guard"); err != nil {
		return err
	}
	m.guard.Keep(0)
	if t.Has("weight") && m.apart.WeightMedian > 0 {
		if m.weight, err = get("weight"); err != nil {
			return err
		}
	}
	for j := range levels {
		if len(m.recipe[j]) == 0 {
			continue
		}
		if m.level[j], err = get(levelPort(j)); err != nil {
			return err
		}
		if m.recipe.floored(j) {
			m.level[j].Keep(3)
		}
	}
	w, h, _ := m.image.Size()
	m.bounds = image.Rect(0, 0, w, h)
	return nil
}

func (m *mixer) close() {
	for _, r := range m.readers {
		r.Close()
	}
}

// tile computes one rectangle of the result. The rectangles chosen do not change
// it: what is read around each reaches as far as the computation looks.
func (m *mixer) tile(r image.Rectangle, dst [][]float32) error {
	for c := range dst {
		if err := m.image.ReadRect(c, r, dst[c]); err != nil {
			return err
		}
	}
	delta := make([]float32, r.Dx()*r.Dy())
	rel, err := m.relativeNoise(r)
	if err != nil {
		return err
	}
	touched := false
	for j, level := range m.level {
		if level == nil {
			continue
		}
		if err := m.addLevel(delta, r, j, rel); err != nil {
			return err
		}
		touched = true
	}
	if !touched {
		return nil
	}
	if err := m.guardLimb(delta, r, dst); err != nil {
		return err
	}
	addLuminance(dst, delta, float32(0.02*m.apart.Bright))
	return nil
}

// guardLimb takes back what detail would do to the limb's edge and steepens the
// edge instead.
func (m *mixer) guardLimb(delta []float32, r image.Rectangle, pix [][]float32) error {
	trust := make([]float32, len(delta))
	if err := m.guard.ReadRect(0, r, trust); err != nil {
		return err
	}
	limb := false
	for i, k := range trust {
		delta[i] *= k
		limb = limb || k < 1
	}
	if !limb || m.steepen == 1 {
		return nil
	}
	rim, above := make([]float32, len(delta)), make([]float32, len(delta))
	if err := m.guard.ReadRect(1, r, rim); err != nil {
		return err
	}
	if err := m.guard.ReadRect(2, r, above); err != nil {
		return err
	}
	lum := plane.Of(r.Dx(), r.Dy(), pix...).Luminance()
	for i, k := range rim {
		if k > 0 && above[i] > 0 {
			p := float64((lum[i] - float32(m.apart.Sky)) / above[i])
			delta[i] += float32(k * above[i] * float32(steeper(p, m.steepen)-p))
		}
	}
	return nil
}

// relativeNoise returns each pixel's noise variance against that at the median
// weight; nil where it is everywhere the same.
func (m *mixer) relativeNoise(r image.Rectangle) ([]float32, error) {
	if m.weight == nil {
		return nil, nil
	}
	out := make([]float32, r.Dx()*r.Dy())
	if err := m.weight.ReadRect(0, r, out); err != nil {
		return nil, err
	}
	relative(out, float32(m.apart.WeightMedian))
	return out, nil
}

// relative turns weights into noise variances against that at the typical weight.
func relative(weight []float32, typical float32) {
	for i, k := range weight {
		if !(k > typical/16) {
			k = typical / 16 // a hem of few frames: four times the noise, and no more
		}
		weight[i] = typical / k
	}
}

func (m *mixer) addLevel(delta []float32, r image.Rectangle, j int, rel []float32) error {
	wide := r
	if m.recipe.floored(j) {
		wide = r.Inset(-reach(j)).Intersect(m.bounds)
	}
	level := make([]float32, wide.Dx()*wide.Dy())
	if err := m.level[j].ReadRect(0, wide, level); err != nil {
		return err
	}
	energy := level // not looked at without a floor
	if m.recipe.floored(j) {
		energy = localEnergy(level, wide.Dx(), wide.Dy(), j)
	}
	for y := r.Min.Y; y < r.Max.Y; y++ {
		from := (y-wide.Min.Y)*wide.Dx() + r.Min.X - wide.Min.X
		to := (y - r.Min.Y) * r.Dx()
		for x := range r.Dx() {
			noise2 := m.noiseOfLevel2[j]
			if rel != nil {
				noise2 *= rel[to+x]
			}
			g := m.recipe.gain(j, energy[from+x], noise2)
			delta[to+x] += float32((g - 1) * level[from+x])
		}
	}
	return nil
}

// addLuminance raises the luminance, the mean of the channels, by delta. Of more
// than one channel each takes its share by the ratio of the colours, so that hues
// stay: the Moon's colours are faint and without fine detail of their own, and
// sharpening each channel would sharpen mostly its noise. soft keeps the ratio
// calm where the picture is dark.
func addLuminance(pix [][]float32, delta []float32, soft float32) {
	if len(pix) == 1 {
		for i, d := range delta {
			pix[0][i] += d
		}
		return
	}
	n := float32(len(pix))
	for i, d := range delta {
		sum := float32(0)
		for _, p := range pix {
			sum += max(p[i], 0) + soft
		}
		if !(sum > 0) {
			sum = 1
		}
		for _, p := range pix {
			p[i] += float32(d * (max(p[i], 0) + soft) / sum * n)
		}
	}
}
