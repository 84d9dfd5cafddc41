package cache

import (
	"bytes"
	"crypto/sha256"
	"hash/crc32"
)

// A journal record is a head of recordHead bytes, the payload, and the SHA-256
// of both. The head has a check of its own, so that a reader knows whether it
// may trust the length and step over a payload that is damaged.
const (
	recordHead = 24
	recordTail = sha256.Size
	maxPayload = 8 << 20
)

var (
	recordMagic = []byte{0xd7, 'P', 'J', '1'}
	castagnoli  = crc32.MakeTable(crc32.Castagnoli)
)

type record struct {
	kind    byte
	time    int64 // Unix nanoseconds
	payload []byte
}

func appendRecord(b []byte, r record) []byte {
	start := len(b)
	b = append(b, recordMagic...)
	b = append(b, r.kind, 0, 0, 0)
	b = le.AppendUint32(b, uint32(len(r.payload)))
	b = le.AppendUint64(b, uint64(r.time))
	b = le.AppendUint32(b, crc32.Checksum(b[start:], castagnoli))
	b = append(b, r.payload...)
	sum := sha256.Sum256(b[start:])
	return append(b, sum[:]...)
}

// recordSize is what a payload of n bytes takes in the journal.
func recordSize(n int64) int64 { return recordHead + n + recordTail }

// parseRecord reads the record that b begins with. If good is false, n tells how
// many bytes are certainly not a record: the whole of one whose head is sound, 1
// otherwise.
func parseRecord(b []byte) (r record, n int, good bool) {
	if len(b) < recordHead || !bytes.Equal(b[:4], recordMagic) {
		return r, 1, false
	}
	size := int64(le.Uint32(b[8:]))
	if le.Uint32(b[20:]) != crc32.Checksum(b[:20], castagnoli) || size > maxPayload {
		return r, 1, false
	}
	end := recordHead + int(size)
	if end+recordTail > len(b) {
		return r, 1, false
	}
	if sum := sha256.Sum256(b[:end]); !bytes.Equal(sum[:], b[end:end+recordTail]) {
		return r, end + recordTail, false
	}
	return record{b[4], int64(le.Uint64(b[12:])), b[recordHead:end]}, end + recordTail, true
}

// scanRecords calls fn for each sound record in b from offset at, and bad for
// each stretch that is none. It returns where the last sound record ends.
func scanRecords(b []byte, at int, fn func(at int, r record) error, bad func(from, to int)) (int, error) {
	sound, lost := at, -1
	for at < len(b) {
		r, n, good := parseRecord(b[at:])
		if !good {
			if lost < 0 {
				lost = at
			}
			at += n
			// Only a magic can begin the next record: search it, do not step by bytes.
			if at < len(b) {
				if next := bytes.Index(b[at:], recordMagic); next >= 0 {
					at += next
				} else {
					at = len(b)
				}
			}
			continue
		}
		if lost >= 0 && bad != nil {
			bad(lost, at)
		}
		lost = -1
		if err := fn(at, r); err != nil {
			return sound, err
		}
		at += n
		sound = at
	}
	if lost >= 0 && bad != nil {
		bad(lost, len(b))
	}
	return sound, nil
}
