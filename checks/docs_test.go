package checks

import (
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

var (
	numbered = regexp.MustCompile(`(?m)^\*\*\((\d+)\)\*\* `)
	cited    = regexp.MustCompile(`\(?eq\. (\d[\d, –]*)([.\d]*)`)
	single   = regexp.MustCompile(`(?:^|[ ,])(\d+)(?:–(\d+))?`) // not P1, of docs/planners.md
	listed   = regexp.MustCompile(`define\("[^"]*", "[^"]*", "([^"]*)"`)
)

// TestEquationNumbers: every equation that the core cites stands in
// docs/method.md, and every equation there is cited. core/stats counts its own.
func TestEquationNumbers(t *testing.T) {
	text, err := os.ReadFile("../docs/method.md")
	if err != nil {
		t.Fatal(err)
	}
	inDocs := map[int]bool{}
	for i, m := range numbered.FindAllStringSubmatch(string(text), -1) {
		n, _ := strconv.Atoi(m[1])
		if n != i+1 {
			t.Errorf("equation %d of docs/method.md is numbered %d", i+1, n)
		}
		inDocs[n] = true
	}
	if len(inDocs) == 0 {
		t.Fatal("docs/method.md has no numbered equation")
	}
	inCode := map[int]string{}
	for _, dir := range []string{"quantity", "oxygen", "uncertainty", "cellar", "calc"} {
		paths, err := filepath.Glob("../core/" + dir + "/*.go")
		if err != nil || len(paths) == 0 {
			t.Fatalf("no code in core/%s: %v", dir, err)
		}
		for _, path := range paths {
			if !strings.HasSuffix(path, "_test.go") {
				citations(t, path, inCode)
			}
		}
	}
	for n, path := range inCode {
		if !inDocs[n] {
			t.Errorf("%s cites eq. %d, which docs/method.md does not have", path, n)
		}
	}
	for n := range inDocs {
		if inCode[n] == "" {
			t.Errorf("nothing in the core cites eq. %d of docs/method.md", n)
		}
	}
}

// citations collects the numbers a file cites, in comments as (eq. N) and in
// the table of calculations. "eq. 2.5" is a paper's own, and so is a number
// outside brackets.
func citations(t *testing.T, path string, into map[int]string) {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	joined := strings.ReplaceAll(string(text), "\n// ", " ")
	for _, bracket := range regexp.MustCompile(`\([^()]*\beq\. \d[^()]*\)`).FindAllString(joined, -1) {
		for _, m := range cited.FindAllStringSubmatch(bracket, -1) {
			if m[2] == "" || m[2] == "." {
				expand(m[1], path, into)
			}
		}
	}
	for _, m := range listed.FindAllStringSubmatch(string(text), -1) {
		expand(m[1], path, into)
	}
}

func expand(list, path string, into map[int]string) {
	for _, m := range single.FindAllStringSubmatch(list, -1) {
		from, _ := strconv.Atoi(m[1])
		to := from
		if m[2] != "" {
			to, _ = strconv.Atoi(m[2])
		}
		for n := from; n <= to; n++ {
			into[n] = path
		}
	}
}
