package pipeline

import (
	"bytes"
	"fmt"
	"html/template"
)

// pageText is the crate's description for people. The template escapes whatever comes from a manifest.
var pageText = template.Must(template.New("page").Funcs(template.FuncMap{"count": Counted}).Parse(`<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{.Title}}</title>
<style>
body { margin: 2em auto; max-width: 60em; padding: 0 1em; font: 16px/1.5 sans-serif; }
table { border-collapse: collapse; }
td, th { border-bottom: 1px solid #ccc; padding: 0.2em 1em 0.2em 0; text-align: left; vertical-align: top; }
td.id { font: 12px/2 monospace; overflow-wrap: anywhere; }
img { max-width: 100%; }
pre { overflow-x: auto; background: #eee; padding: 1em; }
</style>
</head>
<body>
<h1>{{.Title}}</h1>
<p>{{.Summary}}</p>
<p>With plenilune: <code>plenilune unpack THIS.zip FOLDER</code> lays it out, and <code>plenilune verify THIS.zip --clips FOLDER</code> makes everything anew and compares.</p>
<h2>What came out</h2>
<table>
<tr><th>file</th><th>bytes</th><th>SHA-256</th><th>record</th></tr>
{{range .Outputs}}<tr><td>{{.File}}{{if .Files}} ({{count .Files "file"}}){{end}}</td><td>{{.Bytes}}</td><td class="id">{{.ID}}</td><td><a href="records/{{.Record}}.json">record</a></td></tr>
{{end}}</table>
{{range .Outputs}}{{if .Look}}<p><img src="{{.Look}}" alt="{{.File}}"></p>
{{end}}{{end}}<h2>What went in</h2>
<table>
<tr><th>block</th><th>name here</th><th>bytes</th><th>SHA-256</th><th></th></tr>
{{range .Inputs}}<tr><td>{{.Block}}</td><td>{{.Name}}</td><td>{{.Bytes}}</td><td class="id">{{.ID}}</td><td>{{if .In}}in the pack{{else}}not in the pack{{end}}</td></tr>
{{end}}</table>
<h2>The manifest</h2>
<pre>{{.Manifest}}</pre>
<p>Packed by plenilune {{.Program}}. The same for programs: <a href="ro-crate-metadata.json">ro-crate-metadata.json</a>, <a href="pack.json">pack.json</a>.</p>
</body>
</html>
`))

// page writes the crate's description for people.
func (p *packing) page() ([]byte, error) {
	var manifest string
	for _, f := range p.files {
		if f.Name == packManifest {
			manifest = string(f.bytes)
		}
	}
	var b bytes.Buffer
	err := pageText.Execute(&b, map[string]any{"Title": p.title(), "Summary": p.summary(), "Outputs": p.index.Outputs,
		"Inputs": p.index.Inputs, "Manifest": manifest, "Program": p.o.Program})
	if err != nil {
		return nil, fmt.Errorf("write the crate's page: %w", err)
	}
	return b.Bytes(), nil
}
