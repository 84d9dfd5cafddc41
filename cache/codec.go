package cache

import (
	"fmt"
	"sync"

	"github.com/klauspost/compress/zstd"
)

// codec compresses chunks on their own, with zstd (RFC 8878). The zero value is ready.
type codec struct {
	once sync.Once
	enc  *zstd.Encoder
	dec  *zstd.Decoder
	err  error
}

// maxChunk is the largest chunk, 256 MiB.
const maxChunk = 256 << 20

func (k *codec) init() error {
	k.once.Do(func() {
		if k.enc, k.err = zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderCRC(false)); k.err == nil {
			k.dec, k.err = zstd.NewReader(nil, zstd.WithDecoderConcurrency(0), zstd.WithDecoderMaxMemory(maxChunk+1<<20))
		}
	})
	return k.err
}

// pack returns what is stored for a chunk: b itself where packing does not
// shorten it, so that equal lengths mean unpacked.
func (k *codec) pack(b []byte, words bool) ([]byte, error) {
	if err := k.init(); err != nil {
		return nil, err
	}
	src := b
	if words {
		src = make([]byte, len(b))
		splitWords(src, b)
	}
	if p := k.enc.EncodeAll(src, make([]byte, 0, len(src)/2)); len(p) < len(b) {
		return p, nil
	}
	return b, nil
}

// unpack undoes pack; raw is the length of the chunk.
func (k *codec) unpack(p []byte, raw int, words bool) ([]byte, error) {
	if len(p) == raw {
		return p, nil
	}
	if err := k.init(); err != nil {
		return nil, err
	}
	b, err := k.dec.DecodeAll(p, make([]byte, 0, raw))
	if err != nil {
		return nil, err
	}
	if len(b) != raw {
		return nil, fmt.Errorf("unpacks to %d bytes, not %d", len(b), raw)
	}
	if words {
		out := make([]byte, raw)
		joinWords(out, b)
		return out, nil
	}
	return b, nil
}

// splitWords prepares little-endian 4-byte words for compression: differences of
// successive words (the first against 0), zigzag so that small ones of either
// sign have zeros on top, then all low bytes, all second bytes and so on. Bytes
// after the last whole word follow as they are. The picture's width does not matter.
func splitWords(dst, src []byte) {
	n := len(src) / 4
	p0, p1, p2, p3 := dst[:n], dst[n:2*n], dst[2*n:3*n], dst[3*n:4*n]
	prev := uint32(0)
	for i := range p0 {
		w := le.Uint32(src[4*i:])
		d := w - prev
		prev = w
		z := d<<1 ^ uint32(int32(d)>>31)
		p0[i], p1[i], p2[i], p3[i] = byte(z), byte(z>>8), byte(z>>16), byte(z>>24)
	}
	copy(dst[4*n:], src[4*n:])
}

// joinWords undoes splitWords.
func joinWords(dst, src []byte) {
	n := len(src) / 4
	p0, p1, p2, p3 := src[:n], src[n:2*n], src[2*n:3*n], src[3*n:4*n]
	prev := uint32(0)
	for i := range p0 {
		z := uint32(p0[i]) | uint32(p1[i])<<8 | uint32(p2[i])<<16 | uint32(p3[i])<<24
		prev += z>>1 ^ -(z & 1)
		le.PutUint32(dst[4*i:], prev)
	}
	copy(dst[4*n:], src[4*n:])
}
