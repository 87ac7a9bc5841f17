package lab

import (
	"encoding/json"
	"os"
	"testing"
)

// When checks are due is worked out here and in the browser, which has it without
// a network: both meet the same cases (web/src/core/instruments.ts).
func TestDueAsInTheBrowser(t *testing.T) {
	text, err := os.ReadFile("../../web/src/core/testdata/dues.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Now   Time
		Cases []struct {
			Name       string
			Instrument *Instrument
			Checks     []*MeterCheck
			Want       []struct {
				Against   string
				EveryDays float64 `json:"every_days"`
				At        *Time
				Failed    bool
			}
		}
	}
	if err := json.Unmarshal(text, &file); err != nil || len(file.Cases) < 10 {
		t.Fatal(len(file.Cases), err)
	}
	for _, c := range file.Cases {
		got := dueOf(c.Instrument, c.Checks, file.Now.Time)
		if len(got) != len(c.Want) {
			t.Errorf("%s: %+v", c.Name, got)
			continue
		}
		for i, w := range c.Want {
			at := file.Now // never done: due now
			if w.At != nil {
				at = *w.At
			}
			if g := got[i]; g.Against != w.Against || g.EveryDays != w.EveryDays || !g.At.Equal(at.Time) || (g.LastOutcome == "failed") != w.Failed || g.Why == "" {
				t.Errorf("%s: %+v, want %+v", c.Name, g, w)
			}
		}
	}
}
