package cache

import (
	"bytes"
	"sync"
)

// proven remembers the few short chunks read last whose bytes were proven: planes are full of tiles of one value, all
// alike. The zero value is ready, and safe for concurrent use.
type proven struct {
	mu   sync.Mutex
	at   int
	last [provenChunks]provenChunk
}

const (
	provenChunks = 4
	provenStored = 512     // bytes as stored, at the most
	provenRaw    = 1 << 20 // bytes unpacked, at the most
)

type provenChunk struct {
	stored, raw []byte
	sum         ID
	words       bool
}

// find returns what the stored bytes unpack to, if these were proven to have that sum; the caller must not change it.
func (p *proven) find(stored []byte, sum ID, words bool) []byte {
	if len(stored) > provenStored {
		return nil
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, k := range p.last {
		if k.raw != nil && k.sum == sum && k.words == words && bytes.Equal(k.stored, stored) {
			return k.raw
		}
	}
	return nil
}

// keep remembers a proven chunk, if it is short.
func (p *proven) keep(stored, raw []byte, sum ID, words bool) {
	if len(stored) > provenStored || len(raw) > provenRaw || len(raw) <= len(stored) {
		return
	}
	k := provenChunk{bytes.Clone(stored), bytes.Clone(raw), sum, words}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.last[p.at] = k
	p.at = (p.at + 1) % provenChunks
}
