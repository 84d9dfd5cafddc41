package moon

// Time is an instant in days from 2000-01-01 12h (Julian date 2 451 545.0): in universal time, by which the Earth turns, and in
// terrestrial time, by which it and the Moon move.
type Time struct{ UT, TT float64 }

// j2000 is the Julian date of the zero of Time.
const j2000 = 2451545.0

const dayNS = 86400 * 1000000000

// Unix returns the instant of a count of nanoseconds of UTC since 1970. UTC stands for universal time, which it follows within
// 0.9 s: 0.4 km of the Earth's turn.
func Unix(ns int64) Time {
	day, rest := ns/dayNS, ns%dayNS
	d := float64(day-10957) - 0.5 + float64(rest)/dayNS
	return Time{UT: d, TT: d + deltaT(d)/86400}
}

// Universal returns the instant of a Julian date in universal time.
func Universal(julian float64) Time {
	d := julian - j2000
	return Time{UT: d, TT: d + deltaT(d)/86400}
}

// Terrestrial returns the instant of a Julian date in terrestrial time.
func Terrestrial(julian float64) Time {
	d := julian - j2000
	return Time{UT: d - deltaT(d)/86400, TT: d}
}

// Julian returns the Julian date in universal time.
func (t Time) Julian() float64 { return t.UT + j2000 }

// Calendar returns the Julian date of a day of the Gregorian calendar, which may have a fraction: 4.81 is 19h26m on the 4th
// (Meeus, Astronomical Algorithms, 2nd ed., ch. 7).
func Calendar(year, month int, day float64) float64 {
	if month <= 2 {
		year, month = year-1, month+12
	}
	century := year / 100
	leap := 2 - century + century/4
	return float64(1461*(year+4716)/4) + float64(306001*(month+1)/10000) + day + float64(leap) - 1524.5
}

// leaps are the days, from J2000, at which TAI − UTC grew to the seconds beside them (IERS, Bulletin C).
var leaps = [...]struct{ day, seconds float64 }{
	{-10227.5, 10}, {-10045.5, 11}, {-9861.5, 12}, {-9496.5, 13}, {-9131.5, 14}, {-8766.5, 15}, {-8400.5, 16},
	{-8035.5, 17}, {-7670.5, 18}, {-7305.5, 19}, {-6758.5, 20}, {-6393.5, 21}, {-6028.5, 22}, {-5297.5, 23},
	{-4383.5, 24}, {-3652.5, 25}, {-3287.5, 26}, {-2740.5, 27}, {-2375.5, 28}, {-2010.5, 29}, {-1461.5, 30},
	{-914.5, 31}, {-365.5, 32}, {2191.5, 33}, {3287.5, 34}, {4564.5, 35}, {5659.5, 36}, {6209.5, 37},
}

// deltaT returns TT − UT in seconds: from the leap seconds since 1972, the last one held from then on; before, the
// polynomials of Espenak & Meeus (2006), Five Millennium Canon of Solar Eclipses, made for 1941 to 1986.
func deltaT(d float64) float64 {
	if d < leaps[0].day {
		if y := d/365.25 + 25; y > -14 {
			return poly(y, 45.45, 1.067, -1.0/260, -1.0/718)
		} else {
			return poly(y+25, 29.07, 0.407, -1.0/233, 1.0/2547)
		}
	}
	s := 0.0
	for _, l := range leaps {
		if d >= l.day {
			s = l.seconds
		}
	}
	return s + 32.184
}
