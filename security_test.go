package ullage_test

import (
	"bufio"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

const securityPage = "docs/security.md"

// requirements reads the numbers and levels of the standard.
func requirements(t *testing.T) map[string]string {
	t.Helper()
	f, err := os.Open("testdata/asvs-5.0.0-levels.txt")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all := map[string]string{}
	for lines := bufio.NewScanner(f); lines.Scan(); {
		if number, level, ok := strings.Cut(lines.Text(), " "); ok && number != "#" {
			all[number] = level
		}
	}
	if len(all) != 206 {
		t.Fatalf("%d requirements", len(all))
	}
	return all
}

// securityRow is a line of a table: of the standard's, no is a number.
type securityRow struct{ no, level, answer, shown string }

func securityRows(t *testing.T) (rows []securityRow, doc string) {
	t.Helper()
	text, err := os.ReadFile(securityPage)
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(string(text), "\n") {
		cells := strings.Split(strings.Trim(line, "|"), "|")
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		switch {
		case !strings.HasPrefix(line, "|") || strings.HasPrefix(cells[0], "---") || cells[len(cells)-1] == "shown by":
		case len(cells) == 5 && strings.Contains(cells[0], "."):
			rows = append(rows, securityRow{cells[0], cells[1], cells[3], cells[4]})
		case len(cells) == 3 && strings.Contains(cells[2], "`"):
			rows = append(rows, securityRow{answer: cells[1], shown: cells[2]})
		}
	}
	return rows, string(text)
}

// Every requirement of the chapters stands once, with its level and an answer;
// what is met names a test or a section that is there.
func TestSecurityDocument(t *testing.T) {
	want, have := requirements(t), testsByRoom(t)
	rows, _ := securityRows(t)
	seen, named := map[string]bool{}, 0
	for _, r := range rows {
		found := shownBy(t, have, r)
		named += found
		if r.no == "" {
			continue
		}
		word, why, _ := strings.Cut(r.answer, ":")
		if seen[r.no] || want[r.no] != r.level {
			t.Errorf("%s, level %s: twice, or not of level %q", r.no, r.level, want[r.no])
		}
		seen[r.no] = true
		switch word {
		case "met":
			if found == 0 {
				t.Errorf("%s is said to be met and names neither test nor section", r.no)
			}
		case "in part", "not met", "n/a":
			if len(why) < 5 {
				t.Errorf("%s does not say why: %s", r.no, r.answer)
			}
		default:
			t.Errorf("%s is answered by %q", r.no, r.answer)
		}
	}
	for no := range want {
		if !seen[no] {
			t.Errorf("%s is not answered", no)
		}
	}
	if named < 150 {
		t.Errorf("only %d tests and sections read: has the page's form changed?", named)
	}
}

var (
	namedTest  = regexp.MustCompile("^`(?:Test|Fuzz)[A-Za-z0-9_]+`$")
	pageLink   = regexp.MustCompile(`\[[^\]]+\]\(([a-z]*(?:\.md)?)#([a-z0-9-]+)\)`)
	headline   = regexp.MustCompile(`(?m)^#+ (.+)$`)
	notInSlugs = regexp.MustCompile(`[^a-z0-9 -]`)
)

// shownBy counts the tests and sections that a line names, and that are there.
func shownBy(t *testing.T, have map[string]map[string]bool, r securityRow) (found int) {
	t.Helper()
	for _, m := range pageLink.FindAllStringSubmatch(r.shown, -1) {
		page := filepath.Join("docs", m[1])
		if m[1] == "" {
			page = securityPage
		}
		if !sections(t, page)[m[2]] {
			t.Errorf("%s: %s has no section %s", r.no, page, m[2])
		}
		found++
	}
	room := ""
	for _, w := range strings.Fields(strings.NewReplacer(",", " ", ";", " ").Replace(pageLink.ReplaceAllString(r.shown, " "))) {
		switch {
		case namedTest.MatchString(w):
			if name := strings.Trim(w, "`"); !have[room][name] {
				t.Errorf("%s: %s has no %s", r.no, room, name)
			}
			found++
		case strings.HasPrefix(w, "`web/"):
			if _, err := os.Stat(strings.Trim(w, "`")); err != nil {
				t.Errorf("%s: %v", r.no, err)
			}
			found++
		default:
			room = w
		}
	}
	return found
}

func sections(t *testing.T, page string) map[string]bool {
	t.Helper()
	text, err := os.ReadFile(page)
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]bool{}
	for _, m := range headline.FindAllStringSubmatch(string(text), -1) {
		all[strings.ReplaceAll(notInSlugs.ReplaceAllString(strings.ToLower(m[1]), ""), " ", "-")] = true
	}
	return all
}

// testsByRoom is the tests and fuzz targets of each folder of internal (by
// its own name) and core, and of the root.
func testsByRoom(t *testing.T) map[string]map[string]bool {
	t.Helper()
	all := map[string]map[string]bool{}
	declared := regexp.MustCompile(`(?m)^func ((?:Test|Fuzz)[A-Za-z0-9_]+)\(`)
	add := func(path string) error {
		body, err := os.ReadFile(path)
		room := strings.TrimPrefix(filepath.ToSlash(filepath.Dir(path)), "internal/")
		if room == "." {
			room = "root"
		}
		if all[room] == nil {
			all[room] = map[string]bool{}
		}
		for _, m := range declared.FindAllSubmatch(body, -1) {
			all[room][string(m[1])] = true
		}
		return err
	}
	var err error
	for _, top := range []string{"internal", "core"} {
		if err == nil {
			err = filepath.WalkDir(top, func(path string, _ fs.DirEntry, err error) error {
				if err != nil || !strings.HasSuffix(path, "_test.go") {
					return err
				}
				return add(path)
			})
		}
	}
	tops, _ := filepath.Glob("*_test.go")
	for _, path := range tops {
		if err == nil {
			err = add(path)
		}
	}
	if err != nil {
		t.Fatal(err)
	}
	return all
}
