package ullage_test

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// Every test that docs/security.md names is there, in the package it says; and
// every line of its tables names one, or says that it has none.
func TestSecurityDocument(t *testing.T) {
	doc, err := os.ReadFile("docs/security.md")
	if err != nil {
		t.Fatal(err)
	}
	have := testsByRoom(t)
	named := regexp.MustCompile("^`(?:Test|Fuzz)[A-Za-z0-9_]+`$")
	checked := 0
	for _, line := range strings.Split(string(doc), "\n") {
		cells := strings.Split(line, "|")
		if len(cells) != 5 || strings.Contains(line, "---") || strings.TrimSpace(cells[3]) == "shown by" {
			continue
		}
		shown := strings.Fields(strings.NewReplacer(",", " ", ";", " ").Replace(cells[3]))
		room, found := "", 0
		for _, w := range shown {
			switch {
			case named.MatchString(w):
				if name := strings.Trim(w, "`"); !have["internal/"+room][name] {
					t.Errorf("docs/security.md: %s has no %s:\n%s", room, name, line)
				}
				found++
			case strings.HasPrefix(w, "`web/"):
				if _, err := os.Stat(strings.Trim(w, "`")); err != nil {
					t.Errorf("docs/security.md: %v", err)
				}
				found++
			case w == "–":
				found++
			default:
				room = w
			}
		}
		if found == 0 {
			t.Errorf("docs/security.md names no test, and does not say so:\n%s", line)
		}
		checked += found
	}
	if checked < 60 {
		t.Errorf("only %d tests read from docs/security.md: has its form changed?", checked)
	}
}

// testsByRoom is the tests and fuzz targets of each folder.
func testsByRoom(t *testing.T) map[string]map[string]bool {
	t.Helper()
	all := map[string]map[string]bool{}
	declared := regexp.MustCompile(`(?m)^func ((?:Test|Fuzz)[A-Za-z0-9_]+)\(`)
	err := filepath.WalkDir("internal", func(path string, d fs.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		body, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		dir := filepath.ToSlash(filepath.Dir(path))
		if all[dir] == nil {
			all[dir] = map[string]bool{}
		}
		for _, m := range declared.FindAllSubmatch(body, -1) {
			all[dir][string(m[1])] = true
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}
