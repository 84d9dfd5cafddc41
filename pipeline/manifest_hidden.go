package pipeline

import "slices"

// A manifest with faults is looked at further, so that all of them are told at once; but not where one would only follow from another,
// as where a clip is named of a block whose pattern for files is no pattern.

// hides notes a fault of a setting, under the name that it has or may be meant to have: if it says what the block is made from, that is
// known in part only. Of a block with files, these alone are what counts.
func (t *bodyTarget) hides(name string) {
	for _, g := range t.targets {
		for _, f := range g.sch.fields {
			source := f.ofFiles() || f.role == roleValue && valueType(f.typ) == typeRef && !t.block.hasFiles
			if source && (f.name == name || near(name, []string{f.name}) != "") {
				t.block.partly = true
			}
		}
	}
}

// hidden tells whether a fault, which is told, hides some of the files that clipsOf lists.
func (m *Manifest) hidden(b *Block, done []*Block) bool {
	if b.partly || b.hasFiles {
		return b.partly
	}
	return slices.ContainsFunc(b.Refs, func(r Ref) bool {
		up := m.Block(r)
		return up != nil && !slices.Contains(done, up) && m.hidden(up, append(done, b))
	})
}
