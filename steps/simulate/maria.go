package simulate

import "math"

// lava is one oval of a mare: maria are drawn as unions of ovals with torn
// shores. Places follow the IAU/USGS gazetteer, sizes are by eye.
type lava struct {
	lat, lon          float64 // degrees
	eastKm, northKm   float64 // semi-axes
	albedo            float64 // normal albedo, 0.06 the darkest
	centre, east, nor vec     // set by newMaria, selenographic axes
}

var lavas = []lava{
	{lat: 34.7, lon: -16.5, eastKm: 560, northKm: 550, albedo: 0.067},  // Imbrium
	{lat: 44.5, lon: -31.5, eastKm: 125, northKm: 112, albedo: 0.069},  // Sinus Iridum
	{lat: 27.4, lon: 18.4, eastKm: 335, northKm: 310, albedo: 0.071},   // Serenitatis
	{lat: 9, lon: 30, eastKm: 390, northKm: 290, albedo: 0.059},        // Tranquillitatis
	{lat: 12, lon: 21, eastKm: 190, northKm: 190, albedo: 0.060},       //
	{lat: 1.5, lon: 36.5, eastKm: 200, northKm: 150, albedo: 0.062},    //
	{lat: -6, lon: 27.5, eastKm: 100, northKm: 105, albedo: 0.068},     // Sinus Asperitatis
	{lat: 16.5, lon: 59, eastKm: 285, northKm: 218, albedo: 0.063},     // Crisium
	{lat: 22.5, lon: 67.6, eastKm: 30, northKm: 70, albedo: 0.072},     // Anguis
	{lat: -3, lon: 51.5, eastKm: 300, northKm: 260, albedo: 0.066},     // Fecunditatis
	{lat: -13, lon: 52, eastKm: 210, northKm: 240, albedo: 0.068},      //
	{lat: -15.3, lon: 34.6, eastKm: 165, northKm: 168, albedo: 0.070},  // Nectaris
	{lat: -24.3, lon: -38.7, eastKm: 200, northKm: 205, albedo: 0.063}, // Humorum
	{lat: -18.5, lon: -16, eastKm: 300, northKm: 240, albedo: 0.068},   // Nubium
	{lat: -24.5, lon: -13, eastKm: 190, northKm: 180, albedo: 0.070},   //
	{lat: -10.5, lon: -22.7, eastKm: 175, northKm: 170, albedo: 0.066}, // Cognitum
	{lat: 5, lon: -28, eastKm: 270, northKm: 200, albedo: 0.073},       // Insularum
	{lat: 11.3, lon: -8.6, eastKm: 135, northKm: 130, albedo: 0.068},   // Sinus Aestuum
	{lat: 1.7, lon: 0.5, eastKm: 150, northKm: 95, albedo: 0.071},      // Sinus Medii
	{lat: 13.3, lon: 4, eastKm: 118, northKm: 118, albedo: 0.067},      // Vaporum
	{lat: 26.8, lon: 0.5, eastKm: 70, northKm: 75, albedo: 0.070},      // Palus Putredinis
	{lat: 55.5, lon: -42, eastKm: 190, northKm: 85, albedo: 0.077},     // Frigoris, a strip
	{lat: 57.5, lon: -24, eastKm: 230, northKm: 78, albedo: 0.078},     //
	{lat: 57.7, lon: -5, eastKm: 240, northKm: 80, albedo: 0.079},      //
	{lat: 56.3, lon: 12, eastKm: 220, northKm: 85, albedo: 0.078},      //
	{lat: 53.5, lon: 28, eastKm: 190, northKm: 75, albedo: 0.082},      //
	{lat: 42, lon: -55, eastKm: 330, northKm: 260, albedo: 0.066},      // Procellarum
	{lat: 30, lon: -47, eastKm: 300, northKm: 280, albedo: 0.066},      //
	{lat: 22, lon: -58, eastKm: 400, northKm: 300, albedo: 0.062},      //
	{lat: 14, lon: -42, eastKm: 280, northKm: 260, albedo: 0.068},      //
	{lat: 6, lon: -52, eastKm: 380, northKm: 260, albedo: 0.062},       //
	{lat: -4, lon: -46, eastKm: 330, northKm: 240, albedo: 0.064},      //
	{lat: -10, lon: -40, eastKm: 230, northKm: 170, albedo: 0.067},     //
	{lat: 51.5, lon: -52, eastKm: 160, northKm: 110, albedo: 0.072},    // Sinus Roris
	{lat: 37, lon: 29.5, eastKm: 170, northKm: 125, albedo: 0.080},     // Lacus Somniorum
	{lat: 45.2, lon: 27.3, eastKm: 72, northKm: 72, albedo: 0.082},     // Lacus Mortis
	{lat: 20, lon: 37.5, eastKm: 90, northKm: 55, albedo: 0.078},       // Sinus Amoris
	{lat: -32, lon: -27.5, eastKm: 135, northKm: 80, albedo: 0.076},    // Palus Epidemiarum
	{lat: 57, lon: 81, eastKm: 110, northKm: 110, albedo: 0.075},       // Humboldtianum
	{lat: 12.7, lon: 86.5, eastKm: 175, northKm: 160, albedo: 0.078},   // Marginis
	{lat: -1.7, lon: 87, eastKm: 185, northKm: 185, albedo: 0.076},     // Smythii
	{lat: 7.3, lon: 68.6, eastKm: 105, northKm: 60, albedo: 0.078},     // Undarum
	{lat: 1.3, lon: 65.3, eastKm: 60, northKm: 70, albedo: 0.076},      // Spumans
	{lat: -46, lon: 88, eastKm: 260, northKm: 260, albedo: 0.092},      // Australe
	{lat: -5.4, lon: -68.4, eastKm: 76, northKm: 82, albedo: 0.060},    // Grimaldi
	{lat: -3.5, lon: -75, eastKm: 28, northKm: 40, albedo: 0.074},      // Riccioli
	{lat: 51.6, lon: -9.4, eastKm: 45, northKm: 45, albedo: 0.060},     // Plato
	{lat: 29.7, lon: -4, eastKm: 36, northKm: 36, albedo: 0.072},       // Archimedes
	{lat: -42.8, lon: -54.2, eastKm: 55, northKm: 42, albedo: 0.083},   // Schickard
	{lat: 53.7, lon: 56.6, eastKm: 55, northKm: 55, albedo: 0.068},     // Endymion
	{lat: -16.7, lon: -66.9, eastKm: 24, northKm: 24, albedo: 0.062},   // Crüger
	{lat: -13.8, lon: -50.2, eastKm: 22, northKm: 22, albedo: 0.064},   // Billy
	{lat: 9.3, lon: 15.3, eastKm: 38, northKm: 42, albedo: 0.070},      // Julius Caesar
}

// mountains is the raised rim of a basin, between two azimuths (degrees from
// north through east; 0 to 360 is all around).
type mountains struct {
	lat, lon, radiusKm, widthKm, heightKm, from, to float64
	centre, east, nor                               vec
}

var basinRims = []mountains{
	{lat: 34.7, lon: -16.5, radiusKm: 625, widthKm: 62, heightKm: 3.4, from: 100, to: 176}, // Apennines
	{lat: 34.7, lon: -16.5, radiusKm: 630, widthKm: 50, heightKm: 2.4, from: 60, to: 92},   // Caucasus
	{lat: 34.7, lon: -16.5, radiusKm: 610, widthKm: 48, heightKm: 2.0, from: 20, to: 56},   // Alps
	{lat: 34.7, lon: -16.5, radiusKm: 625, widthKm: 40, heightKm: 1.5, from: 182, to: 222}, // Carpathians
	{lat: 44.5, lon: -31.5, radiusKm: 136, widthKm: 26, heightKm: 2.8, from: 232, to: 420}, // Jura
	{lat: 27.4, lon: 18.4, radiusKm: 365, widthKm: 42, heightKm: 1.5, from: 165, to: 236},  // Haemus
	{lat: 27.4, lon: 18.4, radiusKm: 372, widthKm: 40, heightKm: 1.1, from: 60, to: 120},   // Taurus
	{lat: 16.8, lon: 59, radiusKm: 282, widthKm: 46, heightKm: 1.9, from: 0, to: 360},      // around Crisium
	{lat: -15.3, lon: 34.6, radiusKm: 198, widthKm: 32, heightKm: 0.9, from: 0, to: 360},   // around Nectaris
	{lat: -15.3, lon: 34.6, radiusKm: 440, widthKm: 34, heightKm: 2.1, from: 185, to: 290}, // Altai
	{lat: -24.3, lon: -38.7, radiusKm: 226, widthKm: 32, heightKm: 1.3, from: 0, to: 360},  // around Humorum
}

// maria tells where the dark plains lie and how high the country is on the
// whole; all places are in selenographic axes.
type maria struct {
	lavas  []lava
	rims   []mountains
	shore  ground
	broad  ground
	rugged ground
}

func newMaria(seed uint64) *maria {
	m := &maria{shore: newGround(seed, 0), broad: newGround(seed, 1), rugged: newGround(seed, 2)}
	for _, l := range lavas {
		l.centre = place(l.lat, l.lon)
		l.east, l.nor = tangent(l.centre)
		m.lavas = append(m.lavas, l)
	}
	for _, r := range basinRims {
		r.centre = place(r.lat, r.lon)
		r.east, r.nor = tangent(r.centre)
		m.rims = append(m.rims, r)
	}
	return m
}

// country is what the plains and basins make of a place.
type country struct {
	mare     float64 // 0 highland … 1 mare
	albedo   float64 // of the lava there, paler toward the shore
	heightKm float64 // with rims and broad swells, without craters
	rim      float64 // 0…1, on a basin's rim
}

func (m *maria) at(p vec) country {
	var c country
	lift := m.rimKm(p)
	c.rim = min(1, lift/1.5)
	tear := float64(m.shore.sum(p, 7, 7, 0.68)*95) - 8 // km by which the shore is moved
	inside, weight := math.Inf(-1), 0.0
	for i := range m.lavas {
		d, ok := m.lavas[i].insideKm(p)
		if !ok {
			continue
		}
		size := min(1, min(m.lavas[i].eastKm, m.lavas[i].northKm)/200)
		d += float64(tear * size)
		inside = max(inside, d)
		if d > -40 {
			w := float64((d + 40) * (d + 40))
			weight += w
			c.albedo += float64(w * m.lavas[i].albedo)
		}
	}
	if weight > 0 {
		c.albedo /= weight
	} else {
		c.albedo = 0.07
	}
	c.albedo *= 1 + float64(0.22*(1-step(-10, 95, inside)))
	c.mare = step(-13, 11, inside-float64(lift*45))
	high := 0.3 + float64(0.9*m.broad.sum(p, 2.1, 3, 0.5)) + lift
	c.heightKm = blend(high, -1.7, step(-60, 14, inside-float64(lift*30)))
	return c
}

// insideKm is how far within the oval's border p lies, roughly; false where p is
// too far away to matter.
func (l *lava) insideKm(p vec) (float64, bool) {
	if p.dot(l.centre) < 0.8 {
		return 0, false
	}
	x := float64(p.dot(l.east)*moonRadiusKm) / l.eastKm
	y := float64(p.dot(l.nor)*moonRadiusKm) / l.northKm
	rho := math.Sqrt(float64(x*x) + float64(y*y))
	return float64((1 - rho) * min(l.eastKm, l.northKm)), true
}

// rimKm is the height that basin rims add at p.
func (m *maria) rimKm(p vec) float64 {
	lift := 0.0
	for i := range m.rims {
		r := &m.rims[i]
		if p.dot(r.centre) < 0.85 {
			continue
		}
		x, y := float64(p.dot(r.east)*moonRadiusKm), float64(p.dot(r.nor)*moonRadiusKm)
		d := math.Sqrt(float64(x*x)+float64(y*y)) - r.radiusKm
		if d < -2.2*r.widthKm || d > 3.5*r.widthKm {
			continue
		}
		width := r.widthKm
		if d > 0 {
			width *= 1.7 // the outer side falls gently
		}
		k := d / width
		shape := 1 / (1 + float64(3*float64(sq(k)*sq(k))) + float64(1.5*sq(k)))
		lift += float64(float64(r.heightKm*shape) * r.sector(x, y))
	}
	if lift == 0 {
		return 0
	}
	return float64(lift * (0.25 + m.rugged.ridges(p, 22, 3)))
}

// sector is 1 within the azimuths of the rim and fades out over 10 degrees.
func (r *mountains) sector(x, y float64) float64 {
	if r.to-r.from >= 360 {
		return 1
	}
	az := azimuthDeg(x, y)
	for az < r.from-10 {
		az += 360
	}
	return min(step(r.from-10, r.from+4, az), 1-step(r.to-4, r.to+10, az))
}
