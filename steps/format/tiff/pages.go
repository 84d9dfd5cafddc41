package tiff

// tagSubfile says of what use a picture of a file is, TIFF 6.0: bit 0 a smaller copy of another, bit 2 a mask.
const (
	tagSubfile  = 254
	smallOrMask = 1 | 4
	mostPages   = 1 << 16
)

// pages counts the pictures of a file. Smaller copies and masks do not count; what lies in no whole directory does not either, nor
// what comes after: the reading is a copy, whose faults do not reach the first directory's.
func (d reading) pages() int {
	count, each := 0, d.entryBytes()
	seen := map[int64]bool{}
	room := d.size
	for at, n := d.at, d.n; n > 0 && n <= maxEntries && !seen[at] && len(seen) < mostPages; {
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
		next := d.number(d.bytes(at+n*each, d.wide))
		if next == 0 {
			break
		}
		at, n = d.directory(next)
	}
	return count
}

// isPage tells whether a directory is that of a picture by itself.
func (d *reading) isPage(entries []byte, each int64) bool {
	sized := false
	for ; len(entries) > 0; entries = entries[each:] {
		switch d.order.Uint16(entries) {
		case tagWidth:
			sized = true
		case tagSubfile:
			if d.order.Uint32(entries[4+d.wide:])&smallOrMask != 0 {
				return false
			}
		}
	}
	return sized
}
