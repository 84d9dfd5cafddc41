package mosaic

import (
	"context"
	"math"
	"testing"
	"time"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
)

// On 12 April 1992 at 0 h dynamical time the Moon's middle was 368,409.7 km from the Earth's (Meeus 1998, example 47.a); the clock in UTC
// was 58.8 s behind, in which the distance changes by less than a kilometre. 2·asin(1737.4/368409.7) is 32.42′.
func TestMoonOfTheClipsHour(t *testing.T) {
	at := time.Date(1992, 4, 12, 0, 0, 0, 0, time.UTC).UnixNano()
	g := geometry{Panels: []placed{{Placed: true}, {Placed: true}, {}}, Limb: limbTable{Found: true, R: 600, ArcDeg: 180}}
	tables := []panelTable{{MidUnixNS: at}, {}, {MidUnixNS: at + 14*24*3600e9}}
	size := moonFor(g, tables)
	if want := 2 * math.Asin(1737.4/368409.7) * 180 / math.Pi * 60; math.Abs(size.arcmin-want) > 0.002 || size.from != moonOfHour {
		t.Errorf("the Moon is %.4f′ wide by %q, want %.4f′", size.arcmin, size.from, want)
	}
	choose := func(stated float64, size moonSize) (scale float64, estimated bool) {
		part := pipeline.Part{Name: "scale", Out: []string{"scale"}, Run: func(_ context.Context, t *pipeline.Task) error {
			scale, _, estimated = chooseScale(t, stated, g.Limb, size)
			return t.PutTable("scale", scale)
		}}
		pipelinetest.Run(t, part, nil)
		return scale, estimated
	}
	if scale, estimated := choose(0, size); math.Abs(scale-size.arcmin*60/1200) > 1e-12 || !estimated {
		t.Errorf("scale %g, estimated %t", scale, estimated)
	}
	if scale, estimated := choose(1.6, size); scale != 1.6 || estimated {
		t.Errorf("of stated optics of 1.6″ a pixel comes %g, estimated %t", scale, estimated)
	}
	if size := moonFor(g, make([]panelTable, 3)); size.arcmin != meanDiameter || size.from != moonOfMean {
		t.Errorf("without a clock the Moon is %g′ wide by %q", size.arcmin, size.from)
	}
	g.Sphere = sphereTable{DistanceKM: 360000, Carried: true}
	if size := moonFor(g, tables); size.from != moonOfSite || size.least != size.arcmin || size.most != size.arcmin {
		t.Errorf("with a site the Moon is %+v", size)
	}
}
