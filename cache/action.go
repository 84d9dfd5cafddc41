package cache

import "fmt"

// Output is a value that an action made, by the port it came out of.
type Output struct {
	Port string
	ID   ID
}

// Entry is an action that was carried out. Text says in full what was done, so
// that its hash is the action's key; Notes are for the caller's use.
type Entry struct {
	Text    []byte
	Outputs []Output
	Notes   []byte
	Build   string // the build that made it; for information. If empty, Options.Build
}

// PutAction remembers an action and returns its key, Sum(e.Text). Its outputs
// have to be stored before.
func (c *Cache) PutAction(e Entry) (ID, error) {
	key := Sum(e.Text)
	if e.Build == "" {
		e.Build = c.opts.Build
	}
	leave, err := c.enter()
	if err != nil {
		return ID{}, fmt.Errorf("store action %s: %w", key.Short(), err)
	}
	defer leave()
	payload := encodeEntry(e)
	if old, err := c.index.sealed(indexKey(kindAction, key)); err == nil && old != nil {
		if string(old) == string(payload) {
			c.touch(kindAction, key)
			return key, nil
		}
		c.garbage.Add(recordSize(int64(len(old))))
	}
	if err := c.put(kindAction, key, payload); err != nil {
		return ID{}, fmt.Errorf("store action %s: %w", key.Short(), err)
	}
	return key, nil
}

// Action looks an action up. It reports false if it is absent or damaged, or if
// any of its outputs is no longer there. A hit counts as use of the action and
// of its outputs.
func (c *Cache) Action(key ID) (Entry, bool) {
	leave, err := c.enter()
	if err != nil {
		return Entry{}, false
	}
	e, found, err := c.action(key)
	here := found && c.complete(e)
	leave()
	if err != nil {
		c.dropSmall(kindAction, key, err.Error())
	}
	if !here {
		return Entry{}, false
	}
	c.touch(kindAction, key)
	for _, o := range e.Outputs {
		c.touch(c.kindOf(o.ID), o.ID)
	}
	return e, true
}

// action reads an action without looking at its outputs.
func (c *Cache) action(key ID) (Entry, bool, error) {
	b, err := c.index.sealed(indexKey(kindAction, key))
	if b == nil || err != nil {
		return Entry{}, false, err
	}
	e, err := decodeEntry(b)
	if err == nil && Sum(e.Text) != key {
		err = errMalformed
	}
	return e, err == nil, err
}

func (c *Cache) complete(e Entry) bool {
	for _, o := range e.Outputs {
		if !c.present(o.ID) {
			return false
		}
	}
	return true
}

func (c *Cache) kindOf(id ID) byte {
	leave, err := c.enter()
	if err != nil {
		return kindValue
	}
	defer leave()
	if c.index.has(indexKey(kindBlob, id)) {
		return kindBlob
	}
	return kindValue
}
