package moon

import "plenilune/steps/kernel/portable"

// Air is what bends the light: pressure, temperature and the share of the pressure that is water vapour.
type Air struct{ PressureHPA, TemperatureC, VapourHPA float64 }

// mmHg is a millimetre of mercury in hPa.
const mmHg = 1.333224

// StandardAir returns the air at an elevation in metres above the sea, −500…9000: the pressure of the ICAO standard atmosphere
// (ISO 2533:1975), at 10 °C and with 8 hPa of vapour, as on a usual night.
func StandardAir(elevationM float64) Air {
	return Air{PressureHPA: 1013.25 * portable.Pow(1-float64(2.25577e-5*elevationM), 5.25588), TemperatureC: 10, VapourHPA: 8}
}

// Refractivity returns by how much the refractive index of air is above 1, in millionths, at a wavelength of 300…2000 nm: Filippenko (1982),
// PASP 94:715, eqs. 1 to 3, after Edlén (1953).
func (a Air) Refractivity(nm float64) float64 {
	s := 1e6 / float64(nm*nm) // 1/µm²
	n := 64.328 + 29498.1/(146-s) + 255.4/(41-s)
	p, warm := a.PressureHPA/mmHg, 1+float64(0.003661*a.TemperatureC)
	n *= p * (1 + float64((1.049-float64(0.0157*a.TemperatureC))*1e-6*p)) / float64(720.883*warm)
	return float64(n) - float64((0.0624-float64(0.000680*s))/warm*a.VapourHPA/mmHg)
}

// Dispersion returns by how many arcsec light of one wavelength is lifted more than that of another, at an apparent altitude of
// 10…90°, where the air counts as flat layers.
func (a Air) Dispersion(nm, otherNM, apparentDeg float64) float64 {
	s, c := portable.Sincos(apparentDeg * degree)
	return (a.Refractivity(nm) - a.Refractivity(otherNM)) * 1e-6 * c / s / arcsec
}
