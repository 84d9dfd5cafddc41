// Package srgb converts between linear light and the sRGB encoding of
// IEC 61966-2-1:1999. Values run from 0 to 1; beyond, the curves go on.
package srgb

import "plenilune/steps/kernel/portable"

// Encode turns linear light into an sRGB value.
func Encode(c float64) float64 {
	if c <= 0.0031308 {
		return 12.92 * c
	}
	return float64(1.055*portable.Pow(c, 1/2.4)) - 0.055
}

// Decode turns an sRGB value into linear light.
func Decode(v float64) float64 {
	if v <= 0.04045 {
		return v / 12.92
	}
	return portable.Pow((v+0.055)/1.055, 2.4)
}
