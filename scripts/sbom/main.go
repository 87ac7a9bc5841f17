// Command sbom writes what a built ullage consists of, as a CycloneDX 1.6
// document: the Go modules that the binary itself names, and the npm packages of
// the web app's lock file.
//
//	go run ./scripts/sbom bin/ullage web/package-lock.json > sbom.cdx.json
//
// The order is fixed and no clock or random number is used: the same binary and
// lock file give the same bytes.
package main

import (
	"cmp"
	"debug/buildinfo"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/url"
	"os"
	"slices"
	"strings"
)

type document struct {
	Format     string      `json:"bomFormat"`
	Spec       string      `json:"specVersion"`
	Version    int         `json:"version"`
	Metadata   metadata    `json:"metadata"`
	Components []component `json:"components"`
}

type metadata struct {
	Component component `json:"component"`
}

type component struct {
	Type       string     `json:"type"`
	Ref        string     `json:"bom-ref"`
	Name       string     `json:"name"`
	Version    string     `json:"version,omitempty"`
	Scope      string     `json:"scope,omitempty"` // excluded: used to build, not shipped
	PURL       string     `json:"purl,omitempty"`
	Hashes     []sum      `json:"hashes,omitempty"`
	Properties []property `json:"properties,omitempty"`
}

type sum struct {
	Alg     string `json:"alg"`
	Content string `json:"content"`
}

type property struct {
	Name  string `json:"name"`
	Value string `json:"value"`
}

// shipped are the npm packages whose code the built app carries; the rest only
// builds or tests it. vite.config.ts ships their licences.
var shipped = []string{"svelte", "@sveltejs/kit", "echarts", "zrender", "idb", "openapi-fetch", "@fontsource/atkinson-hyperlegible-next"}

func main() {
	if len(os.Args) != 3 {
		fmt.Fprintln(os.Stderr, "usage: sbom BINARY package-lock.json")
		os.Exit(2)
	}
	doc, err := describe(os.Args[1], os.Args[2])
	if err == nil {
		enc := json.NewEncoder(os.Stdout)
		enc.SetIndent("", " ")
		enc.SetEscapeHTML(false)
		err = enc.Encode(doc)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "sbom:", err)
		os.Exit(1)
	}
}

func describe(binary, lock string) (*document, error) {
	info, err := buildinfo.ReadFile(binary)
	if err != nil {
		return nil, err
	}
	doc := &document{Format: "CycloneDX", Spec: "1.6", Version: 1,
		Metadata: metadata{component{Type: "application", Ref: "ullage", Name: "ullage", Properties: []property{{"go", info.GoVersion}}}}}
	doc.Components = append(doc.Components, component{Type: "library", Ref: "pkg:golang/std@" + strings.TrimPrefix(info.GoVersion, "go"),
		Name: "std", Version: strings.TrimPrefix(info.GoVersion, "go"), PURL: "pkg:golang/std@" + strings.TrimPrefix(info.GoVersion, "go")})
	for _, m := range info.Deps {
		if m.Replace != nil {
			m = m.Replace
		}
		purl := "pkg:golang/" + m.Path + "@" + m.Version
		doc.Components = append(doc.Components, component{Type: "library", Ref: purl, Name: m.Path, Version: m.Version, PURL: purl,
			Properties: []property{{"go.sum", m.Sum}}})
	}
	npm, err := packages(lock)
	if err != nil {
		return nil, err
	}
	doc.Components = append(doc.Components, npm...)
	slices.SortFunc(doc.Components, func(a, b component) int { return cmp.Compare(a.Ref, b.Ref) })
	doc.Components = slices.CompactFunc(doc.Components, func(a, b component) bool { return a.Ref == b.Ref })
	return doc, nil
}

func packages(lock string) (out []component, err error) {
	text, err := os.ReadFile(lock)
	if err != nil {
		return nil, err
	}
	var l struct {
		Packages map[string]struct {
			Version, Integrity string
		}
	}
	if err := json.Unmarshal(text, &l); err != nil {
		return nil, fmt.Errorf("%s: %w", lock, err)
	}
	for path, p := range l.Packages {
		i := strings.LastIndex(path, "node_modules/")
		if i < 0 {
			continue // the app itself
		}
		name := path[i+len("node_modules/"):]
		purl := "pkg:npm/" + strings.ReplaceAll(url.PathEscape(name), "%2F", "/") + "@" + p.Version
		c := component{Type: "library", Ref: purl, Name: name, Version: p.Version, PURL: purl, Scope: "excluded"}
		if slices.Contains(shipped, name) {
			c.Scope = "required"
		}
		if b64, ok := strings.CutPrefix(p.Integrity, "sha512-"); ok {
			raw, err := base64.StdEncoding.DecodeString(b64)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", name, err)
			}
			c.Hashes = []sum{{"SHA-512", hex.EncodeToString(raw)}}
		}
		out = append(out, c)
	}
	return out, nil
}
