package ingest

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"testing"

	"ullage/internal/lab"
	"ullage/internal/store"
)

// An import goes along in an export, and can be undone in the new database.
func TestImportSurvivesExport(t *testing.T) {
	b := newBench(t)
	f := b.csv(good)
	done := b.imported(f, b.sure(b.proposed(f)))
	files := map[string]*bytes.Buffer{}
	if _, err := b.svc.Export(bg, func(name string) (io.Writer, error) {
		files[name] = &bytes.Buffer{}
		return files[name], nil
	}); err != nil {
		t.Fatal(err)
	}
	st, err := store.OpenSQLite(bg, filepath.Join(t.TempDir(), "new.db"), store.SQLiteOptions{})
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	c := &bench{TB: t, svc: &lab.Service{Store: st, Calc: lab.TPO, Now: b.svc.Now}}
	if _, err := c.svc.Import(bg, func(name string) (io.ReadCloser, error) { return io.NopCloser(files[name]), nil }); err != nil {
		t.Fatal(err)
	}
	u, err := Undo(bg, c.svc, done.ImportID, "Quality tech", "a try", nil)
	if err != nil || u.Counts.Archived != 5 || len(all[lab.Sample](c, lab.KindSamples)) != 0 {
		t.Errorf("%+v %v", u, err)
	}
}

// The same on PostgreSQL: ids, repeats, undo.
func TestOnPostgres(t *testing.T) {
	address := os.Getenv("ULLAGE_TEST_POSTGRES")
	if address == "" {
		t.Skip("no PostgreSQL: scripts/postgres.sh go test ./internal/ingest")
	}
	st, err := store.OpenPostgres(bg, address)
	if err != nil {
		t.Fatal(err)
	}
	b := newBench(t)
	pg := &bench{TB: t, beer: b.beer, can: b.can, lot: b.lot, line: b.line, svc: &lab.Service{Store: st, Calc: lab.TPO, Now: b.svc.Now}}
	defer st.Close()
	for _, k := range []lab.Kind{lab.KindBeers, lab.KindFormats, lab.KindFormatLots, lab.KindLines} {
		revs, err := b.svc.Store.List(bg, lab.Query{Kind: k, Limit: 10})
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range revs {
			if a := pg.svc.Put(bg, lab.Write{Kind: k, ID: r.ID, Record: r.Body}); a.Err != nil {
				t.Fatal(a.Err)
			}
		}
	}
	f := pg.csv(longLog(1000))
	m := pg.sure(pg.proposed(f))
	first := pg.imported(f, m)
	second := pg.imported(f, m)
	u, err := Undo(bg, pg.svc, first.ImportID, "Quality tech", "a try", nil)
	if err != nil || first.Counts.Created != 1050 || second.Counts.Unchanged != 1050 || u.Counts.Archived != 1050 {
		t.Errorf("%+v %+v %+v %v", first, second, u, err)
	}
}
