package report

import (
	"cmp"
	"context"
	"fmt"
	"time"

	"ullage/internal/lab"
)

// Kinds of paper and formats of file.
const (
	KindRun   = "run"
	KindLot   = "lot"
	KindMonth = "month"
	KindSheet = "sheet"

	PDF  = "pdf"
	XLSX = "xlsx"
	CSV  = "csv"
)

// Request says which paper is wanted.
type Request struct {
	Kind   string
	Run    string // id of a run; a sheet may be without
	Month  string // 2026-10, of a month report
	Format string // pdf, xlsx or csv
	Paper  string // a4 or letter
	Now    time.Time
	Blank  bool      // a run sheet to write on, though there are readings
	Line   string    // name of the line, of a sheet without a run
	Plan   PlanInput // of a run sheet
}

// File is a paper that was made.
type File struct {
	Name string
	Type string // media type
	Body []byte
}

var mediaTypes = map[string]string{PDF: "application/pdf", CSV: "text/csv; charset=utf-8",
	XLSX: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"}

// Make reads the records and makes the paper.
func Make(ctx context.Context, s *lab.Service, q Request) (File, error) {
	q.Format, q.Paper = cmp.Or(q.Format, PDF), cmp.Or(q.Paper, A4)
	if mediaTypes[q.Format] == "" {
		return File{}, wrong("format", q.Format, "is no format of a report", "use pdf, xlsx or csv")
	}
	if q.Paper != A4 && q.Paper != Letter {
		return File{}, wrong("paper", q.Paper, "is no paper size known here", "use a4 or letter")
	}
	var body []byte
	var name string
	var err error
	switch q.Kind {
	case KindMonth:
		name = "month-" + q.Month
		var m *Month
		if m, err = ReadMonth(ctx, s, q.Month); err == nil {
			body, err = m.file(q)
		}
	case KindSheet:
		var d *Data
		if d, err = sheetData(ctx, s, q); err == nil {
			name = fmt.Sprintf("run-sheet-%d", d.Run.Number)
			body, err = d.sheetFile(q)
		}
	case KindRun, KindLot:
		var d *Data
		if d, err = ReadRun(ctx, s, q.Run); err == nil {
			name = fmt.Sprintf("%s-%d", map[string]string{KindRun: "run", KindLot: "lot"}[q.Kind], d.Run.Number)
			body, err = d.file(q)
		}
	default:
		err = wrong("kind", q.Kind, "is no kind of report", "use run, lot, month or sheet")
	}
	return File{name + "." + q.Format, mediaTypes[q.Format], body}, err
}

// file makes a paper of a run from what was read.
func (d *Data) file(q Request) ([]byte, error) {
	switch {
	case q.Format == XLSX:
		return runXLSX(d, q.Now)
	case q.Format == CSV:
		return runCSV(d)
	case q.Kind == KindLot:
		return lotPDF(d, q.Paper, q.Now)
	}
	return runPDF(d, q.Paper, q.Now)
}
