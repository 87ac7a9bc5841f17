package cli

import (
	"archive/zip"
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ullage/internal/lab"
)

// An export, imported into an empty database and exported again, is the same
// byte for byte, as a zip file and as a folder; also while a server runs.
func TestExportImport(t *testing.T) {
	tmp := t.TempDir()
	data := filepath.Join(tmp, "data")
	p := startServer(t, "--open", "--addr", "127.0.0.1:0", "--data", data)
	beer, format, line, run := newID(), newID(), newID(), newID()
	batch, bright, move := newID(), newID(), newID()
	meter := newID()
	writes := []struct {
		collection, id string
		record         map[string]any
	}{
		{"brewery", lab.BreweryID, map[string]any{"name": "Ostrelweir Brewhouse", "altitude_m": 310}},
		{"beers", beer, map[string]any{"name": `=HYPERLINK("x")`, "sg": 1.01, "note": "+1\n\"quoted\", ü"}},
		{"formats", format, map[string]any{"name": "Can 355", "kind": "can", "nominal_ml": 355}},
		{"instruments", meter, map[string]any{"name": "=meter", "kind": "do_meter", "resolution": 0.1, "u_abs": 0.6, "u_drift": 0.3, "sensor_replaced_at": "2026-08-10T06:00:00+02:00",
			"checks": []map[string]any{{"against": "zero", "limit": 3, "every_days": 7}}}},
		{"meter_checks", newID(), map[string]any{"instrument_id": meter, "at": "2026-11-05T06:00:00+01:00", "against": "zero", "read": 0.4}},
		{"studies", newID(), map[string]any{"kind": "tare", "name": "-empty", "at": "2026-11-01T09:00:00+01:00", "format_ids": []string{format},
			"rows": []map[string]any{{"empty_g": 13.4}, {"empty_g": 13.5, "lot": "=1+1"}, {"empty_g": 13.3}}, "settings": map[string]any{"target_g": 0.2}}},
		{"lines", line, map[string]any{"name": "-C6", "heads": 6}},
		{"runs", run, map[string]any{"beer_id": beer, "format_id": format, "line_id": line, "status": "going", "do_meter_id": meter,
			"started_at": "2026-11-05T06:30:00+01:00", "in_force": map[string]any{"capacity_ml": 373.5, "tare_g": 13.4}}},
		{"batches", batch, map[string]any{"code": "-F1", "beer_id": beer, "volume_hl": 49.8, "made_at": "2026-10-20T06:00:00+01:00", "status": "fermenting"}},
		{"batches", bright, map[string]any{"code": "B1", "beer_id": beer}},
		{"brews", newID(), map[string]any{"code": "301", "batch_id": batch, "at": "2026-10-20T06:00:00+01:00", "gas": "oxygen", "do_mg_l": 9.31, "generation": 3}},
		{"moves", move, map[string]any{"kind": "transfer", "from_batch_id": batch, "to_batch_id": bright, "started_at": "2026-11-04T13:00:00+01:00", "via": []string{"hose", "filter"}, "purge": "=1+1"}},
		{"moves", newID(), map[string]any{"kind": "addition", "to_batch_id": batch, "started_at": "2026-11-01T13:00:00+01:00", "addition": map[string]any{"what": "dry_hop", "amount_kg": 24}}},
		{"readings", newID(), map[string]any{"batch_id": bright, "move_id": move, "point": "filter_out", "at": "2026-11-04T13:10:00+01:00", "do_ppb": 1200, "raw": "1.2 ppm", "confirmed": "event", "flags": []string{"first_runnings"}}},
		{"cellar_limits", newID(), map[string]any{"what": "step", "step": "filter", "green_ppb": 30}},
		{"samples", newID(), map[string]any{"run_id": run, "kind": "shaken", "taken_at": "2026-11-05T06:55:00+01:00", "by": "@tech",
			"inputs": map[string]any{"temperature_c": 4, "gross_g": 372.6, "do_ppb": 48}, "raw": map[string]any{"do_ppb": "48"}}},
	}
	for _, w := range writes {
		if code := p.put(w.collection, w.id, w.record); code != 200 {
			t.Fatalf("%s: %d", w.collection, code)
		}
	}
	var out bytes.Buffer
	s := &streams{nil, &out, &out}
	first := filepath.Join(tmp, "a.zip")
	must(t, (&ExportCmd{database: database{Data: data}, To: first}).Run(s)) // the server runs
	copied := database{Data: filepath.Join(tmp, "copy")}
	must(t, (&ImportCmd{database: copied, From: first}).Run(s))
	folder := filepath.Join(tmp, "b")
	must(t, (&ExportCmd{database: copied, To: folder}).Run(s))
	third := database{Data: filepath.Join(tmp, "third")}
	must(t, (&ImportCmd{database: third, From: folder}).Run(s))

	z, err := zip.OpenReader(first)
	must(t, err)
	defer z.Close()
	files := 0
	for _, f := range z.File {
		if f.Name == lab.ManifestFile {
			continue // holds the time
		}
		r, err := f.Open()
		must(t, err)
		want, err := io.ReadAll(r)
		must(t, err)
		got, err := os.ReadFile(filepath.Join(folder, f.Name))
		must(t, err)
		if !bytes.Equal(got, want) {
			t.Errorf("%s differs:\n%s\n%s", f.Name, got, want)
		}
		files++
		if f.Name == "csv/beers.csv" && !strings.Contains(string(want), `"'=HYPERLINK(""x"")"`) {
			t.Errorf("a formula is not guarded: %s", want)
		}
		if f.Name == lab.RevisionsFile && strings.Count(string(want), "\n") != len(writes) {
			t.Errorf("%d revisions: %s", strings.Count(string(want), "\n"), want)
		}
	}
	if files != len(lab.Kinds())+1 {
		t.Errorf("%d files", files)
	}
	if err := (&ImportCmd{database: copied, From: folder}).Run(s); err == nil || !strings.Contains(err.Error(), "is not empty") {
		t.Errorf("importing twice: %v", err)
	}
	if err := (&ExportCmd{database: copied, To: folder}).Run(s); err == nil {
		t.Error("an export wrote over another")
	}
	// Run numbers go on after the imported ones.
	p2 := startServer(t, "--open", "--addr", "127.0.0.1:0", "--data", third.Data)
	next := newID()
	again := writes[slices.IndexFunc(writes, func(w struct {
		collection, id string
		record         map[string]any
	}) bool {
		return w.collection == "runs"
	})].record
	again["code"] = "next"
	if code := p2.put("runs", next, again); code != 200 {
		t.Fatal(code)
	}
	resp, err := http.Get(p2.url + "/api/v1/runs/" + next)
	must(t, err)
	defer resp.Body.Close()
	var got lab.Run
	must(t, json.NewDecoder(resp.Body).Decode(&got))
	if got.Number != 2 {
		t.Errorf("the run after the import has number %d", got.Number)
	}
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// A changed or cut export is refused whole, and says where.
func TestImportRefuses(t *testing.T) {
	tmp := t.TempDir()
	data := filepath.Join(tmp, "data")
	p := startServer(t, "--open", "--addr", "127.0.0.1:0", "--data", data)
	for range 3 {
		id := newID()
		p.put("tanks", id, tank(id))
	}
	var out bytes.Buffer
	s := &streams{nil, &out, &out}
	must(t, (&ExportCmd{database: database{Data: data}, To: filepath.Join(tmp, "good")}).Run(s))
	text, err := os.ReadFile(filepath.Join(tmp, "good", lab.RevisionsFile))
	must(t, err)
	lines := strings.SplitAfter(string(text), "\n")
	for name, c := range map[string]struct{ content, says string }{
		"cut":           {lines[0] + lines[1], "manifest"},
		"half a line":   {lines[0] + lines[1] + lines[2][:40], "line 3"},
		"unknown field": {lines[0] + strings.Replace(lines[1], `"name"`, `"nom"`, 1) + lines[2], "nom"},
		"twice":         {lines[0] + lines[0] + lines[2], "line 2"},
		"bad utf-8":     {lines[0] + strings.Replace(lines[1], "bright", "\xff\xfe", 1) + lines[2], "UTF-8"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "bad")
			must(t, os.CopyFS(dir, os.DirFS(filepath.Join(tmp, "good"))))
			must(t, os.WriteFile(filepath.Join(dir, lab.RevisionsFile), []byte(c.content), 0o600))
			into := database{Data: filepath.Join(t.TempDir(), "into")}
			err := (&ImportCmd{database: into, From: dir}).Run(s)
			if err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%v; want %q in it", err, c.says)
			}
			st, err := into.open(context.Background())
			must(t, err)
			defer st.Close()
			if head, _ := st.Head(context.Background()); head != 0 {
				t.Errorf("%d revisions of a refused import", head)
			}
		})
	}
}

// What SQLite held, PostgreSQL holds after export and import, byte for byte,
// and a server on it goes on.
func TestExportToPostgres(t *testing.T) {
	address := os.Getenv("ULLAGE_TEST_POSTGRES")
	if address == "" {
		if os.Getenv("ULLAGE_REQUIRE_POSTGRES") == "1" {
			t.Fatal("ULLAGE_REQUIRE_POSTGRES=1 but ULLAGE_TEST_POSTGRES names no server")
		}
		t.Skip("no PostgreSQL: run scripts/postgres.sh go test ./internal/cli")
	}
	admin, err := sql.Open("pgx", address)
	must(t, err)
	name := fmt.Sprintf("cli%d", os.Getpid())
	_, err = admin.Exec(`CREATE DATABASE ` + name)
	must(t, err)
	t.Cleanup(func() {
		if _, err := admin.Exec(`DROP DATABASE ` + name + ` WITH (FORCE)`); err != nil {
			t.Error(err)
		}
		admin.Close()
	})
	u, err := url.Parse(address)
	must(t, err)
	u.Path = "/" + name
	pg := database{DB: u.String()}

	tmp := t.TempDir()
	lite := filepath.Join(tmp, "data")
	p := startServer(t, "--open", "--addr", "127.0.0.1:0", "--data", lite)
	for range 20 {
		id := newID()
		if code := p.put("tanks", id, tank(id)); code != 200 {
			t.Fatal(code)
		}
	}
	var out bytes.Buffer
	s := &streams{nil, &out, &out}
	must(t, (&ExportCmd{database: database{Data: lite}, To: filepath.Join(tmp, "a")}).Run(s))
	must(t, (&ImportCmd{database: pg, From: filepath.Join(tmp, "a")}).Run(s))
	must(t, (&ExportCmd{database: pg, To: filepath.Join(tmp, "b")}).Run(s))
	for _, file := range []string{lab.RevisionsFile, "csv/tanks.csv"} {
		a, err := os.ReadFile(filepath.Join(tmp, "a", file))
		must(t, err)
		b, err := os.ReadFile(filepath.Join(tmp, "b", file))
		must(t, err)
		if !bytes.Equal(a, b) || len(a) < 1000 {
			t.Errorf("%s differs:\n%s\n%s", file, a, b)
		}
	}
	id := newID()
	p = startServer(t, "--open", "--addr", "127.0.0.1:0", "--db", u.String())
	if code := p.put("tanks", id, tank(id)); code != 200 {
		t.Fatal(code)
	}
	n := 0
	eachChange(t, p, func(string) { n++ })
	if n != 21 {
		t.Errorf("%d revisions, want 21", n)
	}
}
