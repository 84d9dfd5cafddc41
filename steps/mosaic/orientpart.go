package mosaic

import (
	"context"
	"fmt"
	"image"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/mosaic/orient"
)

// Orientation states how the Moon lies in the joined picture, where that is not to be found.
type Orientation struct {
	// NorthDeg is the direction of the Moon's north, in degrees anticlockwise from the picture's top.
	NorthDeg float64 `hcl:"north_deg,optional" min:"-360" max:"360"`
	// Mirrored says that the optics change left and right over, as a star diagonal does.
	Mirrored bool `hcl:"mirrored,optional"`
}

// orientSettings are what is stated, if anything.
type orientSettings struct {
	Stated   bool
	NorthDeg float64
	Mirrored bool
}

func statedNorth(stated *Orientation) orientSettings {
	if stated == nil {
		return orientSettings{}
	}
	return orientSettings{true, stated.NorthDeg, stated.Mirrored}
}

func orientPart(in []pipeline.Input, stated *Orientation) pipeline.Part {
	return pipeline.Part{Name: "orient", Version: 1, Settings: statedNorth(stated), In: in, Out: []string{"orientation"}, Memory: perPanel, Run: pipeline.Bind(runOrient)}
}

// runOrient finds which way the Moon's north is, by its maria, and whether the picture is mirrored.
func runOrient(ctx context.Context, s orientSettings, t *pipeline.Task) error {
	var p placementsTable
	if err := t.One("placements").Table(&p); err != nil {
		return err
	}
	o := orient.Orientation{}
	if s.Stated {
		o = orient.Orientation{Known: true, Source: "stated", NorthDeg: wrap(s.NorthDeg*math.Pi/180) * 180 / math.Pi, Mirrored: s.Mirrored}
	}
	if p.Limb.Found {
		light, err := diskLight(ctx, t, p.Limb)
		if err != nil {
			return err
		}
		found := orient.Find(orient.NewFace(light), orient.Globes())
		if s.Stated {
			found = o.Against(found)
			if found.Belied {
				t.Warn("orientation-differs", "north is stated to lie %.0f° anticlockwise from the top, %s; the maria lie as if it were %.0f°, %s: the statement is used",
					o.NorthDeg, mirrorWord(o.Mirrored), found.FoundDeg, mirrorWord(found.FoundMirrored))
			}
		}
		o = found
	}
	if o.Likeness != 0 {
		t.Fact("map_likeness", o.Likeness, "of 1")
		t.Fact("next_likeness", o.Rival, "of 1")
	}
	if o.Known {
		t.Fact("north", o.NorthDeg, "° anticlockwise from the top")
		t.FactText("handedness", mirrorWord(o.Mirrored))
		t.FactText("orientation", o.Source)
	} else {
		t.FactText("orientation", "unknown")
	}
	return t.PutTable("orientation", o)
}

func mirrorWord(mirrored bool) string {
	if mirrored {
		return "mirrored"
	}
	return "not mirrored"
}

// diskLight averages the joined picture, its middle channel, over the samples of an orient.Face: NaN where it shows nothing.
func diskLight(ctx context.Context, t *pipeline.Task, limb limbRow) ([]float64, error) {
	r, err := t.One("image").Plane()
	if err != nil {
		return nil, err
	}
	defer r.Close()
	w, h, channels := r.Size()
	sum, n := make([]float64, orient.Side*orient.Side), make([]float64, orient.Side*orient.Side)
	step := 2 * limb.Radius / orient.Side
	sample := func(at int, middle float64) int { // of a column or row of pixels
		return int(math.Floor((float64(at) - (middle - limb.Radius)) / step))
	}
	box := image.Rect(int(math.Ceil(limb.X-limb.Radius)), int(math.Ceil(limb.Y-limb.Radius)), int(limb.X+limb.Radius), int(limb.Y+limb.Radius))
	box = box.Intersect(image.Rect(0, 0, w, h))
	buf := make([]float32, box.Dx()*min(bandOfRows, box.Dy()))
	for y0 := box.Min.Y; y0 < box.Max.Y; y0 += bandOfRows {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		band := image.Rect(box.Min.X, y0, box.Max.X, min(y0+bandOfRows, box.Max.Y))
		if err := r.ReadRect(channels/2, band, buf[:band.Dx()*band.Dy()]); err != nil {
			return nil, fmt.Errorf("read the joined picture: %w", err)
		}
		for k, v := range buf[:band.Dx()*band.Dy()] {
			i, j := sample(band.Min.X+k%band.Dx(), limb.X), sample(band.Min.Y+k/band.Dx(), limb.Y)
			if v == v && min(i, j) >= 0 && max(i, j) < orient.Side {
				sum[j*orient.Side+i] += float64(v)
				n[j*orient.Side+i]++
			}
		}
	}
	for k := range sum {
		if n[k] > 0.5*step*step || n[k] > 0 && step < 2 {
			sum[k] /= n[k]
		} else {
			sum[k] = math.NaN()
		}
	}
	return sum, nil
}

// bandOfRows is how many rows of a picture are read at once.
const bandOfRows = 256
