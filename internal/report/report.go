package report

import (
	"cmp"
	"context"
	"fmt"
	"strings"
	"time"

	"ullage/core/sampling"
	"ullage/internal/lab"
)

// Kinds of paper and formats of file.
const (
	KindRun   = "run"
	KindLot   = "lot"
	KindMonth = "month"
	KindSheet = "sheet"
	KindStudy = "study"
	// KindInstrument is a year of an instrument.
	KindInstrument = "instrument"
	KindBatch      = "batch"

	PDF  = "pdf"
	XLSX = "xlsx"
	CSV  = "csv"
)

// Request says which paper is wanted.
type Request struct {
	Kind   string
	Run    string // id of a run; a sheet may be without
	Batch  string // id of a batch
	Month  string // 2026-10, of a month report
	Format string // pdf, xlsx or csv
	Paper  string // a4 or letter
	Now    time.Time
	Blank  bool           // a run sheet to write on, though there are readings
	Line   string         // name of the line, of a sheet without a run
	Plan   sampling.Input // of a run sheet
	Study  string         // id, of a study
	// Instrument is an id; Year the calendar year of its checks.
	Instrument string
	Year       int
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
	case KindBatch:
		var d *Batch
		if d, err = ReadBatch(ctx, s, q.Batch); err == nil {
			name = "batch-" + slug(d.Batch.Code)
			body, err = d.file(q)
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
	case KindStudy:
		var d *StudyData
		if d, err = ReadStudy(ctx, s, q.Study); err == nil {
			name = fmt.Sprintf("study-%s-%s", d.Study.StudyKind, d.Study.At.In(d.Zone).Format("2006-01-02"))
			body, err = d.file(q)
		}
	case KindInstrument:
		var d *InstrumentYear
		if d, err = ReadInstrument(ctx, s, q.Instrument, cmp.Or(q.Year, q.Now.Year())); err == nil {
			name = fmt.Sprintf("instrument-%s-%d", slug(d.History.Instrument.Name), d.Year)
			body, err = d.file(q)
		}
	default:
		err = wrong("kind", q.Kind, "is no kind of report", "use run, lot, batch, month, sheet, study or instrument")
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

// slug is a name as letters, digits and hyphens.
func slug(name string) string {
	out := strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			return r
		}
		return '-'
	}, strings.ToLower(name))
	for strings.Contains(out, "--") {
		out = strings.ReplaceAll(out, "--", "-")
	}
	return cmp.Or(strings.Trim(out, "-"), "unnamed")
}
