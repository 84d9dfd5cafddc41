package finish

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"plenilune/steps/kernel/gazetteer"
	"plenilune/steps/kernel/lettering"
	"plenilune/steps/kernel/moon"
	"plenilune/steps/kernel/portable"
)

// nameRow is one name in the finished picture, in its pixels.
type nameRow struct {
	Text    string  `json:"text"`
	X       float64 `json:"x"` // where the feature's middle lies
	Y       float64 `json:"y"`
	Left    int     `json:"left"` // where the text begins on its baseline
	Base    int     `json:"base"`
	Px      float64 `json:"px"` // size of its letters
	Slanted bool    `json:"slanted,omitempty"`
}

// The size of letters, in diameters of the disk, for features of usualKM and smaller; features sixteen times as large have them
// twice as high. Never smaller than can be read (by eye, no source).
const (
	lettersOfDisk = 1.0 / 110
	leastLetters  = 11.0
	usualKM       = 60.0
)

// landmarks are features by which observers find their way, the best known first. The list is ours.
var landmarks = strings.Split("Tycho,Copernicus,Plato,Aristarchus,Kepler,Clavius,Ptolemaeus,Langrenus,Grimaldi,Theophilus,Archimedes,Gassendi,Petavius,"+
	"Sinus Iridum,Montes Apenninus,Eratosthenes,Posidonius,Alphonsus,Aristoteles,Schickard,Arzachel,Endymion,Cleomedes,Hipparchus,Cyrillus,"+
	"Catharina,Proclus,Rupes Recta,Vallis Alpes,Montes Alpes,Montes Caucasus,Eudoxus,Aristillus,Autolycus,Atlas,Hercules,Albategnius,Fracastorius,"+
	"Maginus,Longomontanus,Montes Jura,Montes Carpatus,Piccolomini,Pitatus,Bullialdus,Manilius,Menelaus,Macrobius,Stevinus,Furnerius,Moretus,"+
	"Wilhelm,Cassini,Timocharis,Reinhold,Lansberg,Hevelius,Riccioli,Schiller,Herodotus,Mons Pico,Messier,Linné,Mösting A,Byrgius A", ",")

var (
	seas = []string{"Oceanus ", "Mare ", "Sinus ", "Lacus ", "Palus "}
	// long and thin: the diameter stated is a length
	long = []string{"Rima ", "Rimae ", "Vallis ", "Rupes ", "Dorsum ", "Dorsa ", "Catena ", "Montes ", "Promontorium "}
)

func begins(name string, with []string) bool {
	return slices.ContainsFunc(with, func(p string) bool { return strings.HasPrefix(name, p) })
}

// lettered tells a crater that is named after a neighbour, as Clavius D.
func lettered(name string) bool {
	i := strings.LastIndexByte(name, ' ')
	return i >= 0 && len(name)-i-1 <= 2 && strings.ToUpper(name[i:]) == name[i:]
}

// weight orders features by how much a picture wants their names, in kilometres of a crater that is wanted as much.
func weight(f gazetteer.Feature) float64 {
	w := f.DiameterKM
	switch i := slices.Index(landmarks, f.Name); {
	case i >= 0:
		return max(w, float64(900-10*i))
	case begins(f.Name, seas):
		return 2 * w
	case lettered(f.Name):
		return w / 8
	case begins(f.Name, long):
		return w / 5
	}
	return w
}

// chart is what names are placed on.
type chart struct {
	frame frame
	limb  limb // before turning
	lies  orientation
	disk  moon.Disk
	light *lightTable
	size  float64 // of letters, against what suits the disk
	taken []box
}

// box is a rectangle of the finished picture that is written on.
type box struct{ X0, Y0, X1, Y1 float64 }

func (b box) grown(d float64) box { return box{b.X0 - d, b.Y0 - d, b.X1 + d, b.Y1 + d} }

func (b box) meets(c box) bool { return b.X0 < c.X1 && c.X0 < b.X1 && b.Y0 < c.Y1 && c.Y0 < b.Y1 }

// at returns where in the finished picture a place of the Moon lies.
func (c *chart) at(p moon.Point) (x, y float64) {
	u, v, _ := c.disk.Project(p)
	return c.frame.fromSource(c.lies.shown(c.limb, u, v))
}

// The least cosine of the angle under which ground is seen for its name to be written, and how bright it must be on the mean,
// of the brightest ground at large.
const (
	leastEmission = 0.12
	leastLight    = 0.06
)

// usualNames is how many names suit a disk whose letters have their usual size (by eye, no source); fewer suit a smaller one, on which
// they are larger against it.
const usualNames = 50

// names chooses and places names, the most wanted first: of features in the light and on the side that is seen, none of which
// overlaps another or what is taken, or runs off the picture. most bounds their number; 0 takes as many as suit, and none of craters that
// are named after their neighbours.
func (c *chart) names(features []gazetteer.Feature, most int, smallestKM float64) []nameRow {
	few := most == 0
	if few {
		most = max(1, int(math.Round(usualNames*min(1, 2*lettersOfDisk*c.limb.Radius/c.least()))))
	}
	var out []nameRow
	for _, f := range c.byWant(features) {
		if len(out) >= most {
			break
		}
		if f.DiameterKM < smallestKM || few && lettered(f.Name) && !slices.Contains(landmarks, f.Name) {
			continue
		}
		if n, ok := c.place(f); ok {
			out = append(out, n)
		}
	}
	return out
}

// byWant returns the features that are seen, the most wanted first; what is seen aslant is wanted less.
func (c *chart) byWant(features []gazetteer.Feature) []gazetteer.Feature {
	type wish struct {
		of   gazetteer.Feature
		want float64
	}
	var wishes []wish
	for _, f := range features {
		if e := c.disk.Emission(moon.At(f.Longitude, f.Latitude)); e >= leastEmission {
			wishes = append(wishes, wish{f, float64(weight(f) * e)})
		}
	}
	slices.SortStableFunc(wishes, func(a, b wish) int { return cmp.Compare(b.want, a.want) })
	out := make([]gazetteer.Feature, len(wishes))
	for i, w := range wishes {
		out[i] = w.of
	}
	return out
}

// least is the size of the smallest letters.
func (c *chart) least() float64 {
	return max(leastLetters, 2*lettersOfDisk*c.limb.Radius*c.size)
}

// letters returns the size of a feature's name.
func (c *chart) letters(f gazetteer.Feature) float64 {
	larger := portable.Log(max(f.DiameterKM, usualKM)/usualKM) / portable.Log(16)
	if begins(f.Name, long) {
		larger = 0
	}
	return math.Round(min(lettering.MostPx, float64(c.least()*(1+min(1, larger)))))
}

func (c *chart) place(f gazetteer.Feature) (nameRow, bool) {
	p := moon.At(f.Longitude, f.Latitude)
	n := nameRow{Text: f.Name, Px: c.letters(f), Slanted: begins(f.Name, seas)}
	n.X, n.Y = c.at(p)
	around, inward := c.disk.Scale(p)
	half := float64(c.limb.Radius * f.DiameterKM / 2 / moon.RadiusKM)
	rx, ry := float64(half*around), float64(half*(around+inward)/2)
	if 2*rx < float64(0.5*n.Px) || !c.lit(f, p) {
		return nameRow{}, false
	}
	m := lettering.Draw(n.Text, n.style(), n.Px)
	w, h := float64(m.W), float64(m.H)
	over := w <= 1.7*rx || begins(f.Name, seas) || begins(f.Name, long)
	for _, at := range places(rx, ry, w, h, over) {
		left, top := math.Round(n.X+at[0]-float64(w/2)), math.Round(n.Y+at[1]-float64(h/2))
		b := box{left, top, left + w, top + h}
		if !c.free(b.grown(float64(0.5 * n.Px))) {
			continue
		}
		n.Left, n.Base = int(left)-m.X, int(top)-m.Y
		c.taken = append(c.taken, b)
		return n, true
	}
	return n, false
}

// places lists where a name's middle may lie from the feature's, the best first. What is wide enough carries its name.
func places(rx, ry, w, h float64, over bool) [][2]float64 {
	if over {
		return [][2]float64{{0, 0}, {0, h}, {0, -h}}
	}
	gap := float64(0.45 * h)
	rx, ry = min(rx, w), min(ry, w)
	side, under := rx+gap+float64(w/2), ry+gap+float64(h/2)
	return [][2]float64{{0, under}, {0, -under}, {side, 0}, {-side, 0}}
}

func (c *chart) free(b box) bool {
	const hem = 2
	if b.X0 < hem || b.Y0 < hem || b.X1 > float64(c.frame.W-hem) || b.Y1 > float64(c.frame.H-hem) {
		return false
	}
	return !slices.ContainsFunc(c.taken, b.meets)
}

func (n nameRow) style() lettering.Style {
	if n.Slanted {
		return lettering.Slanted
	}
	return lettering.Upright
}

// lit tells whether half of a feature's ground, and its middle, are in the light: seen at its middle and at points around.
func (c *chart) lit(f gazetteer.Feature, p moon.Point) bool {
	bright := func(p moon.Point) bool {
		u, v, seen := c.disk.Project(p)
		x, y := c.lies.shown(c.limb, u, v)
		return seen && c.light.at(x, y) >= leastLight
	}
	if !bright(p) {
		return false
	}
	n := 0
	half := min(60, f.DiameterKM/4/moon.RadiusKM*180/math.Pi)
	_, cos := portable.Sincos(f.Latitude * math.Pi / 180)
	for _, d := range [4][2]float64{{half / max(cos, 0.05), 0}, {-half / max(cos, 0.05), 0}, {0, half}, {0, -half}} {
		if bright(moon.At(f.Longitude+d[0], max(-90, min(90, f.Latitude+d[1])))) {
			n++
		}
	}
	return n >= 2
}
