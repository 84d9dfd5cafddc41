package pipeline

import (
	"encoding/json"
	"fmt"
	"path"
	"slices"
	"strings"
	"time"

	"plenilune/cache"
)

// # A pack
//
// A pack is one zip file that holds a recipe: the manifest, the records of all that was made by it, and what else is wanted.
// It is a Research Object Crate (RO-Crate 1.1, with the profiles Process Run Crate 0.5 and Workflow Run Crate 0.5), so that
// programs which know nothing of this one can read what went in and what came out; and it holds pack.json, the same in the
// form that this program reads. Names in it are made of letters, digits, '-', '_', '.' and '/', whatever files were called:
// clips go by the head of their SHA-256, in a folder with the name of the block that they belong to.
//
// Unpacked, pack.json marks the folder: a manifest beside it reads nothing but what lies in that folder, or under the folder
// that --clips names. See bundle_home.go.

// The fixed names in a pack.
const (
	packIndexFile  = "pack.json"
	packManifest   = "night.hcl"
	packCrateFile  = "ro-crate-metadata.json"
	packPageFile   = "ro-crate-preview.html"
	packRecordsDir = "records"
	packLooksDir   = "previews"
	packPanelsDir  = "panels"
	packFromPanels = "from-panels.hcl"
)

// Undated is the date of a pack where nobody knows the day: it stands in fields that must have one, and in no text.
const Undated = "2000-01-01"

// packVersion is the layout of PackIndex.
const packVersion = 1

// PackIndex is what pack.json says.
type PackIndex struct {
	Version int          `json:"plenilune_pack"`
	Program string       `json:"program"` // the build that packed
	Title   string       `json:"title,omitempty"`
	Date    string       `json:"date"` // of the night, as 2027-03-19
	Site    bool         `json:"site"` // the manifest says where it was
	Inputs  []PackInput  `json:"inputs"`
	Panels  []PackInput  `json:"panels,omitempty"` // stacked panels, from which from-panels.hcl begins
	Outputs []PackOutput `json:"outputs"`
	Files   []PackFile   `json:"files"` // all others of the pack, sorted by name
}

// PackFile is one file of a pack.
type PackFile struct {
	Name  string `json:"name"` // with slashes
	ID    ID     `json:"id"`   // SHA-256
	Bytes int64  `json:"bytes"`
}

// PackInput is a file that something was made from: a clip, a dark, a flat.
type PackInput struct {
	Block string `json:"block"` // as "clips.disk"
	Name  string `json:"name"`  // where it lies in the pack, or would: "disk/3f5a90c1d2e4.ser"
	ID    ID     `json:"id"`
	Bytes int64  `json:"bytes"`
	In    bool   `json:"in"` // the pack holds it
	// Pictures is of how many pictures a clip is made that is no file of its own; they lie in a folder of its name, and its id is the
	// SHA-256 of the list of theirs.
	Pictures int `json:"pictures,omitempty"`
}

// PackOutput is a file, or a folder of files, that was made.
type PackOutput struct {
	Block  string `json:"block"`
	File   string `json:"file"`            // in the output folder
	ID     ID     `json:"id"`              // of the file; of a folder, SHA-256 of the list of its files
	Bytes  int64  `json:"bytes"`           // all together
	Record ID     `json:"record"`          // SHA-256 of its record, which lies in records
	Beside bool   `json:"beside"`          // its record stands beside it, as a file
	Files  int    `json:"files,omitempty"` // of a folder
	Look   string `json:"preview,omitempty"`
}

// recordName is where a record lies in a pack.
func recordName(id ID) string { return packRecordsDir + "/" + id.String() + ".json" }

// OfPanels tells whether it was read as a panel, and not as a clip, a dark or a flat.
func (in PackInput) OfPanels() bool { return strings.HasPrefix(in.Block, panelsKind+".") }

// CountedInputs says for people how many clips, darks and flats, and panels there are: "2 clips and 1 panel".
func CountedInputs(ins []PackInput) string {
	kinds := []struct{ kind, one, more string }{
		{"clips", "clip", "clips"}, {"master", "dark or flat", "darks or flats"}, {panelsKind, "panel", "panels"}, {"", "file", "files"}}
	count := make([]int, len(kinds))
	for _, in := range ins {
		kind, _, _ := strings.Cut(in.Block, ".")
		k := 0
		for k < len(kinds)-1 && kinds[k].kind != kind {
			k++
		}
		count[k]++
	}
	var words []string
	for k, n := range count {
		switch {
		case n == 1:
			words = append(words, "1 "+kinds[k].one)
		case n > 1:
			words = append(words, fmt.Sprintf("%d %s", n, kinds[k].more))
		}
	}
	if len(words) == 0 {
		return "0 files"
	}
	return listing(words, "and")
}

// missing lists the inputs that a pack does not hold, each content once.
func (x PackIndex) missing() []PackInput {
	seen := map[ID]bool{}
	for _, in := range x.Inputs {
		seen[in.ID] = seen[in.ID] || in.In
	}
	var out []PackInput
	for _, in := range x.Inputs {
		if !seen[in.ID] {
			seen[in.ID] = true
			out = append(out, in)
		}
	}
	return out
}

// HasPanels tells whether a pack can begin from its panels.
func (x PackIndex) HasPanels() bool { return len(x.Panels) > 0 }

// inputsOf lists what one block was given, or is given panels instead.
func (x PackIndex) inputsOf(block Ref) (out []PackInput) {
	for _, in := range slices.Concat(x.Inputs, x.Panels) {
		if in.Block == block.String() {
			out = append(out, in)
		}
	}
	return out
}

func (x PackIndex) encode() ([]byte, error) {
	b, err := json.MarshalIndent(x, "", " ")
	if err != nil {
		return nil, fmt.Errorf("encode the pack's list: %w", err)
	}
	return append(b, '\n'), nil
}

// parsePackIndex reads pack.json and holds it to what a pack may be.
func parsePackIndex(b []byte) (PackIndex, error) {
	var x PackIndex
	if crowded(b) {
		return x, fmt.Errorf("%s lists more things than its length has room for", packIndexFile)
	}
	if err := json.Unmarshal(b, &x); err != nil {
		return x, fmt.Errorf("%s cannot be read: %w", packIndexFile, err)
	}
	if x.Version != packVersion {
		return x, fmt.Errorf("%s has layout %d, this program reads %d", packIndexFile, x.Version, packVersion)
	}
	if _, err := time.Parse(time.DateOnly, x.Date); err != nil {
		return x, fmt.Errorf("%s has the date %q, which is none", packIndexFile, x.Date)
	}
	for _, in := range slices.Concat(x.Inputs, x.Panels) {
		if !goodRef(in.Block) {
			return x, fmt.Errorf("%s names the block %q, which is none", packIndexFile, in.Block)
		}
		if why := badPackName(in.Name); why != "" {
			return x, fmt.Errorf("%s names the input %q: %s", packIndexFile, in.Name, why)
		}
		if in.Bytes < 0 {
			return x, fmt.Errorf("%s gives %q %d bytes", packIndexFile, in.Name, in.Bytes)
		}
	}
	listed := map[string]bool{}
	for _, f := range x.Files {
		if listed[f.Name] {
			return x, fmt.Errorf("%s lists %q twice", packIndexFile, f.Name)
		}
		if f.Name == packIndexFile {
			return x, fmt.Errorf("%s lists itself", packIndexFile)
		}
		listed[f.Name] = true
	}
	if err := x.inputsStand(); err != nil {
		return x, err
	}
	files := map[string]bool{}
	for _, o := range x.Outputs {
		if files[o.File] {
			return x, fmt.Errorf("%s names the output %q twice", packIndexFile, o.File)
		}
		files[o.File] = true
		if !goodRef(o.Block) || o.File == "" || strings.ContainsFunc(o.File, obeyed) {
			return x, fmt.Errorf("%s names an output %q of the block %q, which is none", packIndexFile, o.File, o.Block)
		}
		if !listed[recordName(o.Record)] {
			return x, fmt.Errorf("%s lists no record of the output %q", packIndexFile, o.File)
		}
	}
	if x.HasPanels() && !listed[packFromPanels] {
		return x, fmt.Errorf("%s lists panels and no manifest that begins with them, %s", packIndexFile, packFromPanels)
	}
	if !listed[packManifest] {
		return x, fmt.Errorf("%s lists no manifest, %s", packIndexFile, packManifest)
	}
	return x, nil
}

// inputsStand holds the names of inputs to be theirs alone, and those that the pack holds to be files that it lists.
func (x PackIndex) inputsStand() error {
	files := map[string]PackFile{}
	folders := map[string]bool{}
	for _, f := range x.Files {
		files[strings.ToLower(f.Name)], folders[strings.ToLower(path.Dir(f.Name))] = f, true
	}
	seen := map[string]bool{}
	for _, in := range slices.Concat(x.Inputs, x.Panels) {
		low := strings.ToLower(in.Name)
		top, _, deep := strings.Cut(low, "/")
		f, listed := files[low]
		switch {
		case seen[low]:
			return fmt.Errorf("%s names the input %q twice", packIndexFile, in.Name)
		case !deep || top == packRecordsDir || top == packLooksDir:
			return fmt.Errorf("%s names an input %q, where no input lies", packIndexFile, in.Name)
		case listed && (!in.In || in.Pictures > 0 || f.Name != in.Name || f.ID != in.ID || f.Bytes != in.Bytes):
			return fmt.Errorf("%s says of %q something else as an input than as a file", packIndexFile, in.Name)
		case in.In && !listed && (in.Pictures == 0 || !folders[low]):
			return fmt.Errorf("%s says that the pack holds the input %q, and does not list it", packIndexFile, in.Name)
		}
		seen[low] = true
	}
	return nil
}

// goodRef tells a text that names a block.
func goodRef(s string) bool {
	kind, name, ok := strings.Cut(s, ".")
	return ok && goodName.MatchString(kind) && goodLabel.MatchString(name)
}

// packFileOf describes bytes that a pack holds.
func packFileOf(name string, b []byte) PackFile { return PackFile{name, cache.Sum(b), int64(len(b))} }
