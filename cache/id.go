package cache

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
)

// ID names bytes by their SHA-256.
type ID [32]byte

// Sum returns the ID of b.
func Sum(b []byte) ID { return sha256.Sum256(b) }

// ParseID reads the 64 hexadecimal digits that String writes.
func ParseID(s string) (ID, error) {
	var id ID
	if len(s) != 64 {
		return id, fmt.Errorf("parse id %q: want 64 hexadecimal digits, got %d characters", s, len(s))
	}
	if _, err := hex.Decode(id[:], []byte(s)); err != nil {
		return id, fmt.Errorf("parse id %q: %w", s, err)
	}
	return id, nil
}

// String returns the ID as 64 hexadecimal digits, as sha256sum prints it.
func (id ID) String() string { return hex.EncodeToString(id[:]) }

// Short returns the first 12 digits, enough to tell entries of one night apart.
func (id ID) Short() string { return hex.EncodeToString(id[:6]) }

// IsZero tells whether the ID was never set.
func (id ID) IsZero() bool { return id == ID{} }

// MarshalText writes the ID as hexadecimal digits.
func (id ID) MarshalText() ([]byte, error) { return []byte(id.String()), nil }

// UnmarshalText reads what MarshalText wrote.
func (id *ID) UnmarshalText(b []byte) error {
	v, err := ParseID(string(b))
	if err == nil {
		*id = v
	}
	return err
}
