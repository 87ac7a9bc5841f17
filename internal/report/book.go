package report

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"

	"ullage/internal/lab"
)

// book is a workbook being written; its first error is kept.
type book struct {
	f    *excelize.File
	err  error
	bold int
}

func newBook(first string, now time.Time) (*book, error) {
	b := &book{f: excelize.NewFile()}
	b.keep(b.f.SetSheetName("Sheet1", first))
	stamp := now.UTC().Format(time.RFC3339)
	b.keep(b.f.SetDocProps(&excelize.DocProperties{Created: stamp, Modified: stamp, Creator: "Ullage", LastModifiedBy: "Ullage"}))
	full := true
	b.keep(b.f.SetCalcProps(&excelize.CalcPropsOptions{FullCalcOnLoad: &full}))
	var err error
	b.bold, err = b.f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true, Family: "Calibri", Size: 11}, Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"}})
	b.keep(err)
	return b, b.err
}

func (b *book) keep(err error) {
	if b.err == nil {
		b.err = err
	}
}

// text is always a string, whatever it begins with.
func (b *book) text(sheet, cell, v string) {
	if v != "" {
		b.keep(b.f.SetCellStr(sheet, cell, lab.GuardCell(v)))
	}
}

func (b *book) number(sheet, cell string, v *float64) {
	if v != nil {
		b.keep(b.f.SetCellFloat(sheet, cell, *v, -1, 64))
	}
}

func (b *book) formula(sheet, cell, f string) { b.keep(b.f.SetCellFormula(sheet, cell, f)) }

// header writes a bold row and gives every column of it the width.
func (b *book) header(sheet string, row int, names []string, width float64) {
	for i, n := range names {
		cell, _ := excelize.CoordinatesToCellName(i+1, row)
		b.text(sheet, cell, n)
	}
	last, _ := excelize.ColumnNumberToName(len(names))
	b.keep(b.f.SetColWidth(sheet, "A", last, width))
	b.keep(b.f.SetRowStyle(sheet, row, row, b.bold))
	b.keep(b.f.SetRowHeight(sheet, row, 46))
	b.keep(b.f.SetPanes(sheet, &excelize.Panes{Freeze: true, YSplit: row, TopLeftCell: fmt.Sprintf("A%d", row+1), ActivePane: "bottomLeft"}))
}

// width of a column, or of a span such as B:C, in characters.
func (b *book) width(sheet, columns string, w float64) {
	from, to, span := strings.Cut(columns, ":")
	if !span {
		to = from
	}
	b.keep(b.f.SetColWidth(sheet, from, to, w))
}

// fitWidth prints a wide sheet across, on one page's width.
func (b *book) fitWidth(sheet string) {
	fit, across, one, high := true, "landscape", 1, 0
	b.keep(b.f.SetSheetProps(sheet, &excelize.SheetPropsOptions{FitToPage: &fit}))
	b.keep(b.f.SetPageLayout(sheet, &excelize.PageLayoutOptions{Orientation: &across, FitToWidth: &one, FitToHeight: &high}))
}

func (b *book) bytes() ([]byte, error) {
	if b.err != nil {
		return nil, b.err
	}
	var out bytes.Buffer
	err := b.f.Write(&out)
	return out.Bytes(), err
}
