package cli

import (
	"bytes"
	"context"
	"database/sql"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"ullage/internal/lab"
	"ullage/internal/store"
)

func command(t *testing.T, want int, args ...string) string {
	t.Helper()
	var out, errOut bytes.Buffer
	if code := Main(args, strings.NewReader(""), &out, &errOut); code != want {
		t.Fatalf("%v: exit code %d, want %d\n%s%s", args, code, want, &out, &errOut)
	}
	return out.String() + errOut.String()
}

// Copies made while eight clients write are whole, hold what was answered before
// they began, and can be put back.
func TestBackupWhileWriting(t *testing.T) {
	dir, to := t.TempDir(), filepath.Join(t.TempDir(), "copies")
	p := startServer(t, "--open", "--addr", "127.0.0.1:0", "--data", dir)
	var stop atomic.Bool
	var answered atomic.Int64
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			for !stop.Load() {
				id := newID()
				if p.put("tanks", id, tank(id)) == 200 {
					answered.Add(1)
				}
			}
		})
	}
	for answered.Load() < 50 {
		time.Sleep(time.Millisecond)
	}
	before := answered.Load()
	out := command(t, 0, "backup", "--data", dir, to)
	stop.Store(true)
	wg.Wait()
	names, err := copies(to)
	if err != nil || len(names) != 1 || !strings.Contains(out, names[0]) {
		t.Fatalf("%v, %v, %s", names, err, out)
	}
	file := filepath.Join(to, names[0])
	c, err := store.InspectSQLite(t.Context(), file)
	if err != nil || int64(c.Revisions) < before {
		t.Fatalf("%d revisions in the copy, %d answered before it: %v", c.Revisions, before, err)
	}
	if out := command(t, 1, "restore", "--data", dir, file); !strings.Contains(out, "stop") {
		t.Errorf("with the server running: %s", out)
	}
	_ = p.cmd.Process.Kill()
	_ = p.cmd.Wait()
	if out := command(t, 0, "restore", "--dry-run", "--data", dir, file); !strings.Contains(out, "nothing was changed") || !strings.Contains(out, "that the copy does not have") {
		t.Errorf("dry run: %s", out)
	}
	out = command(t, 0, "restore", "--data", dir, file)
	if !strings.Contains(out, "before-restore") {
		t.Errorf("what was there: %s", out)
	}
	found := 0
	p = startServer(t, "--open", "--addr", "127.0.0.1:0", "--data", dir)
	eachChange(t, p, func(string) { found++ })
	if found != c.Revisions {
		t.Errorf("%d records after it, %d in the copy", found, c.Revisions)
	}
	aside, _ := filepath.Glob(filepath.Join(dir, "ullage.db.before-restore-*"))
	aside = slices.DeleteFunc(aside, func(s string) bool { return strings.HasSuffix(s, "-wal") || strings.HasSuffix(s, "-shm") })
	if len(aside) != 1 {
		t.Fatalf("put aside: %v", aside)
	}
	if c, err := store.InspectSQLite(t.Context(), aside[0]); err != nil || int64(c.Revisions) < answered.Load() {
		t.Errorf("what was put aside: %+v, %v; %d were answered", c, err, answered.Load())
	}
}

func TestRestoreRefuses(t *testing.T) {
	dir := t.TempDir()
	bad := filepath.Join(dir, "notes.db")
	if err := os.WriteFile(bad, []byte("not a database, but long enough to look like one"), 0o600); err != nil {
		t.Fatal(err)
	}
	command(t, 1, "restore", "--data", filepath.Join(dir, "data"), bad)
	cut := filepath.Join(dir, "cut.db")
	st, err := store.OpenSQLite(t.Context(), filepath.Join(dir, "a", "ullage.db"), store.SQLiteOptions{})
	if err != nil {
		t.Fatal(err)
	}
	svc := &lab.Service{Store: st}
	for range 200 {
		if a := svc.Put(t.Context(), lab.Write{Kind: lab.KindTanks, Record: []byte(`{"id":"` + newID() + `","name":"BBT","kind":"bright_tank"}`)}); a.Err != nil {
			t.Fatal(a.Err)
		}
	}
	st.Close()
	out := command(t, 0, "backup", "--data", filepath.Join(dir, "a"), filepath.Join(dir, "copies"))
	whole, err := os.ReadFile(strings.Split(out, "\n")[0])
	if err != nil {
		t.Fatal(err)
	}
	for name, data := range map[string][]byte{"cut off": whole[:len(whole)/2], "a page overwritten": append(append(slices.Clone(whole[:len(whole)/2]), bytes.Repeat([]byte{0xff}, 8192)...), whole[len(whole)/2+8192:]...)} {
		if err := os.WriteFile(cut, data, 0o600); err != nil {
			t.Fatal(err)
		}
		command(t, 1, "restore", "--data", filepath.Join(dir, "a"), cut)
		if c, err := store.InspectSQLite(t.Context(), filepath.Join(dir, "a", "ullage.db")); err != nil || c.Revisions != 200 {
			t.Errorf("%s: the database in place is %+v, %v", name, c, err)
		}
	}
	if left, _ := filepath.Glob(filepath.Join(dir, "a", "restore-*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
	command(t, 1, "backup", "--data", filepath.Join(dir, "nothing"), dir)
	command(t, 1, "backup", "--db", "postgres://x/y", dir)
}

// A dry run beside a running server says what a restore would lose, and changes
// nothing; the restore itself waits until the server is stopped. Database and
// copies are for their owner's eyes, in a folder that others read as well.
func TestDryRunBesideAServer(t *testing.T) {
	dir := t.TempDir()
	data, copies := filepath.Join(dir, "data"), filepath.Join(dir, "copies")
	for _, d := range []string{data, copies} {
		if err := os.Mkdir(d, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	st, err := store.OpenSQLite(t.Context(), filepath.Join(data, "ullage.db"), store.SQLiteOptions{})
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	put := func() {
		if a := (&lab.Service{Store: st}).Put(t.Context(), lab.Write{Kind: lab.KindTanks, Record: []byte(`{"id":"` + newID() + `","name":"BBT","kind":"bright_tank"}`)}); a.Err != nil {
			t.Fatal(a.Err)
		}
	}
	put()
	whole := strings.Split(command(t, 0, "backup", "--data", data, copies), "\n")[0]
	put()
	put()
	if out := command(t, 0, "restore", "--dry-run", "--data", data, whole); !strings.Contains(out, "has 2 revisions that the copy does not have") {
		t.Error(out)
	}
	command(t, 1, "restore", "--data", data, whole)
	nowhere := filepath.Join(dir, "nowhere")
	if out := command(t, 0, "restore", "--dry-run", "--data", nowhere, whole); !strings.Contains(out, "nothing is there yet") {
		t.Error(out)
	}
	if _, err := os.Stat(nowhere); err == nil {
		t.Error("the dry run made a folder")
	}
	if runtime.GOOS == "windows" {
		return // no such modes there
	}
	command(t, 0, "restore", "--data", nowhere, whole)
	for _, file := range []string{whole, filepath.Join(data, "ullage.db"), filepath.Join(data, "ullage.db-wal"), filepath.Join(nowhere, "ullage.db")} {
		if i, err := os.Stat(file); err != nil || i.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v, %v", file, i.Mode(), err)
		}
	}
}

func TestWhichCopiesGo(t *testing.T) {
	now := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	var names []string
	for at := now.AddDate(-11, 0, 0); !at.After(now); at = at.Add(12 * time.Hour) {
		names = append(names, at.Format(backupName))
	}
	gone := tooOld(names, now, 35)
	left := slices.DeleteFunc(slices.Clone(names), func(n string) bool { return slices.Contains(gone, n) })
	if want := 35*2 + 119; len(left) < want || len(left) > want+2 {
		t.Errorf("%d copies stay, want about %d", len(left), want)
	}
	if !slices.Contains(left, names[len(names)-1]) {
		t.Error("the newest goes")
	}
	// A clock that jumped ten years ahead does not empty the folder.
	far := tooOld(names, now.AddDate(20, 0, 0), 35)
	if slices.Contains(far, names[len(names)-1]) {
		t.Error("the newest goes when the clock jumps")
	}
	if tooOld(nil, now, 35) != nil || tooOld(names[:1], now, 1) != nil {
		t.Error("the only copy goes")
	}
}

// A server copies by itself.
func TestScheduledBackup(t *testing.T) {
	dir, to := t.TempDir(), filepath.Join(t.TempDir(), "copies")
	startServer(t, "--open", "--addr", "127.0.0.1:0", "--data", dir, "--backup-dir", to)
	for range 200 {
		if names, _ := copies(to); len(names) == 1 {
			return
		}
		time.Sleep(25 * time.Millisecond)
	}
	t.Error("no copy was made")
}

// PostgreSQL's own tools carry everything over, the chain included.
func TestPostgresDumpAndRestore(t *testing.T) {
	address := os.Getenv("ULLAGE_TEST_POSTGRES")
	if address == "" {
		t.Skip("no PostgreSQL: run scripts/postgres.sh go test ./internal/cli")
	}
	bin := func(name string) string {
		for _, pattern := range []string{"/usr/lib/postgresql/*/bin/" + name} {
			if list, _ := filepath.Glob(pattern); len(list) > 0 {
				return list[len(list)-1]
			}
		}
		path, err := exec.LookPath(name)
		if err != nil {
			t.Skip(name + " is not here")
		}
		return path
	}
	dump, restore := bin("pg_dump"), bin("pg_restore")
	from, to := newPostgres(t, address), newPostgres(t, address)
	st, err := store.OpenPostgres(t.Context(), from)
	if err != nil {
		t.Fatal(err)
	}
	svc := &lab.Service{Store: st}
	for range 20 {
		if a := svc.Put(t.Context(), lab.Write{Kind: lab.KindTanks, Record: []byte(`{"id":"` + newID() + `","name":"BBT","kind":"bright_tank"}`)}); a.Err != nil {
			t.Fatal(a.Err)
		}
	}
	head, err := st.ChainHead(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "ullage.dump")
	for _, c := range [][]string{{dump, "--format=custom", "--no-owner", "--file", file, from}, {restore, "--no-owner", "--exit-on-error", "--dbname", to, file}} {
		if out, err := exec.Command(c[0], c[1:]...).CombinedOutput(); err != nil {
			t.Fatalf("%v: %v\n%s", c, err, out)
		}
	}
	st.Close()
	if out := command(t, 0, "audit", "verify", "--db", to, "--head", head.String()); !strings.Contains(out, "20 revisions") {
		t.Error(out)
	}
	again, err := store.OpenPostgres(t.Context(), to)
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if a := (&lab.Service{Store: again}).Put(context.Background(), lab.Write{Kind: lab.KindTanks, Record: []byte(`{"id":"` + newID() + `","name":"BBT","kind":"bright_tank"}`)}); a.Err != nil {
		t.Errorf("writing after it: %v", a.Err)
	}
}

var testDatabases atomic.Int64

// newPostgres makes an empty database on the test server and gives its address.
func newPostgres(t *testing.T, server string) string {
	t.Helper()
	name := fmt.Sprintf("cli%d_%d", os.Getpid(), testDatabases.Add(1))
	admin, err := sql.Open("pgx", server)
	if err != nil {
		t.Fatal(err)
	}
	defer admin.Close()
	if _, err := admin.Exec(`CREATE DATABASE ` + name); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if admin, err := sql.Open("pgx", server); err == nil {
			_, _ = admin.Exec(`DROP DATABASE ` + name + ` WITH (FORCE)`)
			admin.Close()
		}
	})
	u, err := url.Parse(server)
	if err != nil {
		t.Fatal(err)
	}
	u.Path = "/" + name
	return u.String()
}
