package ingest

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"ullage/internal/lab"
)

// File is a log on disk.
type File struct {
	Path string
	Name string // as its owner calls it
	By   string // who imports it

	keep bool // copies may be kept beside it
}

func (f *File) dir() string { return filepath.Dir(f.Path) }

// Limits of what is read. A larger file is split by its owner.
const (
	MaxFile    = 256 << 20 // bytes
	MaxRows    = 1_000_000
	MaxColumns = 120
	maxCell    = 2000 // bytes; a longer cell is a fault
)

// facts are what a file says of itself before any mapping.
type facts struct {
	workbook bool
	encoding string
	guessed  bool // the encoding is a guess
	sheets   []string
	epoch4   bool // a workbook's days count from 1904
	sum      string
	size     int64
}

// rowText is a record of a file as text.
type rowText struct {
	n     int // line of a CSV file, row of a sheet, from 1
	cells []string
	fault *lab.ImportFault // the row cannot be split into cells
}

// rowReader gives rows that are not blank; the end is io.EOF.
type rowReader interface {
	next() (rowText, error)
	close() error
}

func refuse(field string, value any, message, mend string) error {
	return &lab.Error{Class: lab.Invalid, Faults: []lab.Fault{{Field: field, Value: value, Message: message, Mend: mend}}}
}

// inspect looks at a whole file once: size, checksum, kind, encoding, sheets.
func (f *File) inspect() (facts, error) {
	var k facts
	in, err := os.Open(f.Path)
	if err != nil {
		return k, err
	}
	defer in.Close()
	sum, sniff := sha256.New(), &sniffer{}
	k.size, err = io.Copy(io.MultiWriter(sum, sniff), in)
	if err != nil {
		return k, err
	}
	k.sum = hex.EncodeToString(sum.Sum(nil))
	if k.size == 0 {
		return k, refuse("file", f.Name, "is empty", "choose the file again; it needs a row of column names and a row for each package")
	}
	if k.size > MaxFile {
		return k, refuse("file", f.Name, fmt.Sprintf("is larger than %d MB", MaxFile>>20), "split it into parts of a year each")
	}
	if err := f.refuseKind(sniff.head); err != nil {
		return k, err
	}
	if bytes.HasPrefix(sniff.head, []byte("PK\x03\x04")) {
		k.workbook = true
		if k.sheets, k.epoch4, err = lookInto(f); err == nil {
			err = f.named(k.workbook)
		}
		return k, err
	}
	k.encoding, k.guessed = sniff.encoding()
	if k.encoding == "" {
		return k, refuse("file", f.Name, "is not text", "save it as CSV or as XLSX")
	}
	return k, f.named(false)
}

// endings are those of the files that are taken, and whether each is a workbook.
// The macros of one that has some are never run.
var endings = map[string]bool{".csv": false, ".tsv": false, ".txt": false, ".xlsx": true, ".xlsm": true}

// named refuses a file whose name says something else than its content. One
// without an ending is taken by its content.
func (f *File) named(workbook bool) error {
	ending := strings.ToLower(filepath.Ext(f.Name))
	book, known := endings[ending]
	switch {
	case ending == "":
	case !known:
		return refuse("file", f.Name, "has an ending that no log has", "save it as .csv or .xlsx")
	case book && !workbook:
		return refuse("file", f.Name, "is called a workbook and is text", "if it is a log in text, end its name in .csv")
	case !book && workbook:
		return refuse("file", f.Name, "is called text and is a workbook", "end its name in .xlsx")
	}
	return nil
}

// refuseKind names files that are neither CSV nor XLSX, and the way out.
func (f *File) refuseKind(head []byte) error {
	kinds := []struct{ magic, what, mend string }{
		{"\xd0\xcf\x11\xe0", "is a workbook of the old binary kind, or one with a password", "open it and save it as XLSX without a password, or as CSV"},
		{"%PDF", "is a PDF", "export the table it was made from as CSV or XLSX"},
		{"{\\rtf", "is a text document", "copy its table into a spreadsheet and save that as CSV"},
		{"\x1f\x8b", "is compressed", "unpack it first"},
	}
	for _, k := range kinds {
		if bytes.HasPrefix(head, []byte(k.magic)) {
			return refuse("file", f.Name, k.what, k.mend)
		}
	}
	low := strings.ToLower(strings.TrimSpace(string(head[:min(len(head), 200)])))
	if strings.HasPrefix(low, "<!doctype html") || strings.HasPrefix(low, "<html") {
		return refuse("file", f.Name, "is a web page", "save the table as CSV or XLSX")
	}
	return nil
}

// rows opens the file for reading under a mapping.
func (f *File) rows(k facts, m *lab.ImportMapping) (rowReader, error) {
	if k.workbook && f.keep {
		return openCached(f, m.Sheet)
	}
	if k.workbook {
		return openSheet(f, m.Sheet)
	}
	in, err := os.Open(f.Path)
	if err != nil {
		return nil, err
	}
	return newCSV(in, f.label(), m.Encoding, m.Separator), nil
}

// label is the file's name, short enough for a fault.
func (f *File) label() string {
	name := f.Name
	if name == "" {
		name = filepath.Base(f.Path)
	}
	return shorten(strings.Map(printable, strings.ToValidUTF8(name, "?")), 120)
}

func printable(r rune) rune {
	if r < ' ' || r == 0x7f {
		return -1
	}
	return r
}

func shorten(s string, n int) string {
	if len(s) <= n {
		return s
	}
	return strings.ToValidUTF8(s[:n], "") + "…"
}

func blank(cells []string) bool {
	for _, c := range cells {
		if strings.TrimSpace(c) != "" {
			return false
		}
	}
	return true
}

// each calls do with every row after the header, up to limit rows (0: all).
func (f *File) each(k facts, m *lab.ImportMapping, limit int, do func(rowText) error) error {
	rows, err := f.rows(k, m)
	if err != nil {
		return err
	}
	defer rows.close()
	for n := 0; limit == 0 || n < limit; {
		row, err := rows.next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if row.n <= m.HeaderRow {
			continue
		}
		if n++; n > MaxRows {
			return refuse("file", f.Name, fmt.Sprintf("has more than %d rows", MaxRows), "split it into parts of a year each")
		}
		if err := do(row); err != nil {
			return err
		}
	}
	return nil
}
