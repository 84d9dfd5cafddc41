package publish

import (
	"fmt"
	"maps"
	"net/url"
	"path"
	"slices"
	"strings"
	"unicode"

	"plenilune/pipeline"
	"plenilune/steps/publish/pages"
)

// formatOf tells a file's kind by its ending, "" if it is none that is written.
func formatOf(file string) string {
	switch strings.ToLower(path.Ext(file)) {
	case ".tif", ".tiff":
		return "tiff"
	case ".fits", ".fit":
		return "fits"
	case ".png":
		return "png"
	case ".jpg", ".jpeg":
		return "jpeg"
	}
	return ""
}

// depth is the type of samples asked for, or what suits the file's kind.
func (p Picture) depth() string {
	switch {
	case p.Depth != "":
		return p.Depth
	case formatOf(p.File) == "jpeg":
		return "uint8"
	case formatOf(p.File) == "fits", p.plane() != imagePlane:
		return "float32"
	}
	return "uint16"
}

const imagePlane = "image"

// planesOf lists what kinds of block have beside their picture.
var planesOf = map[string][]string{
	"stack":  {"weight", "count", "noise"},
	"mosaic": {"weight", "noise", "coverage", "source"},
}

// plane is what is written.
func (p Picture) plane() string {
	if p.Plane == "" {
		return imagePlane
	}
	return p.Plane
}

// checkPlane tells why a picture cannot show the plane asked for, or "".
func (p Picture) checkPlane() (text, hint string) {
	has := planesOf[p.Image.Kind]
	switch {
	case p.plane() == imagePlane:
	case has == nil:
		return fmt.Sprintf("a %s has no %s plane", p.Image.Kind, p.Plane), "name a stack or a mosaic, or leave plane away"
	case !slices.Contains(has, p.Plane):
		return fmt.Sprintf("a %s has no %s plane", p.Image.Kind, p.Plane), "its planes are " + strings.Join(has, ", ")
	case formatOf(p.File) != "tiff" && formatOf(p.File) != "fits" || p.depth() != "float32":
		return fmt.Sprintf("a %s plane holds numbers that only float32 does", p.Plane), "end the file in .tif or .fits, and leave depth away"
	case p.Encoding == "srgb" || p.Caption:
		return fmt.Sprintf("a %s plane is no picture for the eye", p.Plane), "leave encoding and caption away"
	}
	return "", ""
}

func numbered(file, mark string) string {
	ext := path.Ext(file)
	return strings.TrimSuffix(file, ext) + "-" + mark + ext
}

func check(settings any, _ pipeline.Night) []pipeline.Problem {
	var out []pipeline.Problem
	seen := map[string]string{}
	for i, p := range settings.(*Settings).Pictures {
		at := fmt.Sprintf("picture.%d.file", i)
		if text, hint := checkName(p.File); text != "" {
			out = append(out, pipeline.Problem{Path: at, Text: text, Hint: hint})
			continue
		}
		low := strings.ToLower(path.Clean(p.File))
		if first, dup := seen[low]; dup {
			text := fmt.Sprintf("two pictures are called %q", p.File)
			if first != p.File {
				text = fmt.Sprintf("%q and %q are one file where names do not differ by case", first, p.File)
			}
			out = append(out, pipeline.Problem{Path: at, Text: text, Hint: "give one of them another name"})
		}
		seen[low] = p.File
		if text, hint := p.checkPlane(); text != "" {
			out = append(out, pipeline.Problem{Path: fmt.Sprintf("picture.%d.plane", i), Text: text, Hint: hint})
			continue
		}
		if text := checkDepth(formatOf(p.File), p.depth()); text != "" {
			out = append(out, pipeline.Problem{Path: fmt.Sprintf("picture.%d.depth", i), Text: text,
				Hint: "TIFF holds float32, uint16 and uint8; FITS float32 and uint16; PNG uint16 and uint8; JPEG uint8"})
			continue
		}
		if p.Encoding == "linear" && p.depth() == "uint8" {
			out = append(out, pipeline.Problem{Path: fmt.Sprintf("picture.%d.encoding", i), Text: "8 bits of linear light would show steps in the shadows",
				Hint: "leave encoding away, or give a depth of uint16 or float32"})
		}
		if p.PrintWidthMM > 0 && formatOf(p.File) == "fits" {
			out = append(out, pipeline.Problem{Path: fmt.Sprintf("picture.%d.print_width_mm", i), Text: "a FITS file has no place for the width of a print",
				Hint: "leave print_width_mm away, or end the file in .tif, .png or .jpg"})
		}
		if p.MaxBytes > 0 && formatOf(p.File) != "jpeg" {
			out = append(out, pipeline.Problem{Path: fmt.Sprintf("picture.%d.max_bytes", i), Text: fmt.Sprintf("a %s file loses nothing, and cannot be made to fit so many bytes", strings.ToUpper(formatOf(p.File))),
				Hint: "end the file in .jpg, or make the picture smaller with long_edge_px"})
		}
	}
	return append(out, checkFolders(settings.(*Settings).Pages, seen)...)
}

// checkFolders holds the pages' folders to names of their own; taken are those of pictures, in small letters.
func checkFolders(all []pages.Pages, taken map[string]string) []pipeline.Problem {
	var out []pipeline.Problem
	for i, p := range all {
		at := fmt.Sprintf("pages.%d.folder", i)
		if text, hint := checkPath(p.Folder); text != "" {
			out = append(out, pipeline.Problem{Path: at, Text: text, Hint: hint})
			continue
		}
		low := strings.ToLower(path.Clean(p.Folder))
		for _, other := range slices.Sorted(maps.Keys(taken)) {
			if other == low || strings.HasPrefix(other, low+"/") || strings.HasPrefix(low, other+"/") {
				out = append(out, pipeline.Problem{Path: at, Text: fmt.Sprintf("the folder %q would hold, or be, %q, and it is replaced whole", p.Folder, taken[other]), Hint: "give the pages a folder of their own"})
				break
			}
		}
		taken[low] = p.Folder
		if u, err := url.Parse(p.URL); p.URL != "" && (err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http" || u.RawQuery != "" || u.Fragment != "") {
			out = append(out, pipeline.Problem{Path: fmt.Sprintf("pages.%d.url", i), Text: fmt.Sprintf("%q is no address of a folder in the web", p.URL), Hint: "as in \"https://example.org/moon\""})
		}
	}
	return out
}

// outputs lists the files and folders that a block delivers.
func outputs(settings any) []pipeline.Output {
	var out []pipeline.Output
	for i, p := range settings.(*Settings).Pictures {
		at := fmt.Sprintf("picture.%d.file", i)
		out = append(out, pipeline.Output{Path: at, File: p.File})
		if p.Caption {
			out = append(out, pipeline.Output{Path: at, File: p.File + ".txt"})
		}
	}
	for i, p := range settings.(*Settings).Pages {
		out = append(out, pipeline.Output{Path: fmt.Sprintf("pages.%d.folder", i), File: p.Folder, Folder: true})
	}
	return out
}

func checkDepth(format, depth string) string {
	if format == "jpeg" && depth != "uint8" || format == "png" && depth == "float32" || format == "fits" && depth == "uint8" {
		return fmt.Sprintf("a %s file cannot hold %s", strings.ToUpper(format), depth)
	}
	return ""
}

// reserved names open devices on Windows, whatever their ending (Microsoft,
// "Naming Files, Paths, and Namespaces").
var reserved = []string{"con", "prn", "aux", "nul", "com1", "com2", "com3", "com4", "com5", "com6", "com7", "com8", "com9",
	"lpt1", "lpt2", "lpt3", "lpt4", "lpt5", "lpt6", "lpt7", "lpt8", "lpt9"}

// checkName holds a picture's name to what can be written on every system, inside the
// output folder.
func checkName(file string) (text, hint string) {
	if text, hint = checkPath(file); text == "" && formatOf(file) == "" {
		return fmt.Sprintf("%q does not end in a kind of picture that is written", file), "end it in .tif, .fits, .png or .jpg"
	}
	return text, hint
}

// maxName bounds the name of a file or folder, in bytes.
const maxName = 200

// checkPath is checkName for any file or folder.
func checkPath(file string) (text, hint string) {
	inside := "name a file inside the output folder, as in \"disk.png\""
	switch {
	case file == "":
		return "a name is missing", inside
	case strings.HasPrefix(file, "/") || strings.Contains(file, ":"):
		return fmt.Sprintf("%q leaves the output folder", file), inside
	case strings.ContainsAny(file, "\\<>\"|?*"):
		return fmt.Sprintf("%q has a character that not every system takes in a name", file), "use letters, digits, - _ . and / between folders"
	}
	for _, el := range strings.Split(path.Clean(file), "/") {
		stem, _, _ := strings.Cut(strings.ToLower(el), ".")
		switch {
		case el == "..":
			return fmt.Sprintf("%q leaves the output folder", file), inside
		case len(el) > maxName:
			return fmt.Sprintf("%.20q… has %d bytes", el, len(el)), fmt.Sprintf("most systems take names of up to 255 bytes; %d leave room for what stands beside a file", maxName)
		case strings.HasPrefix(el, "."):
			return fmt.Sprintf("%q would be hidden", file), "begin names with a letter or digit"
		case strings.TrimRight(el, " .") != el:
			return fmt.Sprintf("%q ends in a blank or a full stop", el), "not every system keeps that"
		}
		for _, r := range el {
			if unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) {
				return fmt.Sprintf("%q has a control character", file), "use letters, digits, - _ ."
			}
		}
		for _, r := range reserved {
			if stem == r {
				return fmt.Sprintf("%q is a device on Windows, not a file", el), "choose another name"
			}
		}
	}
	return "", ""
}
