package cellar

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"testing"

	"ullage/core/way"
)

var update = flag.Bool("update", false, "write the file that the browser's tests read")

// The browser shows points, starting limits and budgets without asking the core.
// It holds its own against this file, and this test holds the file against the
// core, so that they cannot part.
func TestSharedWithTheBrowser(t *testing.T) {
	const file = "../../web/src/core/testdata/cellar.json"
	want, err := json.MarshalIndent(map[string]any{
		"points": way.Points, "limits": way.DefaultLimits(), "budgets": way.DefaultBudgets(), "event_ppb": way.EventPPB,
		"wort": map[string]float64{"carried": wortCarried, "low": wortLow, "high": wortHigh, "pitched": pitchedHigh},
	}, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	want = append(want, '\n')
	if *update {
		if err := os.WriteFile(file, want, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if got, err := os.ReadFile(file); err != nil || !bytes.Equal(got, want) {
		t.Errorf("%s is not what the core holds (%v): go test ./core/cellar -run Shared -update, then mend web/src/core/cellar.ts", file, err)
	}
}
