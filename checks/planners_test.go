package checks

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

var (
	planNumbered = regexp.MustCompile(`(?m)^\*\*\(P(\d+)\)\*\* `)
	planCited    = regexp.MustCompile(`P(\d+)(?:–P?(\d+))?`)
	planComment  = regexp.MustCompile(`\(eq\. (P[^)]*)\)`)
)

// TestPlannerEquations: the equations that the planners cite stand in
// docs/planners.md, in order, and each is cited.
func TestPlannerEquations(t *testing.T) {
	text, err := os.ReadFile("../docs/planners.md")
	if err != nil {
		t.Fatal(err)
	}
	count := 0
	for i, m := range planNumbered.FindAllStringSubmatch(string(text), -1) {
		if m[1] != strconv.Itoa(i+1) {
			t.Errorf("equation P%d of docs/planners.md is numbered P%s", i+1, m[1])
		}
		count++
	}
	process, _ := filepath.Glob("../core/process/*.go")
	plans, _ := filepath.Glob("../core/calc/plan_*.go")
	floors, _ := filepath.Glob("../core/uncertainty/floor.go")
	if len(process) == 0 || len(plans) == 0 || count == 0 {
		t.Fatal("no equations or no planners")
	}
	cited := make([]bool, count+1)
	cite := func(list, path string) {
		for _, m := range planCited.FindAllStringSubmatch(list, -1) {
			from, _ := strconv.Atoi(m[1])
			to := from
			if m[2] != "" {
				to, _ = strconv.Atoi(m[2])
			}
			for n := from; n <= to; n++ {
				if n > count {
					t.Errorf("%s cites P%d, which docs/planners.md does not have", path, n)
				} else {
					cited[n] = true
				}
			}
		}
	}
	for _, path := range slices.Concat(process, plans, floors) {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		joined := strings.ReplaceAll(string(text), "\n// ", " ")
		for _, m := range planComment.FindAllStringSubmatch(joined, -1) {
			cite(m[1], path)
		}
		for _, m := range listed.FindAllStringSubmatch(joined, -1) {
			cite(m[1], path)
		}
		for _, m := range regexp.MustCompile(`\.line\("(P\d+)"`).FindAllStringSubmatch(joined, -1) {
			cite(m[1], path)
		}
	}
	for n := 1; n <= count; n++ {
		if !cited[n] {
			t.Errorf("nothing cites P%d of docs/planners.md", n)
		}
	}
}
