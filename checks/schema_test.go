package checks

import (
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// TestSchema holds every file to schema.json.
func TestSchema(t *testing.T) {
	var schema map[string]any
	text, err := files.ReadFile("schema.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &schema); err != nil {
		t.Fatal(err)
	}
	seen := map[string]string{}
	for _, name := range names(t) {
		text, _ := files.ReadFile(name)
		var tree any
		if err := json.Unmarshal(text, &tree); err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		for _, fault := range validate(schema, schema, tree, name) {
			t.Error(fault)
		}
		f, err := read(name, text)
		if err != nil {
			t.Error(err)
			continue
		}
		wellFormed(t, &f, seen)
	}
}

// wellFormed asks what a schema cannot say.
func wellFormed(t *testing.T, f *File, seen map[string]string) {
	used := map[string]bool{}
	for i := range f.Cases {
		c := &f.Cases[i]
		if other := seen[c.ID]; other != "" {
			t.Errorf("%s: case %q is in %s too", f.Name, c.ID, other)
		}
		seen[c.ID] = f.Name
		if f.SourceOf(c) == "" {
			t.Errorf("%s: case %q has no source", f.Name, c.ID)
		}
		for _, flag := range c.Flags {
			used[flag] = true
			if f.Flags[flag] == "" {
				t.Errorf("%s: case %q has the flag %q, which the file does not explain", f.Name, c.ID, flag)
			}
		}
		for output, w := range c.Want {
			_, own := c.Tolerance[output]
			_, common := c.Tolerance[""]
			if w.Number != nil && !own && !common {
				t.Errorf("%s: case %q has no tolerance for %s", f.Name, c.ID, output)
			}
		}
		for output := range c.Tolerance {
			if _, ok := c.Want[output]; !ok && output != "" {
				t.Errorf("%s: case %q has a tolerance for %s, which it does not want", f.Name, c.ID, output)
			}
		}
	}
	for flag := range f.Flags {
		if !used[flag] && !strings.HasPrefix(f.Name, "stats-") {
			t.Errorf("%s explains the flag %q, which no case carries", f.Name, flag)
		}
	}
}

// TestSchemaRefuses shows that the test above can fail.
func TestSchemaRefuses(t *testing.T) {
	var schema map[string]any
	text, _ := files.ReadFile("schema.json")
	if err := json.Unmarshal(text, &schema); err != nil {
		t.Fatal(err)
	}
	good := `{"note":"n","flags":{"published":"seen in print"},"cases":[{"id":"a","calc":"water","input":{},"want":{"x":1},"tolerance":{"abs":1},"flags":["published"]}]}`
	for fault, change := range map[string][2]string{
		"":                      {"", ""},
		"unknown key":           {`"note":"n"`, `"note":"n","color":"red"`},
		"unknown key in a case": {`"calc":"water"`, `"calc":"water","expect":1`},
		"no case":               {good[strings.Index(good, `[{`):], `[]}`},
		"no calc":               {`"calc":"water",`, ``},
		"nothing wanted":        {`{"x":1}`, `{}`},
		"two tolerances":        {`{"abs":1}`, `{"abs":1,"rel":1}`},
		"an empty range":        {`{"x":1}`, `{"x":{}}`},
		"an unknown flag":       {`"published":"seen in print"`, `"guessed":"out of the air"`},
	} {
		var tree any
		if err := json.Unmarshal([]byte(strings.Replace(good, change[0], change[1], 1)), &tree); err != nil {
			t.Fatalf("%s: %v", fault, err)
		}
		if found := validate(schema, schema, tree, ""); (len(found) > 0) != (fault != "") {
			t.Errorf("%q: found %v", fault, found)
		}
	}
}

func names(t *testing.T) []string {
	t.Helper()
	entries, err := files.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	var list []string
	for _, e := range entries {
		if e.Name() != "schema.json" {
			list = append(list, e.Name())
		}
	}
	return list
}

// fault prefixes what is wrong with where it is.
type fault = func(format string, args ...any)

// validate covers the part of JSON Schema that schema.json uses and panics on
// any other keyword, so that the schema cannot promise what nothing tests.
func validate(root, schema map[string]any, v any, at string) (faults []string) {
	fail := func(format string, args ...any) { faults = append(faults, at+": "+fmt.Sprintf(format, args...)) }
	below := func(schema any, v any, at string) {
		faults = append(faults, validate(root, schema.(map[string]any), v, at)...)
	}
	object, _ := v.(map[string]any)
	list, _ := v.([]any)
	properties, _ := schema["properties"].(map[string]any)
	for keyword, arg := range schema {
		switch keyword {
		case "$schema", "$defs", "title", "description":
		case "$ref":
			below(root["$defs"].(map[string]any)[strings.TrimPrefix(arg.(string), "#/$defs/")], v, at)
		case "properties":
			for key, s := range properties {
				if value, ok := object[key]; ok {
					below(s, value, at+"."+key)
				}
			}
		case "additionalProperties":
			for key, value := range object {
				if properties[key] != nil {
					continue
				}
				if arg == false {
					fail("has the unknown key %s", key)
				} else {
					below(arg, value, at+"."+key)
				}
			}
		case "items":
			for i, value := range list {
				below(arg, value, fmt.Sprintf("%s[%d]", at, i))
			}
		case "anyOf":
			if !slices.ContainsFunc(arg.([]any), func(s any) bool { return len(validate(root, s.(map[string]any), v, at)) == 0 }) {
				fail("%v fits none of the forms", v)
			}
		default:
			bounds(keyword, arg, v, fail)
		}
	}
	return faults
}

// bounds are the keywords that look at one value alone.
func bounds(keyword string, arg, v any, fail fault) {
	object, _ := v.(map[string]any)
	list, isList := v.([]any)
	text, isText := v.(string)
	switch keyword {
	case "type":
		if typeOf(v) != arg {
			fail("is %s, not %s", typeOf(v), arg)
		}
	case "required":
		for _, key := range arg.([]any) {
			if _, ok := object[key.(string)]; object != nil && !ok {
				fail("has no %s", key)
			}
		}
	case "minItems":
		if isList && float64(len(list)) < arg.(float64) {
			fail("has %d entries", len(list))
		}
	case "minProperties":
		if object != nil && float64(len(object)) < arg.(float64) {
			fail("has %d keys", len(object))
		}
	case "minLength":
		if isText && float64(len(text)) < arg.(float64) {
			fail("%q is too short", text)
		}
	case "minimum":
		if n, ok := v.(float64); ok && n < arg.(float64) {
			fail("%v is below %v", n, arg)
		}
	case "pattern":
		if isText && !regexp.MustCompile(arg.(string)).MatchString(text) {
			fail("%q does not match %s", text, arg)
		}
	default:
		panic("schema.json uses " + keyword + ", which this test does not know")
	}
}

func typeOf(v any) string {
	switch v.(type) {
	case map[string]any:
		return "object"
	case []any:
		return "array"
	case string:
		return "string"
	case bool:
		return "boolean"
	case float64:
		return "number"
	}
	return "null"
}
