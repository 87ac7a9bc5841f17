package cli

import (
	"archive/zip"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"ullage/internal/lab"
)

// ExportCmd writes all data to a zip file or a folder.
type ExportCmd struct {
	database
	To string `arg:"" placeholder:"FILE.zip|DIR" help:"A new zip file, or a new folder."`
}

// Help is the long help.
func (ExportCmd) Help() string {
	return `Writes everything the database holds, also while a server runs on it:

  revisions.jsonl  every revision of every record, one JSON object a line
  csv/*.csv        the records as they stand, for a spreadsheet; text that a
                   spreadsheet would run as a formula gets an apostrophe before it
  export.json      what this is, and how many revisions it holds

"ullage import" makes the same database of it.`
}

// Run exports.
func (c *ExportCmd) Run(s *streams) error {
	ctx := context.Background()
	st, err := c.openToRead(ctx)
	if err != nil {
		return err
	}
	m, err := exportTo(ctx, &lab.Service{Store: st}, c.To)
	if err = errors.Join(err, st.Close()); err != nil {
		return err
	}
	fmt.Fprintf(s.out, "%d revisions written to %s\n", m.Revisions, c.To)
	return nil
}

// exportTo writes beside the name and renames at the end: a file or folder of
// that name is always whole.
func exportTo(ctx context.Context, service *lab.Service, to string) (m lab.Manifest, err error) {
	if _, err := os.Lstat(to); err == nil {
		return m, fmt.Errorf("%s is there already: choose another name", to)
	}
	part := to + ".part"
	if strings.EqualFold(filepath.Ext(to), ".zip") {
		m, err = exportZip(ctx, service, part)
	} else {
		m, err = exportDir(ctx, service, part)
	}
	if err == nil {
		err = os.Rename(part, to)
	}
	if err != nil {
		err = errors.Join(err, os.RemoveAll(part))
	}
	return m, err
}

func exportZip(ctx context.Context, service *lab.Service, path string) (m lab.Manifest, err error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return m, err
	}
	z := zip.NewWriter(f)
	m, err = service.Export(ctx, func(name string) (io.Writer, error) { return z.Create(name) })
	if err == nil {
		err = z.Close()
	}
	if err == nil {
		err = f.Sync()
	}
	return m, errors.Join(err, f.Close())
}

func exportDir(ctx context.Context, service *lab.Service, dir string) (m lab.Manifest, err error) {
	if err := os.MkdirAll(filepath.Join(dir, "csv"), 0o750); err != nil {
		return m, err
	}
	var open *os.File
	finish := func() error {
		if open == nil {
			return nil
		}
		err := errors.Join(open.Sync(), open.Close())
		open = nil
		return err
	}
	m, err = service.Export(ctx, func(name string) (io.Writer, error) {
		if err := finish(); err != nil {
			return nil, err
		}
		var err error
		open, err = os.OpenFile(filepath.Join(dir, filepath.FromSlash(name)), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
		return open, err
	})
	return m, errors.Join(err, finish())
}

// ImportCmd fills an empty database from an export.
type ImportCmd struct {
	database
	From string `arg:"" placeholder:"FILE.zip|DIR" help:"What export wrote." type:"existingpath"`
}

// Help is the long help.
func (ImportCmd) Help() string {
	return `Makes the database that "ullage export" was run on: same records, same revisions,
same ids, in the same order. The database must be empty; the import is done
whole or not at all.

  ullage import --data new-folder export.zip`
}

// Run imports.
func (c *ImportCmd) Run(s *streams) error {
	ctx := context.Background()
	var files fs.FS
	if info, err := os.Stat(c.From); err != nil {
		return err
	} else if info.IsDir() {
		files = os.DirFS(c.From)
	} else {
		z, err := zip.OpenReader(c.From)
		if err != nil {
			return fmt.Errorf("%s is not a zip file: %w; name what export wrote", c.From, err)
		}
		defer z.Close()
		files = z
	}
	st, err := c.open(ctx)
	if err != nil {
		return err
	}
	service := &lab.Service{Store: st}
	m, err := service.Import(ctx, func(name string) (io.ReadCloser, error) { return files.Open(name) })
	if err = errors.Join(err, st.Close()); err != nil {
		return err
	}
	fmt.Fprintf(s.out, "%d revisions read into %s\n", m.Revisions, c.name())
	return nil
}
