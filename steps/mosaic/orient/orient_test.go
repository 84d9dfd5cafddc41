package orient

import (
	"math"
	"math/rand/v2"
	"testing"
)

// knownDark is which ground of the near side is dark: for every five degrees of latitude from 60° north to 30° south, spans of
// longitude, east positive. From memory of the full Moon as any atlas shows it (no source): independent of the gazetteer's names,
// middles and diameters.
var knownDark = [][][2]float64{
	{{-35, 35}}, // 60° north: Mare Frigoris
	{{-60, -50}, {-45, 45}},
	{{-65, -40}, {24, 32}}, // Sinus Roris, Lacus Mortis
	{{-68, -45}, {-38, -26}, {-25, 0}, {23, 32}},
	{{-72, -40}, {-35, 5}, {25, 40}}, // 40°: Procellarum, Imbrium, Somniorum
	{{-72, -40}, {-38, 5}, {12, 22}, {25, 38}},
	{{-72, -50}, {-45, 3}, {10, 28}}, // 30°: Serenitatis
	{{-72, -50}, {-45, 0}, {9, 29}},
	{{-72, -42}, {-42, -10}, {10, 30}, {51, 66}}, // 20°: Crisium
	{{-70, -42}, {-40, -30}, {-12, -5}, {2, 8}, {18, 40}, {51, 67}},
	{{-68, -40}, {-36, -24}, {-12, -4}, {3, 7}, {20, 45}, {65, 72}}, // 10°: Vaporum, Tranquillitatis
	{{-65, -40}, {-37, -24}, {18, 45}, {60, 68}},
	{{-62, -38}, {-36, -14}, {-3, 5}, {20, 40}, {47, 58}, {84, 90}}, // equator
	{{-71, -66}, {-58, -40}, {-34, -12}, {22, 34}, {42, 60}},        // Grimaldi, Cognitum, Fecunditatis
	{{-55, -45}, {-35, -7}, {44, 58}},                               // 10° south
	{{-45, -35}, {-26, -6}, {28, 40}, {47, 56}},                     // Nectaris
	{{-46, -31}, {-28, -8}, {48, 54}},                               // 20°: Humorum, Nubium
	{{-46, -31}, {-27, -9}},
	{{-42, -33}, {-33, -22}, {-20, -12}}, // 30°: Epidemiarum
}

// knownDarkAt is 0…1, soft over two degrees of longitude and from row to row.
func knownDarkAt(lat, lon float64) float64 {
	at := func(j int) float64 {
		dark := 0.0
		if j >= 0 && j < len(knownDark) {
			for _, s := range knownDark[j] {
				dark = max(dark, min(1, max(0, 0.5+min(lon-s[0], s[1]-lon)/2)))
			}
		}
		return dark
	}
	row := (60 - lat) / 5
	j := int(math.Floor(row))
	q := row - float64(j)
	return (1-q)*at(j) + q*at(j+1)
}

// knownMoon is the light of a Moon with that ground, seen from above lat0, lon0 and lit from phase degrees east, its north turn degrees
// anticlockwise from the top, on a globe's samples; rough is how much each place differs from its kind.
func knownMoon(r *rand.Rand, lat0, lon0, phase, turn float64, mirrored bool, rough float64) []float64 {
	grain := map[[2]int]float64{}
	out := make([]float64, Side*Side)
	sin, cos := math.Sincos(rad(turn))
	sin0, cos0 := math.Sincos(rad(lat0))
	for k := range out {
		x, y := unit(k%Side), -unit(k/Side)
		u, v := cos*x+sin*y, cos*y-sin*x
		if mirrored {
			u = -u
		}
		out[k] = math.NaN()
		if u*u+v*v >= 1 {
			out[k] = 0
			continue
		}
		z := math.Sqrt(1 - u*u - v*v)
		lat := math.Asin(z*sin0 + v*cos0)
		lon := rad(lon0) + math.Atan2(u, z*cos0-v*sin0)
		albedo := 1 - 0.45*knownDarkAt(degrees(lat), degrees(lon))
		cell := [2]int{int(math.Floor(degrees(lat) / 4)), int(math.Floor(degrees(lon) / 4))}
		if _, ok := grain[cell]; !ok {
			grain[cell] = math.Exp(rough * r.NormFloat64())
		}
		sun := math.Sin(rad(phase))*u + math.Cos(rad(phase))*z
		out[k] = albedo * grain[cell] * max(0, sun) / (max(0, sun) + z + 0.05)
	}
	return out
}

// Whatever the phase, the libration, the turn and the handedness: what is called known is right, and mostly it is known.
func TestOrientationOfKnownGround(t *testing.T) {
	maps := Globes()
	r := rand.New(rand.NewPCG(7, 7))
	known, all, beyond, sum := 0, 0, 0, 0.0
	for _, phase := range []float64{0, -30, 45, 70, -70, 90, -90} {
		for trial := range 4 {
			turn, mirrored := 360*r.Float64()-180, trial%2 == 1
			lat, lon := 14*r.Float64()-7, 16*r.Float64()-8
			o := Find(NewFace(knownMoon(r, lat, lon, phase, turn, mirrored, 0.15)), maps)
			all++
			if !o.Known {
				continue
			}
			known++
			off := math.Abs(degrees(turnWithin(rad(o.NorthDeg - turn))))
			if off > o.UnsureDeg {
				beyond++
			}
			if sum += off; off > 10 || o.Mirrored != mirrored || o.Source != "found" {
				t.Errorf("phase %g°, libration %.1f° %.1f°, north at %.1f°, mirrored %v: found %+v", phase, lon, lat, turn, mirrored, o)
			}
		}
	}
	if known < all*3/4 {
		t.Errorf("%d of %d orientations are known", known, all)
	}
	if beyond > known/10 {
		t.Errorf("%d of %d orientations are off by more than is said", beyond, known)
	}
	if sum > 3.5*float64(known) {
		t.Errorf("north is off by %.1f° on average", sum/float64(known))
	}
}

// A Moon with maria of other shapes at other places, or a part of ours that tells too little, is not taken for ours.
func TestOrientationOfOtherGround(t *testing.T) {
	maps := Globes()
	r := rand.New(rand.NewPCG(8, 1))
	for trial := range 40 {
		var other []flood
		for range 6 + r.IntN(14) {
			size := 0.08 + 0.25*r.Float64()
			other = append(other, flood{math.Asin(2*r.Float64() - 1), math.Pi * (r.Float64() - 0.5), size, size * (0.7 + r.Float64()), 1})
		}
		light := globe(other, 0, 0)
		phase := float64(trial%5-2) * 30
		for k, dark := range light {
			x, y := unit(k%Side), -unit(k/Side)
			if light[k] = 0; x*x+y*y < 1 {
				z := math.Sqrt(1 - x*x - y*y)
				sun := max(0, math.Sin(rad(phase))*x+math.Cos(rad(phase))*z)
				light[k] = (1 - 0.45*dark) * sun / (sun + z + 0.05)
			}
		}
		if o := Find(NewFace(light), maps); o.Known {
			t.Errorf("trial %d, phase %g°: another Moon lies %+v", trial, phase, o)
		}
	}
	crescent := knownMoon(r, 0, 0, 125, 0, false, 0.15)
	if o := Find(NewFace(crescent), maps); o.Known {
		t.Errorf("a crescent lies %+v", o)
	}
	nothing := make([]float64, Side*Side)
	if o := Find(NewFace(nothing), maps); o != (Orientation{}) {
		t.Errorf("a black picture lies %+v", o)
	}
}

func TestStatedOrientationIsHeldAgainstFound(t *testing.T) {
	stated := Orientation{Known: true, Source: "stated", NorthDeg: 170}
	if o := stated.Against(Orientation{Known: true, NorthDeg: -175, Likeness: 0.6, Rival: 0.3}); o.Belied || o.NorthDeg != 170 || o.Likeness != 0.6 {
		t.Errorf("15° off: %+v", o)
	}
	if o := stated.Against(Orientation{Known: true, NorthDeg: -10}); !o.Belied || o.FoundDeg != -10 || o.NorthDeg != 170 {
		t.Errorf("upside down: %+v", o)
	}
	if o := stated.Against(Orientation{Known: true, NorthDeg: 170, Mirrored: true}); !o.Belied || !o.FoundMirrored {
		t.Errorf("mirrored: %+v", o)
	}
	if o := stated.Against(Orientation{NorthDeg: -10}); o.Belied {
		t.Errorf("what is not known belies nothing: %+v", o)
	}
}

// Where the maria of a few names lie on the globe seen from above the equator: from their positions in the handbooks.
func TestGlobeIsNorthUpEastRight(t *testing.T) {
	g := globe(maria(), 0, 0)
	at := func(lat, lon float64) float64 {
		return sampleGlobe(g, math.Cos(rad(lat))*math.Sin(rad(lon)), math.Sin(rad(lat)))
	}
	for name, p := range map[string][2]float64{"Crisium": {17, 59}, "Imbrium": {33, -16}, "Humorum": {-24, -39}, "Serenitatis": {28, 17}} {
		if at(p[0], p[1]) < 0.7 {
			t.Errorf("Mare %s is not dark: %.2f", name, at(p[0], p[1]))
		}
	}
	for name, p := range map[string][2]float64{"Tycho": {-43, -11}, "Maurolycus": {-42, 14}, "Albategnius": {-11, 4}} {
		if at(p[0], p[1]) > 0.2 {
			t.Errorf("the ground about %s is not bright: %.2f", name, at(p[0], p[1]))
		}
	}
}
