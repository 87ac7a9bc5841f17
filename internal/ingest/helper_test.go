package ingest

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"ullage/internal/lab"
	"ullage/internal/store"
)

var (
	noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	bg   = context.Background()
)

// bench is a laboratory with a beer, a can with a lot, and a line.
type bench struct {
	testing.TB
	svc                  *lab.Service
	beer, can, lot, line string
}

func newBench(t testing.TB) *bench {
	t.Helper()
	st, err := store.OpenSQLite(bg, filepath.Join(t.TempDir(), "ullage.db"), store.SQLiteOptions{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	b := &bench{TB: t, svc: &lab.Service{Store: st, Calc: lab.TPO, Now: func() time.Time { return noon }},
		beer: derived(1, "beer"), can: derived(1, "can"), lot: derived(1, "lot"), line: derived(1, "line")}
	b.put(&lab.Beer{Meta: lab.Meta{ID: b.beer}, Name: "Vellumrook", SG: lab.Num(1.010)})
	b.put(&lab.Format{Meta: lab.Meta{ID: b.can}, Name: "Can 355", PackageKind: "can", NominalML: lab.Num(355)})
	b.put(&lab.FormatLot{Meta: lab.Meta{ID: b.lot}, FormatID: b.can, Name: "A", From: "2010-01-01", TareG: lab.Num(13.4), TareSDG: lab.Num(0.12),
		CapacityML: lab.Num(373.5), CapacitySDML: lab.Num(0.7), CapacitySource: "lot"})
	b.put(&lab.Line{Meta: lab.Meta{ID: b.line}, Name: "C6", Heads: 6})
	return b
}

func (b *bench) put(r lab.Record) {
	b.Helper()
	body, err := json.Marshal(r)
	if err != nil {
		b.Fatal(err)
	}
	if a := b.svc.Put(bg, lab.Write{Kind: r.Kind(), ID: r.Base().ID, BaseRev: r.Base().Rev, Record: body}); a.Err != nil {
		b.Fatal(a.Err)
	}
}

// file writes a log and names it.
func (b *bench) file(name string, body []byte) File {
	b.Helper()
	path := filepath.Join(b.TempDir(), "f")
	if err := os.WriteFile(path, body, 0o600); err != nil {
		b.Fatal(err)
	}
	return File{Path: path, Name: name, By: "Quality tech"}
}

func (b *bench) csv(text string) File { return b.file("log.csv", []byte(text)) }

// xlsx makes a workbook with one sheet of rows.
func (b *bench) xlsx(rows [][]any, change ...func(*excelize.File)) File {
	b.Helper()
	x := excelize.NewFile()
	defer x.Close()
	for i, row := range rows {
		if err := x.SetSheetRow("Sheet1", fmt.Sprintf("A%d", i+1), &row); err != nil {
			b.Fatal(err)
		}
	}
	for _, f := range change {
		f(x)
	}
	var out bytes.Buffer
	if err := x.Write(&out); err != nil {
		b.Fatal(err)
	}
	return b.file("log.xlsx", out.Bytes())
}

// proposed reads a file under the mapping it proposes.
func (b *bench) proposed(f File) lab.ImportPreview {
	b.Helper()
	p, err := Preview(bg, b.svc, f, nil, "")
	if err != nil {
		b.Fatal(err)
	}
	return p
}

// sure answers every open question as proposed, and whole-file ones with the
// bench's records.
func (b *bench) sure(p lab.ImportPreview) lab.ImportMapping {
	m := p.Mapping
	for _, q := range p.Questions {
		m.Sure = append(m.Sure, q.ID)
		switch q.ID {
		case "beer":
			m.BeerID = b.beer
		case "format":
			m.FormatID = b.can
		case "line":
			m.LineID = b.line
		}
		var i int
		if n, _ := fmt.Sscanf(q.ID, "unit:%d:", &i); n == 1 {
			m.Columns[i].Unit = q.Proposed
		}
	}
	return m
}

func (b *bench) imported(f File, m lab.ImportMapping) lab.ImportProgress {
	b.Helper()
	p, err := Import(bg, b.svc, f, m, nil)
	if err != nil {
		b.Fatal(err)
	}
	return p
}

// all reads the records of a kind that are in use.
func all[T any](b *bench, k lab.Kind) (list []T) {
	b.Helper()
	err := eachRecord(bg, b.svc, k, func(body json.RawMessage) error {
		var m lab.Meta
		var v T
		if err := json.Unmarshal(body, &m); err != nil || m.Archived {
			return err
		}
		list = append(list, v)
		return json.Unmarshal(body, &list[len(list)-1])
	})
	if err != nil {
		b.Fatal(err)
	}
	return list
}

func faultText(list []lab.ImportFault) string {
	var s []string
	for _, f := range list {
		s = append(s, f.Error())
	}
	return strings.Join(s, "\n")
}

// good is a plain log of three samples.
const good = `Date,Time,Closed,Lot,Beer,Format,Line,Head,Shaken DO (ppb),Temp (°C),Gross (g)
2026-10-05,09:40,09:31,V118,Vellumrook,Can 355,C6,1,44,3.8,371.9
2026-10-05,09:44,09:32,V118,Vellumrook,Can 355,C6,2,47,3.8,372.4
2026-10-06,10:05,09:58,V119,Vellumrook,Can 355,C6,1,52,4.1,371.2
`

// zipped is a zip file with one part.
func (b *bench) zipped(name string, body []byte) File {
	b.Helper()
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	w, err := z.Create(name)
	if err == nil {
		_, err = w.Write(body)
	}
	if err = errors.Join(err, z.Close()); err != nil {
		b.Fatal(err)
	}
	return b.file("a.xlsx", out.Bytes())
}

// bomb is a workbook part of 100 MB of zeros in 100 kB.
func (b *bench) bomb() File { return b.zipped("xl/worksheets/sheet1.xml", make([]byte, 100<<20)) }

func (b *bench) bytes(f File) []byte {
	b.Helper()
	body, err := os.ReadFile(f.Path)
	if err != nil {
		b.Fatal(err)
	}
	return body
}

// sheet is a workbook whose one sheet holds the given XML as its rows.
func (b *bench) sheet(rows string) File { return b.declared("", rows) }

// declared is a sheet with a declaration before it.
func (b *bench) declared(before, rows string) File {
	b.Helper()
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for _, part := range [][2]string{
		{"[Content_Types].xml", `<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="xml" ContentType="application/xml"/><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/><Override PartName="/xl/worksheets/sheet1.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/></Types>`},
		{"_rels/.rels", `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>`},
		{"xl/_rels/workbook.xml.rels", `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/></Relationships>`},
		{"xl/workbook.xml", `<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="Log" sheetId="1" r:id="rId1"/></sheets></workbook>`},
		{"xl/worksheets/sheet1.xml", before + `<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>` + rows + `</sheetData></worksheet>`},
	} {
		w, err := z.Create(part[0])
		if err == nil {
			_, err = w.Write([]byte(part[1]))
		}
		if err != nil {
			b.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		b.Fatal(err)
	}
	return b.file("sheet.xlsx", out.Bytes())
}
