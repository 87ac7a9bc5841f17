package calc

import (
	"testing"

	"ullage/checks"
)

// TestChecks runs every case of checks/ that this table answers.
func TestChecks(t *testing.T) {
	files, err := checks.Load()
	if err != nil {
		t.Fatal(err)
	}
	checked := map[string]bool{}
	for _, f := range files {
		for i := range f.Cases {
			c := &f.Cases[i]
			checked[c.Calc] = true
			t.Run(c.ID, func(t *testing.T) {
				answer, err := Run(c.Calc, c.Input)
				if err != nil {
					t.Fatal(err)
				}
				findings, err := c.Compare(answer)
				if err != nil {
					t.Fatal(err)
				}
				for _, got := range findings {
					if got.Got == nil {
						t.Errorf("%s: %s has no such output", got.Output, c.Calc)
					} else if !got.OK {
						t.Errorf("%s = %v, want %v ± %.3g (%s)", got.Output, got.Got, got.Want, got.Allowed, f.SourceOf(c))
					}
				}
			})
		}
	}
	for _, c := range List() {
		if !checked[c.Name] {
			t.Errorf("no case checks %s", c.Name)
		}
	}
}
