package api

import (
	"encoding/json"
	"html/template"
	"net/http"
	"slices"
	"strings"

	"github.com/danielgtaylor/huma/v2"
)

// docsPage writes the API's description as one page to read: no script, no
// file from elsewhere.
func (s *Server) docsPage(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	if err := docsTemplate.Execute(w, s.docs()); err != nil {
		s.Log.Error("docs page", "err", err)
	}
}

type docs struct {
	Text     string
	Groups   []docGroup
	Schemas  []docSchema
	Problems []docProblem
}

type docGroup struct {
	Tag string
	Ops []docOp
}

type docOp struct {
	Method, Path, Summary, Text string
	Params                      []docField
	Takes, Gives, Problems      string
}

type docSchema struct {
	Name, Text string
	Fields     []docField
}

type docField struct {
	Name, Type, Text string
	Must, ReadOnly   bool
}

type docProblem struct {
	Class, Title string
	Status       int
}

func (s *Server) docs() docs {
	spec := s.api.OpenAPI()
	d := docs{Text: spec.Info.Description}
	for _, path := range sortedKeys(spec.Paths) {
		item := spec.Paths[path]
		for _, op := range []*huma.Operation{item.Get, item.Put, item.Post} {
			if op == nil {
				continue
			}
			i := slices.IndexFunc(d.Groups, func(g docGroup) bool { return g.Tag == op.Tags[0] })
			if i < 0 {
				d.Groups = append(d.Groups, docGroup{Tag: op.Tags[0]})
				i = len(d.Groups) - 1
			}
			d.Groups[i].Ops = append(d.Groups[i].Ops, docOperation(path, op))
		}
	}
	schemas := spec.Components.Schemas.Map()
	for _, name := range sortedKeys(schemas) {
		d.Schemas = append(d.Schemas, docOf(name, schemas[name]))
	}
	for _, class := range sortedKeys(classes) {
		d.Problems = append(d.Problems, docProblem{string(class), classes[class].title, classes[class].status})
	}
	return d
}

func docOperation(path string, op *huma.Operation) docOp {
	out := docOp{Method: op.Method, Path: path, Summary: op.Summary, Text: op.Description}
	for _, p := range op.Parameters {
		out.Params = append(out.Params, docField{Name: p.Name + " (" + p.In + ")", Type: typeName(p.Schema), Text: p.Description, Must: p.Required})
	}
	if op.RequestBody != nil {
		for _, m := range op.RequestBody.Content {
			out.Takes = typeName(m.Schema)
		}
	}
	var codes []string
	for _, code := range sortedKeys(op.Responses) {
		if code != "200" {
			codes = append(codes, code)
			continue
		}
		for _, m := range op.Responses[code].Content {
			out.Gives = typeName(m.Schema)
		}
	}
	out.Problems = strings.Join(codes, ", ")
	return out
}

func docOf(name string, s *huma.Schema) docSchema {
	out := docSchema{Name: name, Text: s.Description}
	for _, f := range sortedKeys(s.Properties) {
		p := s.Properties[f]
		out.Fields = append(out.Fields, docField{f, typeName(p), p.Description, slices.Contains(s.Required, f), p.ReadOnly})
	}
	return out
}

func typeName(s *huma.Schema) string {
	switch {
	case s == nil:
		return "any"
	case s.Ref != "":
		return s.Ref[strings.LastIndex(s.Ref, "/")+1:]
	case len(s.Enum) > 0:
		var names []string
		for _, v := range s.Enum {
			names = append(names, strings.TrimSpace(strings.Trim(jsonText(v), `"`)))
		}
		return strings.Join(names, " | ")
	case s.Type == "array":
		return "list of " + typeName(s.Items)
	case s.Format != "" && s.Type == "string":
		return s.Format
	case s.Type == "":
		return "any"
	}
	return s.Type
}

var docsTemplate = template.Must(template.New("docs").Parse(`{{define "schema"}}{{if or (eq . "binary") (eq . "any") (eq . "object")}}{{.}}{{else}}<a href="#schema-{{.}}">{{.}}</a>{{end}}{{end -}}
<!doctype html>
<html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>Ullage: HTTP API</title>
<style>
:root{color-scheme:light dark;--line:color-mix(in srgb,currentColor 20%,transparent)}
body{font:16px/1.5 system-ui,sans-serif;max-width:64rem;margin:0 auto;padding:24px 16px}
h2{margin-top:48px;border-bottom:1px solid var(--line)}h3{margin:32px 0 8px;font-size:1rem}
code{font-family:ui-monospace,monospace}table{border-collapse:collapse;width:100%;font-size:.9rem}
td,th{text-align:left;vertical-align:top;padding:4px 16px 4px 0;border-bottom:1px solid var(--line)}
.wide{overflow-x:auto}nav a{margin-right:16px}
</style>
<main><h1>Ullage: HTTP API</h1><p style="white-space:pre-line">{{.Text}}</p>
<p>The same as a file: <a href="/api/openapi.json">openapi.json</a> (OpenAPI 3.1).</p>
<nav aria-label="Parts">{{range .Groups}}<a href="#{{.Tag}}">{{.Tag}}</a> {{end}}<a href="#records">records</a> <a href="#problems">problems</a></nav>
{{range .Groups}}<section><h2 id="{{.Tag}}">{{.Tag}}</h2>
{{range .Ops}}<h3><code>{{.Method}} {{.Path}}</code></h3><p>{{.Summary}}. {{.Text}}</p>
{{if .Params}}<div class="wide"><table><tr><th>parameter</th><th>type</th><th>meaning</th></tr>
{{range .Params}}<tr><td><code>{{.Name}}</code></td><td>{{.Type}}</td><td>{{.Text}}</td></tr>{{end}}</table></div>{{end}}
<p>{{if .Takes}}Takes {{template "schema" .Takes}}. {{end}}Gives {{template "schema" .Gives}}. Problems: {{.Problems}}.</p>
{{end}}</section>{{end}}
<section><h2 id="records">records</h2>{{range .Schemas}}<h3 id="schema-{{.Name}}">{{.Name}}</h3>{{with .Text}}<p>{{.}}</p>{{end}}
<div class="wide"><table><tr><th>field</th><th>type</th><th>meaning</th></tr>
{{range .Fields}}<tr><td><code>{{.Name}}</code>{{if .Must}} (needed){{end}}{{if .ReadOnly}} (read-only){{end}}</td><td>{{.Type}}</td><td>{{.Text}}</td></tr>{{end}}</table></div>{{end}}</section>
<section><h2 id="problems">problems</h2><p>Every failure answers application/problem+json with title, status, detail, and errors: where, the value, why, and the mend.</p>
<div class="wide"><table><tr><th>class</th><th>status</th><th>title</th></tr>
{{range .Problems}}<tr id="problem-{{.Class}}"><td>{{.Class}}</td><td>{{.Status}}</td><td>{{.Title}}</td></tr>{{end}}</table></div></section>
</main></html>
`))

func jsonText(v any) string {
	text, err := json.Marshal(v)
	if err != nil {
		return "?"
	}
	return string(text)
}
