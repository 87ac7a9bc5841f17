package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
)

func TestDescribe(t *testing.T) {
	lock := filepath.Join(t.TempDir(), "package-lock.json")
	text := `{"packages":{"":{"version":"0.1.0"},"node_modules/svelte":{"version":"5.0.0","integrity":"sha512-AAEC"},"node_modules/a/node_modules/@b/c":{"version":"1.2.3"}}}`
	if err := os.WriteFile(lock, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	doc, err := describe(os.Args[0], lock) // the test binary is a Go binary too
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]component{}
	for _, c := range doc.Components {
		found[c.Name] = c
	}
	if c := found["svelte"]; c.Scope != "required" || c.PURL != "pkg:npm/svelte@5.0.0" || len(c.Hashes) != 1 || c.Hashes[0].Content != "000102" {
		t.Errorf("%+v", c)
	}
	if c := found["@b/c"]; c.Scope != "excluded" || c.PURL != "pkg:npm/@b/c@1.2.3" {
		t.Errorf("%+v", c)
	}
	if found["std"].Version == "" {
		t.Error("Go itself is not listed")
	}
	if b, err := json.Marshal(doc); err != nil || len(b) < 100 {
		t.Error(err)
	}
}
