package cache

import "fmt"

// SetNote keeps a small record under a name, in place of an older one.
func (c *Cache) SetNote(name string, b []byte) error {
	if err := c.replace(kindNote, Sum([]byte(name)), encodeNote(name, b)); err != nil {
		return fmt.Errorf("keep note %q: %w", name, err)
	}
	return nil
}

// Note returns what SetNote kept.
func (c *Cache) Note(name string) ([]byte, bool) {
	b, ok := c.sealed(kindNote, Sum([]byte(name)))
	if !ok {
		return nil, false
	}
	have, text, err := decodeNote(b)
	return text, err == nil && have == name
}

// replace writes a payload unless it stands there already, and counts the one
// that it replaces as garbage.
func (c *Cache) replace(kind byte, id ID, payload []byte) error {
	leave, err := c.enter()
	if err != nil {
		return err
	}
	defer leave()
	old, err := c.index.sealed(indexKey(kind, id))
	if err == nil && old != nil {
		if string(old) == string(payload) {
			return nil
		}
		c.garbage.Add(recordSize(int64(len(old))))
	}
	return c.put(kind, id, payload)
}

// sealed reads what replace wrote; what is damaged is dropped.
func (c *Cache) sealed(kind byte, id ID) ([]byte, bool) {
	leave, err := c.enter()
	if err != nil {
		return nil, false
	}
	b, err := c.index.sealed(indexKey(kind, id))
	leave()
	if err != nil {
		c.dropSmall(kind, id, err.Error())
	}
	return b, err == nil && b != nil
}
