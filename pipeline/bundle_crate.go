package pipeline

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"maps"
	"path"
	"slices"
	"strconv"
	"strings"
)

// The identifiers that the specifications ask for: RO-Crate 1.1 (Soiland-Reyes et al. 2022, "Packaging research artefacts with
// RO-Crate"), Workflow RO-Crate 1.0, and Workflow Run RO-Crate 0.5 (Leo et al. 2024, "Recording provenance of workflow runs with
// RO-Crate"), which extends RO-Crate 1.1.
const (
	crateSpec       = "https://w3id.org/ro/crate/1.1"
	crateContext    = "https://w3id.org/ro/crate/1.1/context"
	runTerms        = "https://w3id.org/ro/terms/workflow-run/context"
	workflowProfile = "https://w3id.org/workflowhub/workflow-ro-crate/1.0"
	processRun      = "https://w3id.org/ro/wfrun/process/0.5"
	workflowRun     = "https://w3id.org/ro/wfrun/workflow/0.5"
	parameterType   = "https://bioschemas.org/profiles/FormalParameter/1.0-RELEASE"
	sha256Term      = "http://schema.org/sha256" // younger than the context of RO-Crate 1.1, which lacks it
	completed       = "http://schema.org/CompletedActionStatus"
)

// thing is one entity of the crate; its keys are written in the order of the alphabet.
type thing map[string]any

type link struct {
	ID string `json:"@id"`
}

func links(ids []string) []link {
	out := make([]link, 0, len(ids))
	for _, id := range ids {
		out = append(out, link{id})
	}
	return out
}

// describe adds the crate's description, for programs and for people.
func (p *packing) describe() error {
	c := crate{p: p}
	graph := c.things()
	b := bytes.Buffer{}
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", " ")
	err := e.Encode(map[string]any{"@context": []any{crateContext, runTerms, map[string]string{"sha256": sha256Term}}, "@graph": graph})
	if err != nil {
		return fmt.Errorf("write the crate's description: %w", err)
	}
	page, err := p.page()
	if err != nil {
		return err
	}
	p.add(packCrateFile, b.Bytes(), true)
	p.add(packPageFile, page, true)
	for _, f := range p.files {
		p.index.Files = append(p.index.Files, f.PackFile)
	}
	slices.SortFunc(p.index.Files, func(a, b PackFile) int { return strings.Compare(a.Name, b.Name) })
	return nil
}

// crate makes the entities of a pack's description.
type crate struct {
	p     *packing
	parts []string // of the crate, by @id
	graph []thing
}

func (c *crate) add(t thing) string {
	c.graph = append(c.graph, t)
	return t["@id"].(string)
}

func (c *crate) things() []thing {
	p := c.p
	c.files()
	objects, ins := c.inputs()
	results, outs := c.outputs()
	c.workflow(ins, outs)
	c.add(thing{"@id": "#run", "@type": "CreateAction", "name": "A run of " + packManifest,
		"instrument": link{packManifest}, "object": links(objects), "result": links(results), "actionStatus": link{completed},
		"description": "What was made from what. Each part of the work, with its settings and inputs, stands in the records of what was made."})
	license := p.o.License
	if license == "" {
		license = c.add(thing{"@id": "#terms", "@type": "CreativeWork", "name": "No terms are stated",
			"description": "Whoever made this pack did not say on which terms it may be used: ask them."})
	} else {
		c.add(thing{"@id": license, "@type": "CreativeWork", "name": license})
	}
	profiles := []string{processRun, workflowRun, workflowProfile}
	for i, name := range []string{"Process Run Crate", "Workflow Run Crate", "Workflow RO-Crate"} {
		c.add(thing{"@id": profiles[i], "@type": "CreativeWork", "name": name, "version": path.Base(profiles[i])})
	}
	slices.Sort(c.parts)
	root := thing{"@id": "./", "@type": "Dataset", "name": p.title(), "description": p.summary(), "datePublished": p.index.Date,
		"license": link{license}, "conformsTo": links(profiles), "mainEntity": link{packManifest}, "mentions": []link{{"#run"}},
		"hasPart": links(slices.Compact(c.parts))}
	head := []thing{
		{"@id": packCrateFile, "@type": "CreativeWork", "about": link{"./"}, "conformsTo": []link{{crateSpec}, {workflowProfile}}},
		root,
		{"@id": packPageFile, "@type": "CreativeWork", "about": link{"./"}, "encodingFormat": "text/html", "name": "The same, to be read"},
	}
	slices.SortStableFunc(c.graph, func(a, b thing) int { return strings.Compare(a["@id"].(string), b["@id"].(string)) })
	return append(head, c.graph...)
}

func (p *packing) title() string {
	if p.m.Night.Title != "" {
		return p.m.Night.Title
	}
	return "A night of the Moon"
}

func (p *packing) summary() string {
	on := ""
	if p.index.Date != Undated {
		on = " on " + p.index.Date
	}
	return fmt.Sprintf("A recipe for pictures of the Moon, made%s from %s: the manifest, the records of all that was made, and the content ids of all that went in and came out.",
		on, CountedInputs(contents(p.index.Inputs)))
}

// contents are the distinct contents among inputs.
func contents(ins []PackInput) []PackInput {
	seen := map[ID]bool{}
	var out []PackInput
	for _, in := range ins {
		if !seen[in.ID] {
			seen[in.ID] = true
			out = append(out, in)
		}
	}
	return out
}

// byHash names content wherever it lies (RFC 6920, "Naming Things with Hashes").
func byHash(id ID) string { return "ni:///sha-256;" + base64.RawURLEncoding.EncodeToString(id[:]) }

// file describes a file, in the pack or elsewhere.
func (c *crate) file(id, name, kind string, sum ID, size int64) thing {
	t := thing{"@id": id, "@type": "File", "name": name, "contentSize": strconv.FormatInt(size, 10), "sha256": sum.String()}
	if kind != "" {
		t["encodingFormat"] = kind
	}
	c.parts = append(c.parts, id)
	return t
}

// files describes records, previews and pack.json.
func (c *crate) files() {
	of := map[string][]string{}
	for _, o := range c.p.made {
		of[recordName(o.Record)] = append(of[recordName(o.Record)], o.File)
		if o.Look != "" {
			of[o.Look] = append(of[o.Look], o.File)
		}
	}
	for _, f := range c.p.files {
		switch dir := path.Dir(f.Name); {
		case dir == packRecordsDir:
			t := c.file(f.Name, "The record of "+strings.Join(of[f.Name], ", "), "application/json", f.ID, f.Bytes)
			t["description"] = "Every part of the work that led there: its action text, whose SHA-256 is its key, and the content ids of what it made."
			c.add(t)
		case dir == packLooksDir:
			c.add(c.file(f.Name, "A small picture of "+strings.Join(of[f.Name], ", "), mediaType(f.Name), f.ID, f.Bytes))
		case strings.HasPrefix(dir, packPanelsDir+"/"):
			c.add(c.file(f.Name, "A stacked panel, with all its planes", mediaType(f.Name), f.ID, f.Bytes))
		case f.Name == packFromPanels:
			c.add(c.file(f.Name, "A manifest that begins with the stacked panels", "text/plain", f.ID, f.Bytes))
		}
	}
	c.parts = append(c.parts, packIndexFile)
	c.add(thing{"@id": packIndexFile, "@type": "File", "name": "The pack's list, for plenilune", "encodingFormat": "application/json"})
}

// inputs describes what went in, and a parameter of the workflow for each block with files.
func (c *crate) inputs() (objects, params []string) {
	var named []string
	for _, in := range c.p.index.Inputs {
		named = append(named, in.Block)
	}
	params = c.parameters(named, "input")
	for _, in := range contents(c.p.index.Inputs) {
		var blocks []string
		for _, other := range c.p.index.Inputs {
			if other.ID == in.ID {
				blocks = append(blocks, "#input-"+other.Block)
			}
		}
		id := byHash(in.ID)
		if in.In {
			id = in.Name
		}
		if in.In && in.Pictures > 0 {
			id += "/"
		}
		t := c.file(id, in.Block+" "+in.Label(), mediaType(in.Name), in.ID, in.Bytes)
		if in.Pictures > 0 {
			delete(t, "sha256") // it is of a list, and of no file
			t["@type"] = "Dataset"
			t["description"] = fmt.Sprintf("A clip of %s; its id is the SHA-256 of the list of theirs, in hexadecimal digits, a line each.", Counted(in.Pictures, "picture"))
			t["hasPart"] = links(c.pictures(in))
		}
		t["exampleOfWork"] = links(blocks)
		objects = append(objects, c.add(t))
	}
	return objects, params
}

// pictures describes those of a clip that is made of such, where the pack holds them.
func (c *crate) pictures(in PackInput) (ids []string) {
	for _, f := range c.p.files {
		if path.Dir(f.Name) == in.Name {
			ids = append(ids, c.add(c.file(f.Name, path.Base(f.Name), mediaType(f.Name), f.ID, f.Bytes)))
		}
	}
	return ids
}

// outputs describes what came out, and a parameter for each block that delivers.
func (c *crate) outputs() (results, params []string) {
	var named []string
	for _, o := range c.p.made {
		named = append(named, o.Block)
	}
	params = c.parameters(named, "output")
	for _, o := range c.p.made {
		t := c.file(byHash(o.ID), o.File, mediaType(o.File), o.ID, o.Bytes)
		if o.Files > 0 {
			delete(t, "sha256") // it is of the folder's list, and of no file
			t["@type"] = "Dataset"
			t["description"] = fmt.Sprintf("A folder of %s; its id is the SHA-256 of their list.", Counted(o.Files, "file"))
		}
		t["exampleOfWork"] = link{"#output-" + o.Block}
		t["subjectOf"] = link{recordName(o.Record)}
		if o.Look != "" {
			t["thumbnail"] = link{o.Look}
		}
		if !slices.Contains(results, byHash(o.ID)) {
			results = append(results, c.add(t))
		}
	}
	return results, params
}

// parameters describes what the workflow takes or gives, by blocks.
func (c *crate) parameters(blocks []string, way string) []string {
	all := map[string]int{}
	for _, b := range blocks {
		all[b]++
	}
	var out []string
	for _, b := range slices.Sorted(maps.Keys(all)) {
		out = append(out, c.add(thing{"@id": "#" + way + "-" + b, "@type": "FormalParameter", "name": b, "additionalType": "File",
			"conformsTo": link{parameterType}, "description": Counted(all[b], "file") + " of the block " + b}))
	}
	if len(out) > 0 && !slices.ContainsFunc(c.graph, func(t thing) bool { return t["@id"] == parameterType }) {
		c.add(thing{"@id": parameterType, "@type": "CreativeWork", "name": "FormalParameter", "version": "1.0-RELEASE"})
	}
	return out
}

// workflow describes the manifest, this program, and the parts of the work in their versions.
func (c *crate) workflow(ins, outs []string) {
	i := slices.IndexFunc(c.p.files, func(f packSource) bool { return f.Name == packManifest })
	f := c.p.files[i]
	t := c.file(packManifest, "The manifest", "text/plain", f.ID, f.Bytes)
	t["@type"] = []string{"File", "SoftwareSourceCode", "ComputationalWorkflow"}
	t["programmingLanguage"] = link{"#hcl"}
	t["softwareRequirements"] = link{"#plenilune"}
	t["input"], t["output"] = links(ins), links(outs)
	t["hasPart"] = links(c.tools())
	c.add(t)
	c.add(thing{"@id": "#hcl", "@type": "ComputerLanguage", "name": "HCL", "version": "2", "url": link{"https://github.com/hashicorp/hcl"}})
	c.add(thing{"@id": "#plenilune", "@type": "SoftwareApplication", "name": "plenilune", "softwareVersion": c.p.o.Program, "version": c.p.o.Program})
}

// tools describes each kind of part that had a share in what was made.
func (c *crate) tools() []string {
	versions := map[string]bool{}
	for _, o := range c.p.made {
		for _, part := range o.record.Parts {
			if a, err := parseAction([]byte(part.Text)); err == nil {
				versions[a.part+" "+a.version] = true
			}
		}
	}
	var out []string
	for _, v := range slices.Sorted(maps.Keys(versions)) {
		name, version, _ := strings.Cut(v, " ")
		out = append(out, c.add(thing{"@id": "#part-" + name + "-" + version, "@type": "SoftwareApplication", "name": name, "version": version, "softwareVersion": version}))
	}
	return out
}

// mediaType is the registered type of a file, or "" where there is none.
func mediaType(name string) string {
	return map[string]string{".png": "image/png", ".jpg": "image/jpeg", ".jpeg": "image/jpeg", ".tif": "image/tiff", ".tiff": "image/tiff",
		".fits": "image/fits", ".fit": "image/fits", ".txt": "text/plain", ".json": "application/json", ".avi": "video/x-msvideo",
		".mp4": "video/mp4"}[strings.ToLower(path.Ext(name))]
}
