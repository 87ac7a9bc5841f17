package cli

import (
	"bytes"
	"database/sql"
	"encoding/json"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"ullage/internal/lab"
	"ullage/internal/store"
)

// An auditor's walk at the command line, on records that were served, before
// and after somebody edits the file.
func TestAudit(t *testing.T) {
	dir := t.TempDir()
	p := startServer(t, "--open", "--addr", "127.0.0.1:0", "--data", dir)
	id := newID()
	if code := p.put("tanks", id, map[string]any{"name": "BBT 3", "kind": "bright_tank", "by": "Cellar"}); code != 200 {
		t.Fatal(code)
	}
	audit := func(want int, args ...string) string {
		t.Helper()
		var out, errOut bytes.Buffer
		if code := Main(append([]string{"audit"}, args...), strings.NewReader(""), &out, &errOut); code != want {
			t.Fatalf("%v: exit code %d, want %d\n%s%s", args, code, want, &out, &errOut)
		}
		return out.String() + errOut.String()
	}
	head := strings.TrimSpace(audit(0, "head", "--data", dir)) // while the server runs
	if !regexp.MustCompile(`^1:[0-9a-f]{64}$`).MatchString(head) {
		t.Fatalf("head %q", head)
	}
	if out := audit(0, "verify", "--data", dir, "--head", head); !strings.Contains(out, "1 revisions, 0 signed decisions, 1 kept heads") {
		t.Error(out)
	}
	if out := audit(0, "trail", "tanks", id, "--data", dir); !strings.Contains(out, "revision 1 by Cellar") || !strings.Contains(out, "signed in by open") || !strings.Contains(out, "name: BBT 3") {
		t.Error(out)
	}
	_ = p.cmd.Process.Kill()
	_ = p.cmd.Wait()
	conn, err := sql.Open("sqlite", filepath.Join(dir, "ullage.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	for _, text := range []string{`DROP TRIGGER revision_is_never_changed`, `UPDATE revision SET body = replace(body, 'BBT 3', 'BBT 4')`} {
		if _, err := conn.Exec(text); err != nil {
			t.Fatal(err)
		}
	}
	if out := audit(1, "verify", "--data", dir); !strings.Contains(out, "position 1, tanks "+id+" revision 1: is not what was written") || !strings.Contains(out, "NOT") {
		t.Error(out)
	}
	if out := audit(0, "trail", "tanks", id, "--data", dir); !strings.Contains(out, "NOT what was written") {
		t.Error(out)
	}
	audit(1, "verify", "--data", dir, "--head", "nonsense")
	audit(1, "trail", "tanks", newID(), "--data", dir)
}

// A decision on a lot carries the chain's head of its day, whatever a client says.
func TestDecisionCarriesTheHead(t *testing.T) {
	st, err := store.OpenSQLite(t.Context(), filepath.Join(t.TempDir(), "ullage.db"), store.SQLiteOptions{})
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	svc := &lab.Service{Store: st}
	put := func(k lab.Kind, record map[string]any) lab.Answer {
		t.Helper()
		if record["id"] == nil {
			record["id"] = newID()
		}
		body, _ := json.Marshal(record)
		a := svc.Put(t.Context(), lab.Write{Kind: k, Record: body})
		if a.Err != nil {
			t.Fatal(a.Err)
		}
		return a
	}
	beer := put(lab.KindBeers, map[string]any{"name": "Vellumrook"})
	format := put(lab.KindFormats, map[string]any{"name": "Can", "kind": "can", "nominal_ml": 355})
	line := put(lab.KindLines, map[string]any{"name": "C6", "heads": 6})
	run := put(lab.KindRuns, map[string]any{"beer_id": beer.ID, "format_id": format.ID, "line_id": line.ID, "status": "going", "started_at": "2026-11-05T11:00:00Z"})
	before, err := st.ChainHead(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	a := put(lab.KindDecisions, map[string]any{"run_id": run.ID, "proposed": "hold", "decision": "hold", "why": "no reading", "by": "Brewmaster",
		"chain": map[string]any{"seq": 99, "hash": "made up"}})
	var d lab.LotDecision
	if err := json.Unmarshal(a.Record, &d); err != nil || d.Chain == nil || *d.Chain != before {
		t.Errorf("%s: chain %v, want %v", a.Record, d.Chain, before)
	}
	v, err := svc.VerifyChain(t.Context())
	if err != nil || v.Signed != 1 || len(v.Broken) > 0 {
		t.Errorf("%+v, %v", v, err)
	}
}
