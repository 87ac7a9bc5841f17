package store

import (
	"context"
	"database/sql"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"testing/fstest"
	"time"

	"github.com/pressly/goose/v3"

	"ullage/internal/lab"
	"ullage/internal/store/storetest"
)

func openTemp(t testing.TB, opt SQLiteOptions) (lab.Store, string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "odd name ?%#", "ullage.db")
	st, err := OpenSQLite(context.Background(), path, opt)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	return st, path
}

func TestSQLite(t *testing.T) {
	storetest.Run(t, func(t *testing.T) lab.Store { st, _ := openTemp(t, SQLiteOptions{}); return st })
}

// postgresURL gives the server for tests, or skips; scripts/postgres.sh starts
// one. ULLAGE_REQUIRE_POSTGRES=1 makes its absence a failure.
func postgresURL(t testing.TB) string {
	t.Helper()
	address := os.Getenv("ULLAGE_TEST_POSTGRES")
	if address == "" {
		if os.Getenv("ULLAGE_REQUIRE_POSTGRES") == "1" {
			t.Fatal("ULLAGE_REQUIRE_POSTGRES=1 but ULLAGE_TEST_POSTGRES names no server")
		}
		t.Skip("no PostgreSQL: set ULLAGE_TEST_POSTGRES, or run scripts/postgres.sh go test ./internal/store")
	}
	return address
}

var databases atomic.Int64

// newDatabase makes an empty database on the test server.
func newDatabase(t testing.TB) string {
	t.Helper()
	address := postgresURL(t)
	admin, err := sql.Open("pgx", address)
	if err != nil {
		t.Fatal(err)
	}
	defer admin.Close()
	name := fmt.Sprintf("t%d_%d", os.Getpid(), databases.Add(1))
	if _, err := admin.Exec(`CREATE DATABASE ` + name); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		admin, err := sql.Open("pgx", address)
		if err == nil {
			_, err = admin.Exec(`DROP DATABASE ` + name + ` WITH (FORCE)`)
			admin.Close()
		}
		if err != nil {
			t.Error(err)
		}
	})
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	u.Path = "/" + name
	return u.String()
}

func TestPostgres(t *testing.T) {
	postgresURL(t)
	storetest.Run(t, func(t *testing.T) lab.Store { return openPG(t, newDatabase(t)) })
}

func openPG(t testing.TB, address string) lab.Store {
	t.Helper()
	st, err := OpenPostgres(context.Background(), address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	return st
}

// Two servers on one PostgreSQL hear of each other's writes.
func TestPostgresTwoServers(t *testing.T) {
	address := newDatabase(t)
	a, b := openPG(t, address), openPG(t, address)
	wake, cancel := b.Subscribe()
	defer cancel()
	id := storetest.ID(t)
	for i := range 3 { // the first may fall before b listens, the others cannot
		if _, err := a.Append(t.Context(), []lab.Revision{storetest.Rev(lab.KindBeers, storetest.ID(t), 1, fmt.Sprint(i))}); err != nil {
			t.Fatal(err)
		}
		select {
		case <-wake:
		case <-time.After(10 * time.Second):
			t.Fatalf("b was not told of write %d", i)
		}
	}
	if _, err := a.Append(t.Context(), []lab.Revision{storetest.Rev(lab.KindBeers, id, 1, "x")}); err != nil {
		t.Fatal(err)
	}
	if _, err := b.Get(t.Context(), lab.KindBeers, id); err != nil {
		t.Error(err)
	}
	outs, err := b.Append(t.Context(), []lab.Revision{storetest.Rev(lab.KindBeers, id, 1, "x")})
	if err != nil || outs[0].Status != lab.Same {
		t.Errorf("the same write through the other server: %v %v", outs, err)
	}
}

func TestMigrationsHaveTheSameNumbers(t *testing.T) {
	names := map[string]string{}
	for _, dir := range []string{"sqlite", "postgres"} {
		files, err := migrations.ReadDir("migrations/" + dir)
		if err != nil || len(files) == 0 {
			t.Fatalf("%s: %v, %v", dir, files, err)
		}
		for _, f := range files {
			names[dir] += f.Name() + "\n"
		}
	}
	if names["sqlite"] != names["postgres"] {
		t.Errorf("sqlite has\n%spostgres has\n%s", names["sqlite"], names["postgres"])
	}
}

// Both databases end with the same tables and columns.
func TestSameTables(t *testing.T) {
	lite, _ := openTemp(t, SQLiteOptions{})
	pg := openPG(t, newDatabase(t))
	columns := func(st lab.Store, text string) string {
		rows, err := st.(*db).read.Query(text)
		if err != nil {
			t.Fatal(err)
		}
		defer rows.Close()
		var out []string
		for rows.Next() {
			var table, column string
			if err := rows.Scan(&table, &column); err != nil {
				t.Fatal(err)
			}
			out = append(out, table+"."+column)
		}
		slices.Sort(out)
		return strings.Join(out, "\n")
	}
	a := columns(lite, `SELECT m.name, c.name FROM sqlite_master m, pragma_table_info(m.name) c
		WHERE m.type = 'table' AND m.name NOT LIKE 'sqlite%' AND m.name NOT LIKE 'goose%'`)
	b := columns(pg, `SELECT table_name, column_name FROM information_schema.columns
		WHERE table_schema = 'public' AND table_name NOT LIKE 'goose%'`)
	if a != b || !strings.Contains(a, "revision.body") {
		t.Errorf("SQLite:\n%s\nPostgreSQL:\n%s", a, b)
	}
}

func TestTwoServersOnOneFile(t *testing.T) {
	st, path := openTemp(t, SQLiteOptions{})
	_, err := OpenSQLite(t.Context(), path, SQLiteOptions{})
	if lab.ClassOf(err) != lab.Busy || !strings.Contains(err.Error(), "another server has this database open") {
		t.Fatalf("a second server: %v", err)
	}
	if err := st.Close(); err != nil {
		t.Fatal(err)
	}
	again, err := OpenSQLite(t.Context(), path, SQLiteOptions{})
	if err != nil {
		t.Fatalf("after the first has closed: %v", err)
	}
	again.Close()
}

func TestRefusesNewerDatabase(t *testing.T) {
	st, path := openTemp(t, SQLiteOptions{})
	st.Close()
	exec(t, path, `INSERT INTO goose_db_version (version_id, is_applied) VALUES (9999, 1)`)
	_, err := OpenSQLite(t.Context(), path, SQLiteOptions{})
	if err == nil || !strings.Contains(err.Error(), "newer release") || !strings.Contains(err.Error(), "9999") {
		t.Fatalf("opening a newer database: %v", err)
	}
}

func exec(t *testing.T, path, text string) {
	t.Helper()
	conn, err := openFile(path, 1, "immediate")
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if _, err := conn.Exec(text); err != nil {
		t.Fatal(err)
	}
}

func TestRevisionsCannotBeChanged(t *testing.T) {
	for name, open := range map[string]func(*testing.T) lab.Store{
		"sqlite":   func(t *testing.T) lab.Store { st, _ := openTemp(t, SQLiteOptions{}); return st },
		"postgres": func(t *testing.T) lab.Store { return openPG(t, newDatabase(t)) },
	} {
		t.Run(name, func(t *testing.T) {
			st := open(t).(*db)
			if _, err := st.Append(t.Context(), []lab.Revision{storetest.Rev(lab.KindBeers, storetest.ID(t), 1, "x")}); err != nil {
				t.Fatal(err)
			}
			for _, text := range []string{`UPDATE revision SET body = ''`, `DELETE FROM revision WHERE seq > 0`} {
				if _, err := st.write.Exec(text); err == nil || !strings.Contains(err.Error(), "never") {
					t.Errorf("%s: %v", text, err)
				}
			}
		})
	}
}

// A file is copied before a migration changes it, and the copy holds its data.
func TestCopyBeforeMigrating(t *testing.T) {
	st, path := openTemp(t, SQLiteOptions{})
	id := storetest.ID(t)
	if _, err := st.Append(t.Context(), []lab.Revision{storetest.Rev(lab.KindBeers, id, 1, "x")}); err != nil {
		t.Fatal(err)
	}
	st.Close()
	next := fstest.MapFS{"9001_more.sql": {Data: []byte("-- +goose Up\nCREATE TABLE more (x TEXT);\n")}}
	files, err := migrations.ReadDir("migrations/sqlite")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		text, err := migrations.ReadFile("migrations/sqlite/" + f.Name())
		if err != nil {
			t.Fatal(err)
		}
		next[f.Name()] = &fstest.MapFile{Data: text}
	}
	conn, err := openFile(path, 1, "immediate")
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	old := path + ".copy"
	copied := false
	err = migrateFrom(t.Context(), goose.DialectSQLite3, next, conn, func(version int64) error {
		copied = version == int64(len(files))
		return copyTo(t.Context(), conn, old)
	})
	if err != nil || !copied {
		t.Fatalf("migrated with copy %v: %v", copied, err)
	}
	if _, err := conn.Exec(`INSERT INTO more VALUES ('y')`); err != nil {
		t.Error(err)
	}
	back, err := OpenSQLite(t.Context(), old, SQLiteOptions{})
	if err != nil {
		t.Fatal(err)
	}
	defer back.Close()
	if _, err := back.Get(t.Context(), lab.KindBeers, id); err != nil {
		t.Error(err)
	}
	// A migration must not run when the copy fails.
	next["9002_bad.sql"] = &fstest.MapFile{Data: []byte("-- +goose Up\nCREATE TABLE third (x TEXT);\n")}
	failed := migrateFrom(t.Context(), goose.DialectSQLite3, next, conn, func(int64) error { return os.ErrPermission })
	if failed == nil {
		t.Error("migrated without a copy")
	}
	if _, err := conn.Exec(`SELECT * FROM third`); err == nil {
		t.Error("the third table is there")
	}
}

// A full disk refuses a write whole and keeps all that was answered.
func TestDiskFull(t *testing.T) {
	st, path := openTemp(t, SQLiteOptions{MaxPages: 60})
	var kept []string
	var full error
	for range 2000 {
		id := storetest.ID(t)
		_, err := st.Append(t.Context(), []lab.Revision{storetest.Rev(lab.KindSamples, id, 1, strings.Repeat("x", 500))})
		if err != nil {
			full = err
			break
		}
		kept = append(kept, id)
	}
	if lab.ClassOf(full) != lab.Full {
		t.Fatalf("a full disk says: %v", full)
	}
	if len(kept) == 0 {
		t.Fatal("nothing was written before the disk was full")
	}
	if _, err := st.Get(t.Context(), lab.KindSamples, kept[0]); err != nil {
		t.Errorf("reading on a full disk: %v", err)
	}
	st.Close()
	st, err := OpenSQLite(t.Context(), path, SQLiteOptions{})
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	revs, err := st.Changes(t.Context(), 0, "", 5000)
	if err != nil || len(revs) != len(kept) {
		t.Fatalf("%d stored, %d answered, %v", len(revs), len(kept), err)
	}
	if _, err := st.Append(t.Context(), []lab.Revision{storetest.Rev(lab.KindSamples, storetest.ID(t), 1, "room again")}); err != nil {
		t.Errorf("with room again: %v", err)
	}
}

// One request that cannot be stored does not spoil those committed with it.
func TestOneBadRequestInAGroup(t *testing.T) {
	st, _ := openTemp(t, SQLiteOptions{})
	s := st.(*db)
	good := &request{revs: []lab.Revision{storetest.Rev(lab.KindBeers, storetest.ID(t), 1, "good")}, answer: make(chan answer, 1)}
	bad := &request{revs: []lab.Revision{storetest.Rev(lab.KindBeers, storetest.ID(t), 1, "bad")}, answer: make(chan answer, 1)}
	bad.revs[0].ServerAt = lab.Time{} // a column that must not be empty
	s.w.commit([]*request{good, bad})
	if a := <-good.answer; a.err != nil || a.outs[0].Status != lab.Created {
		t.Errorf("good: %v", a)
	}
	if a := <-bad.answer; a.err == nil {
		t.Error("bad was stored")
	}
}
