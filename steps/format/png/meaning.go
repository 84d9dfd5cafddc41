package png

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strings"
)

// maxText bounds a text after inflation, so that a small file cannot ask for all memory.
const maxText = 16 << 20

// XMPKeyword is the keyword of an iTXt chunk that holds an XMP packet.
const XMPKeyword = "XML:com.adobe.xmp"

// SRGB says that samples are sRGB-encoded (IEC 61966-2-1), with the values that
// the specification gives for readers that know gAMA and cHRM alone.
func SRGB() []Chunk {
	return []Chunk{{"sRGB", []byte{0}}, gamma(45455), primaries()}
}

// Linear says that samples are proportional to light, with the primaries of sRGB.
func Linear() []Chunk { return []Chunk{gamma(100000), primaries()} }

func gamma(v uint32) Chunk { return Chunk{"gAMA", binary.BigEndian.AppendUint32(nil, v)} }

// primaries are white, red, green and blue of sRGB, x and y in 1/100000.
func primaries() Chunk {
	var b []byte
	for _, v := range []uint32{31270, 32900, 64000, 33000, 30000, 60000, 15000, 6000} {
		b = binary.BigEndian.AppendUint32(b, v)
	}
	return Chunk{"cHRM", b}
}

// Density states how large a print is meant to be, in pixels per metre.
func Density(pxPerMetre uint32) Chunk {
	b := binary.BigEndian.AppendUint32(nil, pxPerMetre)
	return Chunk{"pHYs", append(binary.BigEndian.AppendUint32(b, pxPerMetre), 1)}
}

// Text is a UTF-8 text under a keyword of 1 to 79 Latin letters, as iTXt.
func Text(keyword, text string, compressed bool) (Chunk, error) {
	if len(keyword) < 1 || len(keyword) > 79 || strings.Contains(keyword, "\x00") {
		return Chunk{}, fmt.Errorf("%q is no keyword for a PNG text", keyword)
	}
	var b bytes.Buffer
	b.WriteString(keyword)
	if !compressed {
		b.WriteString("\x00\x00\x00\x00\x00" + text) // not compressed, no language, keyword not translated
		return Chunk{"iTXt", b.Bytes()}, nil
	}
	b.WriteString("\x00\x01\x00\x00\x00")
	z, err := zlib.NewWriterLevel(&b, zlib.BestCompression)
	if err != nil {
		return Chunk{}, err
	}
	if _, err := io.WriteString(z, text); err != nil {
		return Chunk{}, err
	}
	if err := z.Close(); err != nil {
		return Chunk{}, err
	}
	return Chunk{"iTXt", b.Bytes()}, nil
}

var errText = errors.New("an iTXt chunk is cut short")

// Keyword returns the keyword of an iTXt chunk.
func (c Chunk) Keyword() string {
	k, _, _ := bytes.Cut(c.Data, []byte{0})
	return string(k)
}

// Text returns the text of an iTXt chunk.
func (c Chunk) Text() (string, error) {
	_, rest, ok := bytes.Cut(c.Data, []byte{0})
	if !ok || len(rest) < 2 {
		return "", errText
	}
	compressed, method := rest[0], rest[1]
	_, rest, ok = bytes.Cut(rest[2:], []byte{0}) // language
	if ok {
		_, rest, ok = bytes.Cut(rest, []byte{0}) // translated keyword
	}
	switch {
	case !ok:
		return "", errText
	case compressed == 0:
		return string(rest), nil
	case compressed != 1 || method != 0:
		return "", fmt.Errorf("an iTXt chunk is packed in an unknown way (%d, %d)", compressed, method)
	}
	text, err := Inflate(rest, maxText)
	if err != nil {
		return "", fmt.Errorf("unpack an iTXt chunk: %w", err)
	}
	return string(text), nil
}

// Inflate unpacks a stream (RFC 1950) of at most some bytes. It does so twice, to take no more memory than the result has:
// a few bytes can stand for a thousand times as many.
func Inflate(packed []byte, most int64) ([]byte, error) {
	unpacked := func() (io.Reader, error) {
		z, err := zlib.NewReader(bytes.NewReader(packed))
		return io.LimitReader(z, most+1), err
	}
	z, err := unpacked()
	if err != nil {
		return nil, err
	}
	n, err := io.Copy(io.Discard, z)
	if err != nil {
		return nil, err
	}
	if n > most {
		return nil, fmt.Errorf("more than %d bytes", most)
	}
	if z, err = unpacked(); err != nil {
		return nil, err
	}
	out := make([]byte, n)
	_, err = io.ReadFull(z, out)
	return out, err
}
