package picture

import "encoding/binary"

// profileEncoding tells a colour profile of linear light by its curve for grey or red; every other means sRGB's curve or
// nearly so. ICC.1:2010, 7.2, 10.5 and 10.15.
func profileEncoding(b []byte) string {
	if len(b) < 132 {
		return SRGB
	}
	n := int(min(binary.BigEndian.Uint32(b[128:]), 100))
	for i := range n {
		if len(b) < 144+12*i {
			return SRGB
		}
		e := b[132+12*i:]
		if name := string(e[:4]); name != "kTRC" && name != "rTRC" {
			continue
		}
		at, length := int64(binary.BigEndian.Uint32(e[4:])), int64(binary.BigEndian.Uint32(e[8:]))
		if at+length > int64(len(b)) || length < 12 {
			return SRGB
		}
		if straight(b[at : at+length]) {
			return Linear
		}
		return SRGB
	}
	return SRGB
}

// straight tells a curve that changes nothing.
func straight(c []byte) bool {
	switch string(c[:4]) {
	case "curv":
		n := binary.BigEndian.Uint32(c[8:])
		return n == 0 || n == 1 && len(c) >= 14 && binary.BigEndian.Uint16(c[12:]) == 1<<8
	case "para":
		return len(c) >= 16 && binary.BigEndian.Uint16(c[8:]) == 0 && binary.BigEndian.Uint32(c[12:]) == 1<<16
	}
	return false
}
