package raw

import (
	"encoding/binary"
	"math"

	"plenilune/steps/kernel/lanes"
)

// offset tells whether samples are unsigned numbers of one or two bytes from which
// half of their range was taken, as some formats that know only signed ones store them.
func (l Layout) offset() bool {
	return l.Kind == Signed && l.SampleBytes <= 2 && l.Scale == 0 && l.Zero == float64(int(1)<<(8*l.SampleBytes-1))
}

// Words tells whether samples are, or unfold to, unsigned numbers of one or two bytes.
func (l Layout) Words() bool {
	return l.Kind == Unsigned && l.Scale == 0 && l.Zero == 0 || l.offset()
}

// unfold makes in place what samples mean of what stands in a file, if that has as many bytes.
func (l Layout) unfold(b []byte) {
	switch {
	case len(l.Grey) == 256:
		for i, v := range b {
			b[i] = l.Grey[v]
		}
	case l.offset():
		flip(b, l.SampleBytes, l.BigEndian)
	}
}

// flip turns the highest bit of samples of one or two bytes round.
func flip(b []byte, bytes int, big bool) {
	var top [8]byte // eight bytes at once
	for i := range top {
		if bytes == 1 || (i%2 == 0) == big {
			top[i] = 0x80
		}
	}
	mask := binary.LittleEndian.Uint64(top[:])
	for ; len(b) >= 8; b = b[8:] {
		binary.LittleEndian.PutUint64(b, binary.LittleEndian.Uint64(b)^mask)
	}
	for i := range b {
		b[i] ^= top[i]
	}
}

// decode takes the samples of plane c, in the order red, green, blue, from b, which
// was unfolded.
func (l Layout) decode(b []byte, c int, white float32, dst []float32) {
	if l.Pattern == BGR {
		c = l.Planes - 1 - c
	}
	step, from := l.Planes, c
	if l.Planar {
		b, step, from = b[c*len(dst)*l.SampleBytes:], 1, 0
	}
	switch {
	case !l.Words():
		l.decodeNumbers(b, from, step, white, dst)
		return
	case l.SampleBytes == 1 && step == 1:
		lanes.Bytes8(dst, b, white)
		return
	case l.SampleBytes == 1:
		for i := range dst {
			dst[i] = float32(b[from+i*step]) / white
		}
		return
	case step == 1:
		lanes.Bytes16(dst, b, l.BigEndian, white)
		return
	}
	lo, hi := 2*from, 2*from+1
	if l.BigEndian {
		lo, hi = hi, lo
	}
	for i := range dst {
		dst[i] = float32(uint16(b[lo])|uint16(b[hi])<<8) / white
		lo, hi = lo+2*step, hi+2*step
	}
}

func (l Layout) decodeNumbers(b []byte, from, step int, white float32, dst []float32) {
	number := l.number()
	at, each := from*l.SampleBytes, step*l.SampleBytes
	for i := range dst {
		dst[i] = float32(number(b[at:])) / white
		at += each
	}
}

// number returns what reads one sample's meaning from the bytes that it begins; what is
// no number, or none that fits, is 0.
func (l Layout) number() func(b []byte) float64 {
	stands := l.stands()
	scale := l.Scale
	if scale == 0 {
		scale = 1
	}
	return func(b []byte) float64 {
		v := float64(scale*stands(b)) + l.Zero
		if !(math.Abs(v) <= math.MaxFloat32) {
			return 0
		}
		return v
	}
}

// stands returns what reads the number that stands in a file.
func (l Layout) stands() func(b []byte) float64 {
	float, signed, big := l.Kind == Float, l.Kind == Signed, l.BigEndian
	switch {
	case float && l.SampleBytes == 4:
		return func(b []byte) float64 { return float64(math.Float32frombits(word32(b, big))) }
	case float:
		return func(b []byte) float64 { return math.Float64frombits(word64(b, big)) }
	case signed && l.SampleBytes == 8:
		return func(b []byte) float64 { return float64(int64(word64(b, big))) }
	case signed && l.SampleBytes == 4:
		return func(b []byte) float64 { return float64(int32(word32(b, big))) }
	case signed && l.SampleBytes == 2:
		return func(b []byte) float64 { return float64(int16(word16(b, big))) }
	case signed:
		return func(b []byte) float64 { return float64(int8(b[0])) }
	case l.SampleBytes == 2:
		return func(b []byte) float64 { return float64(word16(b, big)) }
	}
	return func(b []byte) float64 { return float64(b[0]) }
}

func word16(b []byte, big bool) uint16 {
	if big {
		return binary.BigEndian.Uint16(b)
	}
	return binary.LittleEndian.Uint16(b)
}

func word32(b []byte, big bool) uint32 {
	if big {
		return binary.BigEndian.Uint32(b)
	}
	return binary.LittleEndian.Uint32(b)
}

func word64(b []byte, big bool) uint64 {
	if big {
		return binary.BigEndian.Uint64(b)
	}
	return binary.LittleEndian.Uint64(b)
}
