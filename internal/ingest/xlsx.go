package ingest

import (
	"archive/zip"
	"errors"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"

	"ullage/internal/lab"
)

// Bounds of a workbook, against files that unpack into far more than they are.
const (
	maxUnpacked = 1 << 30
	maxParts    = 2000
	maxRatio    = 300      // unpacked over packed, of a part …
	freeRatio   = 16 << 20 // … that unpacks into more than this
	inMemory    = 16 << 20 // a larger part is unpacked into a temporary file
)

// guard checks the parts of a workbook before any is unpacked. Their sizes may
// lie; archive/zip ends a part at the size it declares.
func guard(f *File) error {
	z, err := zip.OpenReader(f.Path)
	if err != nil {
		return refuse("file", f.Name, "is a damaged workbook", "open it in a spreadsheet and save it again as XLSX")
	}
	defer z.Close()
	var total uint64
	sheet := false
	for _, part := range z.File {
		sheet = sheet || strings.HasPrefix(strings.ToLower(part.Name), "xl/")
		total += part.UncompressedSize64
		if part.UncompressedSize64 > freeRatio && part.UncompressedSize64/max(part.CompressedSize64, 1) > maxRatio {
			total = math.MaxUint64 / 2
		}
		if total > maxUnpacked || len(z.File) > maxParts {
			return refuse("file", f.Name, "unpacks into more than a log can hold", "save only the sheet with the log, as XLSX or CSV")
		}
	}
	if !sheet {
		return refuse("file", f.Name, "is a zip file without a workbook", "unpack it, or save the table as XLSX or CSV")
	}
	return nil
}

// openBook opens a workbook. The library panics on some damaged files.
func openBook(f *File) (book *excelize.File, err error) {
	defer rescue(f, &err)
	if err := guard(f); err != nil {
		return nil, err
	}
	book, err = excelize.OpenFile(f.Path, excelize.Options{RawCellValue: true, UnzipSizeLimit: maxUnpacked, UnzipXMLSizeLimit: inMemory})
	if err != nil {
		return nil, damaged(f)
	}
	return book, nil
}

func damaged(f *File) error {
	return refuse("file", f.Name, "is a damaged workbook, or one with a password", "open it in a spreadsheet and save it again as XLSX")
}

func rescue(f *File, err *error) {
	if recover() != nil {
		*err = damaged(f)
	}
}

// lookInto gives a workbook's sheets, and whether its days count from 1904.
func lookInto(f *File) (names []string, epoch4 bool, err error) {
	defer rescue(f, &err)
	book, err := openBook(f)
	if err != nil {
		return nil, false, err
	}
	defer book.Close()
	if names = book.GetSheetList(); len(names) == 0 {
		return nil, false, refuse("file", f.Name, "has no sheet", "save the table as CSV")
	}
	if props, err := book.GetWorkbookProps(); err == nil && props.Date1904 != nil {
		epoch4 = *props.Date1904
	}
	return names, epoch4, nil
}

// sheetRows reads one sheet row by row.
type sheetRows struct {
	f    *File
	book *excelize.File
	rows *excelize.Rows
	n    int
}

func openSheet(f *File, sheet string) (r *sheetRows, err error) {
	defer rescue(f, &err)
	book, err := openBook(f)
	if err != nil {
		return nil, err
	}
	if sheet == "" {
		if names := book.GetSheetList(); len(names) > 0 {
			sheet = names[0]
		}
	}
	rows, err := book.Rows(sheet)
	if err != nil {
		book.Close()
		if _, missing := errors.AsType[excelize.ErrSheetNotExist](err); missing {
			return nil, refuse("sheet", sheet, "is not in the workbook", "choose one of its sheets")
		}
		return nil, damaged(f)
	}
	return &sheetRows{f: f, book: book, rows: rows}, nil
}

func (r *sheetRows) close() error { return errors.Join(r.rows.Close(), r.book.Close()) }

func (r *sheetRows) next() (row rowText, err error) {
	defer rescue(r.f, &err)
	for r.rows.Next() {
		r.n++
		cells, err := r.rows.Columns()
		if err != nil {
			return row, damaged(r.f)
		}
		if blank(cells) {
			continue
		}
		row = rowText{n: r.n, cells: cells}
		for i, c := range cells {
			if !utf8.ValidString(c) {
				c = strings.ToValidUTF8(c, "?")
			}
			cells[i] = asShown(c)
		}
		if len(cells) > 16384 {
			row.fault = &lab.ImportFault{File: r.f.label(), Row: r.n, Message: "the row is too wide", Mend: "save the sheet as CSV"}
		}
		return row, nil
	}
	if r.rows.Error() != nil {
		return row, damaged(r.f)
	}
	return row, io.EOF
}

// asShown takes off what binary storage left in the last digits of a number:
// 0.047999999999999994, also cut to 15 digits, is 0.048. No reading has 13.
func asShown(c string) string {
	if len(c) < 15 || strings.Trim(c, "0123456789.+-eE") != "" {
		return c
	}
	v, err := strconv.ParseFloat(c, 64)
	if err != nil || math.IsInf(v, 0) {
		return c
	}
	v, _ = strconv.ParseFloat(strconv.FormatFloat(v, 'g', 13, 64), 64)
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// serialDate writes a spreadsheet's day number as text; ok is false for what
// cannot be one.
func serialDate(cell string, epoch4 bool) (text string, ok bool) {
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil || v < 0 || v > 80000 {
		return "", false
	}
	t, err := excelize.ExcelDateToTime(v, epoch4)
	if err != nil {
		return "", false
	}
	t = t.Add(500 * 1e6).Truncate(1e9)
	switch {
	case v < 1:
		return t.Format("15:04:05"), true
	case v == math.Trunc(v):
		return t.Format("2006-01-02"), v > 30000 // 1982; smaller is no log's day
	}
	return t.Format("2006-01-02 15:04:05"), v > 30000
}

func sheetError(c string) bool {
	switch c {
	case "#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!", "#SPILL!", "#CALC!":
		return true
	}
	return strings.HasPrefix(c, "####")
}
