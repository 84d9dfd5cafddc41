// Package icc writes small colour profiles by formula: sRGB, and linear light with the primaries of sRGB, in colour and in grey.
//
// Source: ICC.1:2010 (profile version 4.3), International Color Consortium; the primaries and the curve are those of
// IEC 61966-2-1:1999, brought to the D50 of the profile connection space by the linear Bradford transform (annex E).
package icc

import (
	"bytes"
	"encoding/binary"
	"math"
)

// Kind is what the samples of a picture are.
type Kind struct {
	Grey   bool // one channel
	Linear bool // proportional to light; else the curve of sRGB
}

// name is what programs show.
func (k Kind) name() string {
	switch {
	case k.Grey && k.Linear:
		return "Linear grey"
	case k.Grey:
		return "Grey with the curve of sRGB"
	case k.Linear:
		return "Linear light, primaries of sRGB"
	}
	return "sRGB"
}

// tag is one element of a profile.
type tag struct {
	sign string
	data []byte
}

// whiteD50 is the profile connection space's white, as the standard rounds it (7.2.16).
var whiteD50 = [3]float64{0.9642, 1, 0.8249}

// Profile returns a profile. Equal kinds give equal bytes.
func Profile(k Kind) []byte {
	tags := []tag{{"desc", words(k.name())}, {"cprt", words("No rights are claimed in this profile.")}, {"wtpt", xyz(whiteD50)}}
	curve := curveOf(k.Linear)
	if k.Grey {
		tags = append(tags, tag{"kTRC", curve})
	} else {
		tags = append(tags, tag{"chad", fixed("sf32", flat(adaptation()))})
		m := times(adaptation(), primaries())
		for i, c := range []string{"r", "g", "b"} {
			tags = append(tags, tag{c + "XYZ", xyz([3]float64{m[0][i], m[1][i], m[2][i]})}, tag{c + "TRC", curve})
		}
	}
	return lay(k, tags)
}

// lay puts header, table of tags and their data together; data that is the same stands once.
func lay(k Kind, tags []tag) []byte {
	const head = 128
	table := binary.BigEndian.AppendUint32(nil, uint32(len(tags)))
	var data []byte
	at := map[string]uint32{}
	for _, t := range tags {
		place, ok := at[string(t.data)]
		if !ok {
			place = uint32(head + 4 + 12*len(tags) + len(data))
			at[string(t.data)] = place
			data = append(data, t.data...)
			data = append(data, make([]byte, (4-len(data)%4)%4)...)
		}
		table = append(table, t.sign...)
		table = binary.BigEndian.AppendUint32(table, place)
		table = binary.BigEndian.AppendUint32(table, uint32(len(t.data)))
	}
	out := make([]byte, head)
	binary.BigEndian.PutUint32(out, uint32(head+len(table)+len(data)))
	binary.BigEndian.PutUint32(out[8:], 0x04300000) // version 4.3
	copy(out[12:], "mntr")
	copy(out[16:], map[bool]string{false: "RGB ", true: "GRAY"}[k.Grey])
	copy(out[20:], "XYZ ")
	// A date is asked for: that of the curve's standard, so that equal kinds give equal bytes.
	for i, v := range []uint16{1999, 10, 1} {
		binary.BigEndian.PutUint16(out[24+2*i:], v)
	}
	copy(out[36:], "acsp")
	copy(out[68:], xyz(whiteD50)[8:])
	return append(append(out, table...), data...)
}

// words is a text in the only language that is spoken here, multiLocalizedUnicodeType (10.13).
func words(s string) []byte {
	b := []byte("mluc\x00\x00\x00\x00\x00\x00\x00\x01\x00\x00\x00\x0cenUS")
	b = binary.BigEndian.AppendUint32(b, uint32(2*len(s)))
	b = binary.BigEndian.AppendUint32(b, 28)
	for _, c := range []byte(s) {
		b = append(b, 0, c)
	}
	return b
}

// curveOf is a parametricCurveType (10.16): a power, or the four-part curve of sRGB.
func curveOf(linear bool) []byte {
	if linear {
		return append([]byte("para\x00\x00\x00\x00\x00\x00\x00\x00"), s15(1)...)
	}
	b := []byte("para\x00\x00\x00\x00\x00\x03\x00\x00")
	for _, v := range []float64{2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045} {
		b = append(b, s15(v)...)
	}
	return b
}

// s15 is a number in 65536ths.
func s15(v float64) []byte {
	return binary.BigEndian.AppendUint32(nil, uint32(int32(math.Round(v*65536))))
}

func fixed(kind string, v []float64) []byte {
	var b bytes.Buffer
	b.WriteString(kind + "\x00\x00\x00\x00")
	for _, x := range v {
		b.Write(s15(x))
	}
	return b.Bytes()
}

func xyz(v [3]float64) []byte { return fixed("XYZ ", v[:]) }

type matrix [3][3]float64

func times(a, b matrix) (c matrix) {
	for i := range 3 {
		for j := range 3 {
			for k := range 3 {
				c[i][j] += float64(a[i][k] * b[k][j])
			}
		}
	}
	return c
}

func flat(m matrix) []float64 {
	return append(append(append([]float64{}, m[0][:]...), m[1][:]...), m[2][:]...)
}

// inverse is by cofactors.
func inverse(m matrix) (out matrix) {
	cof := func(i, j int) float64 {
		a, b, c, d := (i+1)%3, (i+2)%3, (j+1)%3, (j+2)%3
		return float64(m[a][c]*m[b][d]) - float64(m[a][d]*m[b][c])
	}
	det := float64(m[0][0]*cof(0, 0)) + float64(m[0][1]*cof(0, 1)) + float64(m[0][2]*cof(0, 2))
	for i := range 3 {
		for j := range 3 {
			out[j][i] = cof(i, j) / det
		}
	}
	return out
}

func apply(m matrix, v [3]float64) (out [3]float64) {
	for i := range 3 {
		out[i] = float64(m[i][0]*v[0]) + float64(m[i][1]*v[1]) + float64(m[i][2]*v[2])
	}
	return out
}

// whiteD65 is sRGB's white, x 0.3127 and y 0.3290, as XYZ.
var whiteD65 = [3]float64{0.3127 / 0.3290, 1, (1 - 0.3127 - 0.3290) / 0.3290}

// primaries are the XYZ of red, green and blue of sRGB under its own white, in columns.
func primaries() matrix {
	xy := [3][2]float64{{0.64, 0.33}, {0.30, 0.60}, {0.15, 0.06}}
	var m matrix
	for i, p := range xy {
		m[0][i], m[1][i], m[2][i] = p[0]/p[1], 1, (1-p[0]-p[1])/p[1]
	}
	s := apply(inverse(m), whiteD65)
	for i := range 3 {
		for j := range 3 {
			m[j][i] *= s[i]
		}
	}
	return m
}

// adaptation takes colours from under D65 to under D50 (annex E.2).
func adaptation() matrix {
	bradford := matrix{{0.8951, 0.2664, -0.1614}, {-0.7502, 1.7135, 0.0367}, {0.0389, -0.0685, 1.0296}}
	from, to := apply(bradford, whiteD65), apply(bradford, whiteD50)
	scaled := bradford
	for i := range 3 {
		for j := range 3 {
			scaled[i][j] *= to[i] / from[i]
		}
	}
	return times(inverse(bradford), scaled)
}
