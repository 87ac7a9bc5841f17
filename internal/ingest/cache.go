package ingest

import (
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"errors"
	"io"
	"os"
	"strconv"
)

// maxKept is how many cells of a row a cache keeps: enough to see that a row is
// wider than its header.
const maxKept = MaxColumns + 80

// openCached reads a sheet from a copy as text, made at the first reading: a
// workbook takes several times as long, and a mapping is tried many times.
func openCached(f *File, sheet string) (rowReader, error) {
	name := sha256.Sum256([]byte(sheet))
	path := f.Path + ".sheet-" + hex.EncodeToString(name[:8])
	in, err := os.Open(path)
	if errors.Is(err, os.ErrNotExist) {
		if err := copySheet(f, sheet, path); err != nil {
			return nil, err
		}
		in, err = os.Open(path)
	}
	if err != nil {
		return nil, err
	}
	r := csv.NewReader(in)
	r.FieldsPerRecord = -1
	return &cachedRows{r, in}, nil
}

// copySheet writes beside the name and renames at the end: a copy is whole.
func copySheet(f *File, sheet, path string) (err error) {
	rows, err := openSheet(f, sheet)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, rows.close()) }()
	out, err := os.CreateTemp(f.dir(), "copy-")
	if err != nil {
		return disk(err)
	}
	w := csv.NewWriter(out)
	for n := 0; n <= MaxRows+1000; n++ {
		row, e := rows.next()
		if errors.Is(e, io.EOF) {
			break
		}
		if err = e; err != nil {
			break
		}
		if err = w.Write(append([]string{strconv.Itoa(row.n)}, row.cells[:min(len(row.cells), maxKept)]...)); err != nil {
			break
		}
	}
	w.Flush()
	if err = errors.Join(err, w.Error(), out.Close()); err == nil {
		err = os.Rename(out.Name(), path)
	}
	if err != nil {
		err = errors.Join(disk(err), os.Remove(out.Name()))
	}
	return err
}

type cachedRows struct {
	r  *csv.Reader
	in io.Closer
}

func (c *cachedRows) close() error { return c.in.Close() }

func (c *cachedRows) next() (rowText, error) {
	record, err := c.r.Read()
	if err != nil {
		return rowText{}, err
	}
	n, err := strconv.Atoi(record[0])
	return rowText{n: n, cells: record[1:]}, err
}
