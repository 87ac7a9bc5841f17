package ingest

import (
	"bytes"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"
)

const benchRows = 100_000

// longLog is a log of n samples, 20 to a run.
func longLog(n int) string {
	var s strings.Builder
	s.WriteString("Date,Time,Closed,Lot,Beer,Format,Line,Head,Shaken DO (ppb),Temp (°C),Gross (g),Note\n")
	start := time.Date(2012, 1, 2, 6, 0, 0, 0, time.UTC)
	for i := range n {
		at := start.Add(time.Duration(i/20)*20*time.Hour + time.Duration(i%20)*9*time.Minute)
		fmt.Fprintf(&s, "%s,%s,%s,L%05d,Vellumrook,Can 355,C6,%d,%d,%.1f,%.1f,\n", at.Format("2006-01-02"), at.Format("15:04"), at.Add(-8*time.Minute).Format("15:04"),
			i/20, 1+i%6, 30+i*7%45, 3+float64(i%17)/10, 370+float64(i*13%40)/10)
	}
	return s.String()
}

// BenchmarkPreview100k reads 100,000 rows and writes nothing.
func BenchmarkPreview100k(b *testing.B) {
	l := newBench(b)
	f := l.csv(longLog(benchRows))
	for b.Loop() {
		if p := l.proposed(f); p.Counts.Samples != benchRows {
			b.Fatalf("%+v\n%s", p.Counts, faultText(p.Faults[:min(3, len(p.Faults))]))
		}
	}
}

// BenchmarkImport100k writes 100,000 samples in 5,000 runs into an empty
// SQLite database, results computed, and undoes it all.
func BenchmarkImport100k(b *testing.B) {
	for b.Loop() {
		l := newBench(b)
		f := l.csv(longLog(benchRows))
		m := l.sure(l.proposed(f))
		start := time.Now()
		p := l.imported(f, m)
		b.ReportMetric(time.Since(start).Seconds(), "import-s")
		if p.Counts.Created != benchRows+benchRows/20 || p.Counts.Refused != 0 {
			b.Fatalf("%+v\n%s", p.Counts, faultText(p.Faults))
		}
		start = time.Now()
		p = l.imported(f, m)
		b.ReportMetric(time.Since(start).Seconds(), "again-s")
		if p.Counts.Unchanged != benchRows+benchRows/20 {
			b.Fatalf("%+v\n%s", p.Counts, faultText(p.Faults))
		}
		start = time.Now()
		u, err := Undo(bg, l.svc, p.ImportID, "Quality tech", "a try", nil)
		if err != nil || u.Counts.Archived != benchRows+benchRows/20 {
			b.Fatal(u.Counts, err)
		}
		b.ReportMetric(time.Since(start).Seconds(), "undo-s")
	}
}

// BenchmarkPreviewXLSX100k receives a workbook of 100,000 rows, and reads it
// again under another mapping.
func BenchmarkPreviewXLSX100k(b *testing.B) {
	l := newBench(b)
	x := excelize.NewFile()
	w, err := x.NewStreamWriter("Sheet1")
	if err != nil {
		b.Fatal(err)
	}
	for i, line := range strings.Split(strings.TrimSpace(longLog(benchRows)), "\n") {
		var row []any
		for _, c := range strings.Split(line, ",") {
			if v, err := strconv.ParseFloat(c, 64); err == nil {
				row = append(row, v)
			} else {
				row = append(row, c)
			}
		}
		if err := w.SetRow(fmt.Sprintf("A%d", i+1), row); err != nil {
			b.Fatal(err)
		}
	}
	var out bytes.Buffer
	if err := errors.Join(w.Flush(), x.Write(&out)); err != nil {
		b.Fatal(err)
	}
	b.ReportMetric(float64(out.Len())/1e6, "MB")
	for b.Loop() {
		d := NewDesk(l.svc)
		start := time.Now()
		up, err := d.Receive(bg, "log.xlsx", "UTC", bytes.NewReader(out.Bytes()))
		if err != nil || up.Preview.Counts.Samples != benchRows {
			b.Fatal(up.Preview.Counts, err)
		}
		b.ReportMetric(time.Since(start).Seconds(), "receive-s")
		start = time.Now()
		if _, err := d.Preview(bg, up.ID, up.Preview.Mapping); err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(time.Since(start).Seconds(), "again-s")
		if err := d.Close(); err != nil {
			b.Fatal(err)
		}
	}
}
