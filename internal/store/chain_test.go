package store

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/pressly/goose/v3"

	"ullage/internal/lab"
	"ullage/internal/store/storetest"
)

// onBoth runs a test on each database: a way to open it, and one to change it
// behind the program's back, with the triggers out of the way.
func onBoth(t *testing.T, test func(t *testing.T, open func() lab.Store, tamper func(...string))) {
	t.Run("sqlite", func(t *testing.T) {
		st, path := openTemp(t, SQLiteOptions{})
		st.Close()
		test(t, func() lab.Store {
			st, err := OpenSQLite(t.Context(), path, SQLiteOptions{})
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { st.Close() })
			return st
		}, func(texts ...string) {
			conn, err := openFile(path, 1, "immediate", "busy_timeout(5000)")
			if err != nil {
				t.Fatal(err)
			}
			defer conn.Close()
			run(t, conn, append([]string{`DROP TRIGGER IF EXISTS revision_is_never_changed`, `DROP TRIGGER IF EXISTS revision_is_never_deleted`,
				`DROP TRIGGER IF EXISTS chain_is_never_changed`, `DROP TRIGGER IF EXISTS chain_is_never_deleted`}, texts...))
		})
	})
	t.Run("postgres", func(t *testing.T) {
		address := newDatabase(t)
		test(t, func() lab.Store { return openPG(t, address) }, func(texts ...string) {
			conn, err := sql.Open("pgx", address)
			if err != nil {
				t.Fatal(err)
			}
			defer conn.Close()
			run(t, conn, append([]string{`DROP TRIGGER IF EXISTS revision_is_kept ON revision`, `DROP TRIGGER IF EXISTS chain_is_kept ON chain`,
				`ALTER TABLE newest DROP CONSTRAINT IF EXISTS newest_seq_fkey`,
				`ALTER TABLE revision ALTER COLUMN seq DROP IDENTITY IF EXISTS`}, texts...))
		})
	})
}

func run(t *testing.T, conn *sql.DB, texts []string) {
	t.Helper()
	for _, text := range texts {
		if _, err := conn.Exec(text); err != nil {
			t.Fatalf("%s: %v", text, err)
		}
	}
}

func verify(t *testing.T, st lab.Store, anchors ...lab.ChainHead) lab.Verified {
	t.Helper()
	v, err := (&lab.Service{Store: st}).VerifyChain(t.Context(), anchors...)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// Each way of changing what was written is found, and where.
func TestTampering(t *testing.T) {
	for name, c := range map[string]struct {
		sql  []string
		seq  int64
		says string
	}{
		"a body":               {[]string{`UPDATE revision SET body = replace(body, '"c4"', '"c5"') WHERE seq = 4`}, 4, "not what was written"},
		"who wrote it":         {[]string{`UPDATE revision SET by_whom = 'Cellar' WHERE seq = 4`}, 4, "not what was written"},
		"which device":         {[]string{`UPDATE revision SET device_id = 'phone-2' WHERE seq = 4`}, 4, "not what was written"},
		"when, the device":     {[]string{`UPDATE revision SET device_at = NULL WHERE seq = 4`}, 4, "not what was written"},
		"when, the server":     {[]string{`UPDATE revision SET server_at = (SELECT server_at FROM revision WHERE seq = 9) WHERE seq = 4`}, 4, "not what was written"},
		"which account":        {[]string{`UPDATE chain SET account = 'somebody' WHERE seq = 4`}, 4, "not what was written"},
		"the hash":             {[]string{`UPDATE chain SET hash = CASE substr(hash, 1, 1) WHEN '0' THEN '1' ELSE '0' END || substr(hash, 2) WHERE seq = 4`}, 4, "not what was written"},
		"deleted":              {[]string{`DELETE FROM newest WHERE seq = 4`, `DELETE FROM revision WHERE seq = 4`}, 4, "gone"},
		"deleted with hash":    {[]string{`DELETE FROM newest WHERE seq = 4`, `DELETE FROM revision WHERE seq = 4`, `DELETE FROM chain WHERE seq = 4`}, 5, "taken out"},
		"put in":               {[]string{insertRow(11)}, 11, "put in"},
		"the newest one":       {[]string{`DELETE FROM newest WHERE seq = 10`, `DELETE FROM revision WHERE seq = 10`, `DELETE FROM chain WHERE seq = 10`}, 9, "newest revisions are gone"},
		"moved":                {[]string{`UPDATE revision SET seq = 100 WHERE seq = 4`, `UPDATE revision SET seq = 4 WHERE seq = 5`, `UPDATE revision SET seq = 5 WHERE seq = 100`}, 4, "not what was written"},
		"moved with hash":      {swapped(), 4, "not what was written"},
		"hidden from lists":    {[]string{`DELETE FROM newest WHERE seq = 4`}, 4, "lists do not show"},
		"an old one in lists":  {[]string{`UPDATE newest SET seq = 1, rev = 1 WHERE seq = 2`}, 1, "not the newest"},
		"the chain thrown off": {[]string{`DELETE FROM chain`}, 1, "put in"},
	} {
		t.Run(name, func(t *testing.T) {
			onBoth(t, func(t *testing.T, open func() lab.Store, tamper func(...string)) {
				st := open()
				fill(t, st)
				if v := verify(t, st); len(v.Broken) > 0 || v.Revisions != 10 || v.Head.Seq != 10 {
					t.Fatalf("before: %+v", v)
				}
				st.Close()
				tamper(c.sql...)
				v := verify(t, open())
				if len(v.Broken) == 0 {
					t.Fatal("nothing was found")
				}
				if b := v.Broken[0]; b.Seq != c.seq || !strings.Contains(b.What, c.says) {
					t.Errorf("found %+v, want %q at %d", v.Broken, c.says, c.seq)
				}
			})
		})
	}
}

func swapped() []string {
	var out []string
	for _, table := range []string{"revision", "chain"} {
		out = append(out, `UPDATE `+table+` SET seq = 100 WHERE seq = 4`, `UPDATE `+table+` SET seq = 4 WHERE seq = 5`, `UPDATE `+table+` SET seq = 5 WHERE seq = 100`)
	}
	return out
}

// insertRow puts a revision in as someone with the database in hand would.
func insertRow(seq int) string {
	id := fmt.Sprintf("0198c5b0-0000-7000-8000-%012d", seq)
	return fmt.Sprintf(`INSERT INTO revision (seq, kind, id, rev, run_id, is_open, hash, body, by_whom, device_id, device_at, server_at)
		SELECT %d, 'beers', '%s', 1, '', 0, 'x', '{"id":"%s","rev":1}', '', '', NULL, server_at FROM revision WHERE seq = 1`, seq, id, id)
}

// fill writes ten revisions, positions 1 to 10; 1 and 2 of one record.
func fill(t *testing.T, st lab.Store) {
	t.Helper()
	first := storetest.ID(t)
	for i := 1; i <= 10; i++ {
		rev := storetest.Rev(lab.KindBeers, storetest.ID(t), 1, fmt.Sprintf("c%d", i))
		if i <= 2 {
			rev.ID, rev.Rev = first, i
		}
		rev.Body = []byte(fmt.Sprintf(`{"id":%q,"rev":%d,"by":"Quality tech","device_id":"phone-1","name":"c%d"}`, rev.ID, rev.Rev, i))
		rev.ServerAt = lab.At(rev.ServerAt.Add(time.Duration(i) * time.Minute))
		rev.Account, rev.Via, rev.Server = "acc-1", "password", "host-1"
		if _, err := st.Append(t.Context(), []lab.Revision{rev}); err != nil {
			t.Fatal(err)
		}
	}
}

// The whole chain computed anew is found by a head that was kept elsewhere.
func TestAnchors(t *testing.T) {
	onBoth(t, func(t *testing.T, open func() lab.Store, tamper func(...string)) {
		st := open()
		fill(t, st)
		kept := verify(t, st).Head
		if v := verify(t, st, kept); len(v.Broken) > 0 {
			t.Fatalf("its own head: %+v", v)
		}
		parsed, err := lab.ParseChainHead(kept.String())
		if err != nil || parsed != kept {
			t.Fatalf("%v, %v", parsed, err)
		}
		st.Close()
		tamper(`UPDATE revision SET body = replace(body, '"c4"', '"c5"') WHERE seq = 4`, `DELETE FROM chain`, `DELETE FROM chain_head`)
		st = open() // chains everything anew
		if v := verify(t, st); len(v.Broken) > 0 {
			t.Fatalf("this shows only against a head kept elsewhere: %+v", v)
		}
		if v := verify(t, st, kept); len(v.Broken) != 1 || !strings.Contains(v.Broken[0].What, "when the head") {
			t.Errorf("against the head: %+v", v)
		}
	})
}

// Every schema that was ever released becomes today's, with all its revisions
// chained; its file is copied first.
func TestUpgradeFromEverySchema(t *testing.T) {
	for name, c := range map[string]struct {
		dialect goose.Dialect
		open    func(t *testing.T) (*sql.DB, func() lab.Store)
	}{
		"sqlite": {goose.DialectSQLite3, func(t *testing.T) (*sql.DB, func() lab.Store) {
			path := t.TempDir() + "/ullage.db"
			conn, err := openFile(path, 1, "immediate")
			if err != nil {
				t.Fatal(err)
			}
			return conn, func() lab.Store {
				st, err := OpenSQLite(t.Context(), path, SQLiteOptions{})
				if err != nil {
					t.Fatal(err)
				}
				t.Cleanup(func() { st.Close() })
				return st
			}
		}},
		"postgres": {goose.DialectPostgres, func(t *testing.T) (*sql.DB, func() lab.Store) {
			address := newDatabase(t)
			conn, err := sql.Open("pgx", address)
			if err != nil {
				t.Fatal(err)
			}
			return conn, func() lab.Store { return openPG(t, address) }
		}},
	} {
		t.Run(name, func(t *testing.T) {
			files, err := migrations.ReadDir("migrations/" + name)
			if err != nil {
				t.Fatal(err)
			}
			for last := range files {
				conn, open := c.open(t)
				old := fstest.MapFS{}
				for _, f := range files[:last+1] {
					text, err := migrations.ReadFile("migrations/" + name + "/" + f.Name())
					if err != nil {
						t.Fatal(err)
					}
					old[f.Name()] = &fstest.MapFile{Data: text}
				}
				if err := migrateFrom(t.Context(), c.dialect, old, conn, func(int64) error { return nil }); err != nil {
					t.Fatal(err)
				}
				const rows = 2500 // more than one page of the chain
				seed := `INSERT INTO revision (kind, id, rev, run_id, is_open, hash, body, by_whom, device_id, device_at, server_at) VALUES ('beers', '%s', 1, '', 0, 'h', '{"id":"%s","rev":1}', '', '', NULL, %s)`
				at := "1700000000000000"
				if name == "postgres" {
					at = "'2023-11-14T22:13:20Z'"
				}
				tx, err := conn.Begin()
				if err != nil {
					t.Fatal(err)
				}
				for i := range rows {
					id := fmt.Sprintf("0198c5b0-0000-7000-8000-%012d", i)
					if _, err := tx.Exec(fmt.Sprintf(seed, id, id, at)); err != nil {
						t.Fatal(err)
					}
				}
				if _, err := tx.Exec(`INSERT INTO newest (kind, id, rev, seq, run_id, is_open) SELECT kind, id, rev, seq, run_id, is_open FROM revision`); err != nil {
					t.Fatal(err)
				}
				if err := tx.Commit(); err != nil {
					t.Fatal(err)
				}
				conn.Close()
				st := open()
				if v := verify(t, st); len(v.Broken) > 0 || v.Revisions != rows {
					t.Errorf("from schema %d: %d revisions, %v", last+1, v.Revisions, v.Broken)
				}
				if _, err := st.Append(t.Context(), []lab.Revision{storetest.Rev(lab.KindBeers, storetest.ID(t), 1, "x")}); err != nil {
					t.Errorf("writing after it: %v", err)
				}
				st.Close()
			}
		})
	}
}

func TestCheckFindsDamage(t *testing.T) {
	st, _ := openTemp(t, SQLiteOptions{})
	fill(t, st)
	if err := st.(interface{ Check(context.Context) error }).Check(t.Context()); err != nil {
		t.Error(err)
	}
}
