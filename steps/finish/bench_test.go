package finish

import (
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
)

// BenchmarkFinish is the last stage on a disk of 4,000 px: as it lies, and turned.
func BenchmarkFinish(b *testing.B) {
	const side = 4000
	m := halfMoon(0)
	p := pipelinetest.Plane{W: side, H: side, Pix: [][]float32{make([]float32, side*side)}}
	for i := range p.Pix[0] {
		p.Pix[0][i] = m.Pix[0][i/side/20*200+i%side/20]
	}
	bench := pipelinetest.New()
	first, err := bench.Run(b, pipeline.Part{Name: "levels", Settings: levelsSettings{100}, Out: []string{"levels", "light"}, Run: pipeline.Bind(runLevels)},
		map[string][]any{"image": {p}})
	if err != nil {
		b.Fatal(err)
	}
	for name, deg := range map[string]float64{"as it lies": 0, "a quarter": 90, "turned": 20} {
		lay := layoutTable{frame: frameFor(side, side, orientation{true, deg, false, 0}, "up")}
		lay.W, lay.H = side, side
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := bench.Run(b, pipeline.Part{Name: "tone", Settings: toneSettings{0.2, 1}, Out: []string{"image"}, Run: pipeline.Bind(runTone)},
					map[string][]any{"image": {p}, "levels": {first.Stored("levels")}, "layout": {lay}}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
	b.Run("in colour, raised", func(b *testing.B) {
		colour := pipelinetest.Plane{W: side, H: side, Pix: [][]float32{p.Pix[0], p.Pix[0], p.Pix[0]}}
		l := levelsTable{Black: []float64{0, 0, 0}, Gain: []float64{1, 1, 1}, White: 1, Large: 1}
		lay := layoutTable{frame: frameFor(side, side, orientation{}, asShot)}
		for b.Loop() {
			if _, err := bench.Run(b, pipeline.Part{Name: "tone", Settings: toneSettings{0.2, 3}, Out: []string{"image"}, Run: pipeline.Bind(runTone)},
				map[string][]any{"image": {colour}, "levels": {l}, "layout": {lay}}); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("levels", func(b *testing.B) {
		for b.Loop() {
			if _, err := bench.Run(b, pipeline.Part{Name: "levels", Settings: levelsSettings{100}, Out: []string{"levels", "light"}, Run: pipeline.Bind(runLevels)},
				map[string][]any{"image": {p}}); err != nil {
				b.Fatal(err)
			}
		}
	})
}
