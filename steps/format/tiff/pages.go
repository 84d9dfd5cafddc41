package tiff

// tagSubfile says of what use a picture of a file is, TIFF 6.0: bit 0 a smaller copy of another, bit 2 a mask.
const (
	tagSubfile   = 254
	smallOrMask  = 1 | 4
	mostPages    = 1 << 16
	subfileValue = 8 // where the value of an entry stands, 12 in a BigTIFF file
)

// pages counts the pictures of a file of which the first directory's entries begin at byte at, n of each bytes. Smaller copies
// and masks do not count; what lies in no whole directory does not either, nor what comes after.
func (d anyReading) pages(at, n, each int64) int {
	count := 0
	seen := map[int64]bool{}
	for room := d.size; n > 0 && n <= maxEntries && !seen[at] && len(seen) < mostPages; {
		seen[at] = true
		if room -= n * each; room < 0 { // directories that overlap would take time many times over
			break
		}
		all := d.bytes(at, n*each)
		if d.err != nil {
			break
		}
		if d.isPage(all, each) {
			count++
		}
		if at, n = d.next(at + n*each); d.err != nil {
			break
		}
	}
	return count
}

// isPage tells whether a directory is that of a picture by itself.
func (d *anyReading) isPage(entries []byte, each int64) bool {
	sized := false
	for ; len(entries) > 0; entries = entries[each:] {
		switch d.order.Uint16(entries) {
		case tagWidth:
			sized = true
		case tagSubfile:
			value := entries[subfileValue:]
			if d.big {
				value = entries[subfileValue+4:]
			}
			if d.order.Uint32(value)&smallOrMask != 0 {
				return false
			}
		}
	}
	return sized
}

// next follows the pointer behind a directory: where the entries of the next begin and how many there are, 0 at the end.
func (d *anyReading) next(pointer int64) (at, n int64) {
	if d.big {
		at = int64(d.order.Uint64(d.bytes(pointer, 8)))
	} else {
		at = int64(d.order.Uint32(d.bytes(pointer, 4)))
	}
	if at == 0 || d.err != nil {
		return 0, 0
	}
	if d.big {
		return at + 8, int64(d.order.Uint64(d.bytes(at, 8)))
	}
	return at + 2, int64(d.order.Uint16(d.bytes(at, 2)))
}
