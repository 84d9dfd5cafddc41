package pipeline

import (
	"path"
	"slices"
	"strings"
)

// Bounds of names in a pack.
const (
	packNameLongest = 200 // bytes
	packNameDeepest = 6   // elements
)

// deviceNames open devices on Windows, whatever their ending (Microsoft, "Naming Files, Paths, and Namespaces").
var deviceNames = []string{"con", "prn", "aux", "nul", "com1", "com2", "com3", "com4", "com5", "com6", "com7", "com8", "com9",
	"lpt1", "lpt2", "lpt3", "lpt4", "lpt5", "lpt6", "lpt7", "lpt8", "lpt9", "conin$", "conout$"}

// badPackName says why a name cannot be that of a file in a pack, or "".
func badPackName(name string) string {
	switch {
	case name == "":
		return "it has no name"
	case len(name) > packNameLongest:
		return "its name is too long"
	case strings.HasPrefix(name, "/") || strings.HasPrefix(name, `\`) || len(name) > 1 && name[1] == ':':
		return "its name is an absolute path"
	}
	elements := strings.Split(name, "/")
	if len(elements) > packNameDeepest {
		return "it lies too many folders deep"
	}
	for _, e := range elements {
		stem, _, _ := strings.Cut(strings.ToLower(e), ".")
		switch {
		case e == "..":
			return "its name leads out of the folder"
		case e == "":
			return "a part of its name is empty"
		case strings.ContainsFunc(e, func(r rune) bool { return !plainRune(r) }):
			return "its name has characters other than letters a to z, digits, '-', '_' and '.'"
		case strings.HasPrefix(e, "."):
			return "its name would be hidden"
		case strings.HasSuffix(e, "."):
			return "its name ends in a full stop, which not every system keeps"
		case slices.Contains(deviceNames, stem):
			return "its name is a device's on Windows"
		}
	}
	return ""
}

func plainRune(r rune) bool {
	return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_' || r == '.'
}

// packFolders gives each block with files its folder in a pack: its name, or with its kind before it where another block has that
// name, or the pack needs it.
func (m *Manifest) packFolders() map[Ref]string {
	count := map[string]int{packRecordsDir: 1, packLooksDir: 1, packPanelsDir: 1, "night-out": 1}
	for _, d := range deviceNames {
		count[d] = 1
	}
	for _, b := range m.Blocks {
		if b.hasFiles {
			count[strings.ToLower(b.Name)]++
		}
	}
	out := map[Ref]string{}
	for _, b := range m.Blocks {
		if !b.hasFiles {
			continue
		}
		folder := b.Name
		if low := strings.ToLower(b.Name); count[low] > 1 || strings.HasPrefix(low, "_") {
			folder = b.Kind + "-" + b.Name
		}
		out[Ref{b.Kind, b.Name}] = folder
	}
	return out
}

// packNameOf is what a file is called in a pack: the head of its content id, with an ending of letters and digits.
func packNameOf(folder string, id ID, file string) string {
	return folder + "/" + id.String()[:12] + plainEnding(file)
}

// plainEnding is a file's ending in small letters, or none if it is longer than endings are or has other characters.
func plainEnding(file string) string {
	ext := strings.ToLower(path.Ext(strings.ReplaceAll(file, `\`, "/")))
	if len(ext) < 2 || len(ext) > 6 || strings.ContainsFunc(ext[1:], func(r rune) bool { return !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9') }) {
		return ""
	}
	return ext
}
