package simulate

import (
	"context"
	"math"

	"plenilune/steps/kernel/portable"
)

// raySystem is a young crater with bright streaks. Places and diameters are the
// gazetteer's; reach and strength are by eye.
type raySystem struct {
	lat, lon, km float64
	streaks      int
	reachKm      float64
	bright       float64 // added albedo close to the crater
}

var raySystems = []raySystem{
	{-43.30, -11.22, 85, 58, 1700, 0.100}, // Tycho
	{9.62, -20.08, 96, 70, 520, 0.075},    // Copernicus
	{8.12, -38.01, 30, 44, 340, 0.070},    // Kepler
	{23.73, -47.49, 40, 36, 300, 0.080},   // Aristarchus
	{16.09, 46.89, 27, 26, 330, 0.070},    // Proclus
	{73.48, -10.06, 52, 28, 620, 0.055},   // Anaxagoras
	{-8.86, 61.04, 132, 32, 330, 0.035},   // Langrenus
	{-32.49, 54.14, 72, 34, 520, 0.045},   // Stevinus
	{-24.55, -63.81, 18, 26, 380, 0.055},  // Byrgius A
	{61.98, 50.32, 32, 24, 500, 0.050},    // Thales
	{16.26, 15.93, 27, 18, 150, 0.045},    // Menelaus
	{-0.42, 32.69, 8, 14, 70, 0.060},      // Censorinus
	{2.77, 17.29, 17, 16, 80, 0.055},      // Dionysius
	{-3.21, -5.19, 13, 16, 70, 0.050},     // Mösting A
	{-1.90, 47.65, 14, 6, 130, 0.040},     // Messier
	{33.88, 1.21, 54, 30, 210, 0.024},     // Aristillus
	{-11.45, 26.28, 98, 30, 260, 0.024},   // Theophilus
}

// streak is one ray: a strip along a great circle.
type streak struct {
	pole           vec // of the great circle
	along          vec // from the centre, at right angles
	reach          float64
	width, widthTo float64 // at the crater and at the end, radii
	bright         float64
	shift          float64 // the circle misses the centre by so much
}

// paintRays brightens the albedo by all ray systems.
func (r *relief) paintRays(ctx context.Context, seed uint64, workers int) error {
	patchy := newGround(seed, 8)
	for k, s := range raySystems {
		centre := place(s.lat, s.lon)
		rays := s.streaksOf(centre, newDice(seed, forRays, k))
		cos := portable.Cos(min(math.Pi, s.reachKm*1.3/moonRadiusKm))
		err := each(ctx, workers, r.side, func(v int) error {
			for i := v * r.side; i < (v+1)*r.side; i++ {
				if r.albedo[i] == 0 {
					continue
				}
				p := r.toMoon(vec{float64(r.dirs[3*i]), float64(r.dirs[3*i+1]), float64(r.dirs[3*i+2])})
				if p.dot(centre) < cos {
					continue
				}
				r.albedo[i] += float32(s.at(p, centre, rays, patchy))
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	return nil
}

func (s raySystem) streaksOf(centre vec, d *dice) []streak {
	east, north := tangent(centre)
	out := make([]streak, s.streaks)
	for i := range out {
		sin, cos := portable.Sincos(d.between(0, 2*math.Pi))
		along := east.times(sin).plus(cos, north)
		length := d.unit()
		out[i] = streak{
			pole: centre.cross(along), along: along,
			reach:   s.reachKm / moonRadiusKm * (0.22 + float64(0.78*float64(length*length))),
			width:   s.km * d.between(0.06, 0.2) / moonRadiusKm,
			bright:  s.bright * d.between(0.35, 1),
			shift:   s.km / 2 * d.between(-0.9, 0.9) / moonRadiusKm,
			widthTo: s.km * d.between(0.15, 0.5) / moonRadiusKm,
		}
	}
	return out
}

// at returns the added albedo at p.
func (s raySystem) at(p, centre vec, rays []streak, patchy ground) float64 {
	apart := p.plus(-1, centre).norm() * moonRadiusKm // chord in km
	rim := s.km / 2
	cloud := 0.5 + float64(0.5*patchy.sum(p, 24, 4, 0.7))
	cloud = max(0, cloud)
	halo := 0.0
	if apart < 6*rim {
		k := apart / rim
		halo = float64(s.bright*(0.35+float64(0.65*cloud))) / (1 + float64(float64(k*k)*0.32))
		halo *= 1 - step(3, 6, k)
		if s.km > 60 && k > 1 { // a ring of darker glass
			halo *= 1 - float64(0.45*(1-step(1.35, 1.9, k)))
		}
	}
	sum := 0.0
	for i := range rays {
		sum += rays[i].at(p, cloud)
	}
	if limit := s.bright * 0.9; sum > limit {
		sum = limit
	}
	return halo + float64(sum*step(0.7, 1.6, apart/rim))
}

func (k *streak) at(p vec, cloud float64) float64 {
	off := p.dot(k.pole) - k.shift
	if math.Abs(off) > 3*max(k.widthTo, k.width) {
		return 0
	}
	t := p.dot(k.along) / k.reach
	if t <= 0 || t >= 1 {
		return 0
	}
	w := off / blend(k.width, k.widthTo, t)
	across := 1 / (1 + float64(float64(w*w)*float64(w*w)))
	lumps := blend(1, step(0.25, 0.75, cloud), 0.35+float64(0.6*t))
	return float64(k.bright*across) * float64(float64((1-float64(t*t))*(1-float64(0.45*t)))*lumps)
}
