package cache

import (
	"encoding/binary"
	"errors"
)

// Kinds of things, in journal records and as first byte of an index key.
const (
	kindValue  = 'v' // a small value
	kindBlob   = 'b' // a blob file; index only, the files are their own journal
	kindAction = 'a'
	kindStamp  = 's'
	kindNote   = 'n'
	kindUse    = 'u'
)

var (
	le           = binary.LittleEndian
	errMalformed = errors.New("malformed entry")
)

func appendField[T string | []byte](b []byte, s T) []byte {
	return append(le.AppendUint32(b, uint32(len(s))), s...)
}

// fields takes an encoded payload apart. After the first error it gives zeros.
type fields struct {
	b   []byte
	bad bool
}

func (f *fields) take(n int) []byte {
	if f.bad || n < 0 || n > len(f.b) {
		f.bad = true
		return nil
	}
	out := f.b[:n]
	f.b = f.b[n:]
	return out
}

func (f *fields) u32() int {
	if b := f.take(4); b != nil {
		return int(le.Uint32(b))
	}
	return 0
}

func (f *fields) u64() uint64 {
	if b := f.take(8); b != nil {
		return le.Uint64(b)
	}
	return 0
}

func (f *fields) bytes() []byte { return f.take(f.u32()) }

func (f *fields) id() (id ID) {
	copy(id[:], f.take(len(id)))
	return id
}

func (f *fields) done() error {
	if f.bad || len(f.b) != 0 {
		return errMalformed
	}
	return nil
}

func encodeEntry(e Entry) []byte {
	b := appendField(nil, e.Text)
	b = appendField(b, e.Build)
	b = appendField(b, e.Notes)
	b = le.AppendUint32(b, uint32(len(e.Outputs)))
	for _, o := range e.Outputs {
		b = appendField(b, o.Port)
		b = append(b, o.ID[:]...)
	}
	return b
}

func decodeEntry(b []byte) (Entry, error) {
	f := fields{b: b}
	e := Entry{Text: f.bytes(), Build: string(f.bytes()), Notes: f.bytes()}
	for n := f.u32(); n > 0 && !f.bad; n-- {
		e.Outputs = append(e.Outputs, Output{Port: string(f.bytes()), ID: f.id()})
	}
	return e, f.done()
}

func encodeStamp(s Stamp, id ID) []byte {
	b := appendField(nil, s.Path)
	b = le.AppendUint64(b, uint64(s.Size))
	b = le.AppendUint64(b, uint64(s.ModTime))
	b = le.AppendUint64(b, s.Inode)
	b = le.AppendUint64(b, s.CTime)
	return append(b, id[:]...)
}

func decodeStamp(b []byte) (Stamp, ID, error) {
	f := fields{b: b}
	s := Stamp{Path: string(f.bytes()), Size: int64(f.u64()), ModTime: int64(f.u64()), Inode: f.u64(), CTime: f.u64()}
	id := f.id()
	return s, id, f.done()
}

func encodeNote(name string, text []byte) []byte { return appendField(appendField(nil, name), text) }

func decodeNote(b []byte) (name string, text []byte, err error) {
	f := fields{b: b}
	name, text = string(f.bytes()), f.bytes()
	return name, text, f.done()
}

func timeBytes(t int64) []byte { return le.AppendUint64(nil, uint64(t)) }

// payloadID derives what a journal payload is filed under from the payload alone.
func payloadID(kind byte, payload []byte) (ID, error) {
	switch kind {
	case kindValue:
		return Sum(payload), nil
	case kindAction:
		e, err := decodeEntry(payload)
		return Sum(e.Text), err
	case kindStamp:
		s, _, err := decodeStamp(payload)
		return Sum([]byte(s.Path)), err
	case kindNote:
		name, _, err := decodeNote(payload)
		return Sum([]byte(name)), err
	}
	return ID{}, errMalformed
}
