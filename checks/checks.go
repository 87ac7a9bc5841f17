// Package checks holds the values that the program is checked against, each
// with its source, and says whether an answer meets them. `ullage check`, the
// tests of core/calc and the test of the browser build run the same cases.
//
// It computes nothing and imports nothing of ours: the caller runs the
// calculation and hands its JSON answer to Case.Compare. It does not say which
// calculations must have a case; the test of core/calc does.
package checks

import (
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"sort"
	"strings"
)

//go:embed *.json
var files embed.FS

// File is one file of cases. Statistics files carry the source at each case.
type File struct {
	Name   string            `json:"-"`
	Source string            `json:"source,omitempty"` // author, year, title, table or equation
	Note   string            `json:"note"`
	Flags  map[string]string `json:"flags"` // each flag of a case, explained
	Cases  []Case            `json:"cases"`
}

// Case is one input of a named calculation and what must come out.
type Case struct {
	ID        string          `json:"id"`
	Calc      string          `json:"calc"`
	Source    string          `json:"source,omitempty"` // where it is not the file's
	Input     json.RawMessage `json:"input"`
	Want      map[string]Want `json:"want"` // by output, see Compare
	Tolerance Tolerances      `json:"tolerance,omitempty"`
	Comment   string          `json:"comment,omitempty"`
	Flags     []string        `json:"flags"`
}

// Want is a number with a tolerance, an exact word or truth value, or an open
// range {"above": …, "below": …}.
type Want struct {
	Number       *float64
	Exact        any // string or bool
	Above, Below *float64
}

// Tolerance is absolute, in the unit of the output, or relative to the wanted value.
type Tolerance struct {
	Abs *float64 `json:"abs,omitempty"`
	Rel *float64 `json:"rel,omitempty"`
}

// Tolerances are by output; the entry "" stands for all that have none.
type Tolerances map[string]Tolerance

// Finding is the outcome of one output of one case.
type Finding struct {
	Output  string
	Want    Want
	Got     any     // float64, string, bool, or nil where the answer has no such output
	Allowed float64 // absolute; 0 for exact values and ranges
	OK      bool
}

// Load reads every file whose cases core/calc answers. Files named stats-*.json
// are run by core/stats, which answers them itself.
func Load() ([]File, error) {
	entries, err := files.ReadDir(".")
	if err != nil {
		return nil, err
	}
	var list []File
	for _, e := range entries {
		name := e.Name()
		if name == "schema.json" || strings.HasPrefix(name, "stats-") {
			continue
		}
		text, err := files.ReadFile(name)
		if err != nil {
			return nil, err
		}
		f, err := read(name, text)
		if err != nil {
			return nil, err
		}
		list = append(list, f)
	}
	return list, nil
}

// read decodes one file; a key it does not know is an error.
func read(name string, text []byte) (File, error) {
	f := File{Name: name}
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&f); err != nil {
		return f, fmt.Errorf("checks/%s: %w", name, err)
	}
	if _, err := d.Token(); err != io.EOF {
		return f, fmt.Errorf("checks/%s: text after the end of the file's object", name)
	}
	return f, nil
}

// SourceOf is where the wanted values of a case come from.
func (f *File) SourceOf(c *Case) string {
	if c.Source != "" {
		return c.Source
	}
	return f.Source
}

// Compare holds the JSON answer of a calculation against the case, one finding
// for each wanted output, in the order of their names. An output is a path of
// keys into "result" (or into "uncertainty", where it begins so), joined by
// dots; within a list a key is a position or an element's key, name or path.
func (c *Case) Compare(answer []byte) ([]Finding, error) {
	var tree struct {
		Result      any `json:"result"`
		Uncertainty any `json:"uncertainty"`
	}
	if err := json.Unmarshal(answer, &tree); err != nil {
		return nil, fmt.Errorf("case %s: the answer is not JSON: %w", c.ID, err)
	}
	list := make([]Finding, 0, len(c.Want))
	for output, want := range c.Want {
		node, path := tree.Result, output
		if rest, ok := strings.CutPrefix(output, "uncertainty."); ok {
			node, path = tree.Uncertainty, rest
		}
		f := Finding{Output: output, Want: want, Got: lookup(node, strings.Split(path, "."))}
		f.Allowed = c.allowed(output, want)
		f.OK = want.met(f.Got, f.Allowed)
		list = append(list, f)
	}
	sort.Slice(list, func(i, j int) bool { return list[i].Output < list[j].Output })
	return list, nil
}

func (c *Case) allowed(output string, want Want) float64 {
	t, ok := c.Tolerance[output]
	if !ok {
		t = c.Tolerance[""]
	}
	switch {
	case want.Number == nil:
		return 0
	case t.Abs != nil:
		return *t.Abs
	case t.Rel != nil:
		return *t.Rel * math.Abs(*want.Number)
	}
	return 0
}

func (w Want) met(got any, allowed float64) bool {
	if w.Exact != nil {
		return got == w.Exact
	}
	v, ok := got.(float64)
	if !ok {
		return false
	}
	if w.Number != nil {
		return math.Abs(v-*w.Number) <= allowed
	}
	return (w.Above == nil || v > *w.Above) && (w.Below == nil || v < *w.Below)
}

// lookup follows keys into decoded JSON; nil where there is nothing.
func lookup(node any, keys []string) any {
	for _, key := range keys {
		switch n := node.(type) {
		case map[string]any:
			node = n[key]
		case []any:
			node = element(n, key)
		default:
			return nil
		}
	}
	return node
}

func element(list []any, key string) any {
	for i, e := range list {
		if fmt.Sprint(i) == key {
			return e
		}
		if m, ok := e.(map[string]any); ok && (m["key"] == key || m["name"] == key || m["path"] == key) {
			return e
		}
	}
	return nil
}
