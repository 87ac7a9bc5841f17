package stats

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

type checkFile struct {
	Cases []struct {
		ID        string          `json:"id"`
		Calc      string          `json:"calc"`
		Source    string          `json:"source"`
		Flags     []string        `json:"flags"`
		Input     json.RawMessage `json:"input"`
		Want      map[string]any  `json:"want"`
		Tolerance struct {
			Abs *float64 `json:"abs"`
			Rel *float64 `json:"rel"`
		} `json:"tolerance"`
	} `json:"cases"`
}

// TestPublishedValues runs every case of checks/stats-*.json.
func TestPublishedValues(t *testing.T) {
	paths, err := filepath.Glob("../../checks/stats-*.json")
	if err != nil || len(paths) < 6 {
		t.Fatalf("check files found: %v, %v", paths, err)
	}
	seen := map[string]bool{}
	used := map[string]bool{}
	for _, path := range paths {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		var file checkFile
		if err := json.Unmarshal(text, &file); err != nil {
			t.Fatalf("%s: %v", path, err)
		}
		if len(file.Cases) == 0 {
			t.Errorf("%s holds no case", path)
		}
		for _, c := range file.Cases {
			if seen[c.ID] || c.Source == "" || len(c.Flags) == 0 || len(c.Want) == 0 || (c.Tolerance.Abs == nil) == (c.Tolerance.Rel == nil) {
				t.Errorf("%s: case %q is not well formed", path, c.ID)
				continue
			}
			seen[c.ID], used[c.Calc] = true, true
			t.Run(c.ID, func(t *testing.T) {
				f := counter[c.Calc]
				if f == nil {
					t.Fatalf("unknown calculation %q", c.Calc)
				}
				got, err := f(c.Input)
				if err != nil {
					t.Fatal(err)
				}
				tree := asTree(t, got)
				for path, want := range c.Want {
					compare(t, path, lookup(t, tree, path), want, c.Tolerance.Abs, c.Tolerance.Rel)
				}
			})
		}
	}
	for name := range counter {
		if !used[name] {
			t.Errorf("no case checks %s", name)
		}
	}
}

// asTree sends a result through JSON, as every door does.
func asTree(t *testing.T, v any) any {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	var tree any
	if err := json.Unmarshal(text, &tree); err != nil {
		t.Fatal(err)
	}
	return tree
}

// lookup follows a dotted path. A list at its end counts as its length, and a
// field that was left out as the empty string.
func lookup(t *testing.T, tree any, path string) any {
	t.Helper()
	keys := strings.Split(path, ".")
	for i, key := range keys {
		switch node := tree.(type) {
		case map[string]any:
			v, ok := node[key]
			if !ok && i == len(keys)-1 {
				return ""
			}
			tree = v
		case []any:
			n, err := strconv.Atoi(key)
			if err != nil || n >= len(node) {
				t.Fatalf("%s: no element %s of %d", path, key, len(node))
			}
			tree = node[n]
		default:
			t.Fatalf("%s: nothing at %s", path, key)
		}
	}
	if tree == nil {
		return 0.0 // an empty list
	}
	if list, ok := tree.([]any); ok {
		return float64(len(list))
	}
	return tree
}

func compare(t *testing.T, path string, got, want any, abs, rel *float64) {
	t.Helper()
	w, isNumber := want.(float64)
	if !isNumber {
		if got != want {
			t.Errorf("%s = %v, want %v", path, got, want)
		}
		return
	}
	g, ok := got.(float64)
	if !ok {
		t.Errorf("%s = %v, want %v", path, got, want)
		return
	}
	var allowed float64
	if abs != nil {
		allowed = *abs
	} else {
		allowed = *rel * math.Abs(w)
	}
	if !(math.Abs(g-w) <= allowed) {
		t.Errorf("%s = %.12g, want %.12g ± %.2g (off by %.2g)", path, g, w, allowed, g-w)
	}
}
