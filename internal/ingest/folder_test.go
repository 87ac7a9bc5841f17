package ingest

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"ullage/internal/lab"
)

func folders(t *testing.T) int {
	t.Helper()
	left, err := filepath.Glob(filepath.Join(os.TempDir(), folderName+"*"))
	if err != nil {
		t.Fatal(err)
	}
	return len(left)
}

// TestFolderGoes: nothing is left on the disk by an import that went well, by a
// file that cannot be read or was not sent to its end, by a file read once, and
// by a server that stops while it writes.
func TestFolderGoes(t *testing.T) {
	b := newBench(t)
	t.Setenv("TMPDIR", t.TempDir())
	d := NewDesk(b.svc)
	defer d.Close()
	gone := func(what string) {
		t.Helper()
		if n := folders(t); n != 0 {
			t.Errorf("%s: %d folders are left", what, n)
		}
	}
	confirm := func(rows int) (lab.ImportUpload, lab.ImportProgress) {
		t.Helper()
		up, err := d.Receive(bg, "log.csv", "Europe/Berlin", strings.NewReader(longLog(rows)))
		if err != nil {
			t.Fatal(err)
		}
		if folders(t) != 1 {
			t.Error("no folder while a file waits")
		}
		p, err := d.Confirm(bg, up.ID, b.sure(up.Preview), "Quality tech")
		if err != nil {
			t.Fatal(err)
		}
		return up, p
	}
	up, _ := confirm(20)
	d.jobs.Wait()
	gone("imported")
	if _, err := d.Preview(bg, up.ID, up.Preview.Mapping); lab.ClassOf(err) != lab.NotFound {
		t.Errorf("imported, and still here: %v", err)
	}
	if _, err := d.Receive(bg, "log.xlsx", "", strings.NewReader("PK\x03\x04 no workbook")); err == nil {
		t.Error("no workbook, and taken")
	}
	gone("unreadable")
	half := io.MultiReader(strings.NewReader(longLog(20)), iotest.ErrReader(context.Canceled))
	if _, err := d.Receive(bg, "log.csv", "", half); !errors.Is(err, context.Canceled) {
		t.Errorf("sent by half: %v", err)
	}
	gone("cancelled")
	if _, err := d.ReadStudy("tare", "study.csv", "", nil, strings.NewReader("no,such\n1,2\n")); err == nil {
		t.Log("a study without fields was read")
	}
	gone("study")
	confirm(3000)
	if err := d.Close(); err != nil {
		t.Error(err)
	}
	gone("stopped while writing")
}

// TestSweep: a folder is removed when nobody holds it any more, and only then.
func TestSweep(t *testing.T) {
	b := newBench(t)
	t.Setenv("TMPDIR", t.TempDir())
	alive := NewDesk(b.svc)
	defer alive.Close()
	if _, err := alive.Receive(bg, "log.csv", "", strings.NewReader(longLog(20))); err != nil {
		t.Fatal(err)
	}
	at := func(name string) string { return filepath.Join(os.TempDir(), folderName+name) }
	for _, name := range []string{"killed", "new", "old"} {
		if err := os.Mkdir(at(name), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(at("killed"), heldName), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chtimes(at("old"), noon, time.Now().Add(-72*time.Hour)); err != nil {
		t.Fatal(err)
	}
	defer NewDesk(b.svc).Close()
	for name, stays := range map[string]bool{"killed": false, "new": true, "old": false} {
		if _, err := os.Stat(at(name)); (err == nil) != stays {
			t.Errorf("%s: %v", name, err)
		}
	}
	if folders(t) != 2 {
		t.Error("the folder of a server that runs is gone")
	}
}

// TestNamesAreNotPaths: what a file is called decides nothing on the disk.
func TestNamesAreNotPaths(t *testing.T) {
	b := newBench(t)
	top := t.TempDir()
	t.Setenv("TMPDIR", filepath.Join(top, "a", "b"))
	if err := os.MkdirAll(os.TempDir(), 0o700); err != nil {
		t.Fatal(err)
	}
	names := []string{"../evil.csv", "../../evil.csv", filepath.Join(top, "evil.csv"), `..\evil.csv`, "evil.csv\x00.txt", "a/evil.csv"}
	for _, name := range names {
		d := NewDesk(b.svc)
		if _, err := d.Receive(bg, name, "UTC", strings.NewReader(longLog(3))); err != nil {
			t.Errorf("%q: %v", name, err)
		}
		files := 0
		err := filepath.WalkDir(top, func(path string, e os.DirEntry, err error) error {
			if err == nil && e.Type().IsRegular() {
				files++
				if !strings.HasPrefix(path, filepath.Join(os.TempDir(), folderName)) || strings.Contains(path, "evil") {
					t.Errorf("%q lies at %s", name, path)
				}
			}
			return err
		})
		if err != nil || files == 0 {
			t.Errorf("%q: %d files, %v", name, files, err)
		}
		if err := d.Close(); err != nil {
			t.Error(err)
		}
	}
}
