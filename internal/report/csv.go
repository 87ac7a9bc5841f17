package report

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"strconv"
	"time"

	"ullage/core/sampling"
	"ullage/internal/lab"
)

// Columns of the CSV of a run. Names carry the unit; a test keeps them stable.
var runColumns = []string{"run", "beer", "format", "line", "code", "set", "closed_at", "taken_at", "head", "station", "kind", "do_ppb", "temperature_c",
	"gross_g", "tare_g", "tare_source", "capacity_ml", "sg", "gap_mm", "shake_min", "path", "beer_ml", "headspace_ml", "tpo_ppb", "tpo_u_ppb", "tpo_low95_ppb", "tpo_high95_ppb",
	"method", "by", "flags", "remarks", "typed_do", "typed_temperature", "typed_gross", "typed_tare", "typed_gap", "revision", "direct_ppb", "tpo_by", "other_tpo_ppb", "other_tpo_u_ppb", "typed_direct"}

// runCSV writes every reading of a run with its raw inputs, one row each. Text
// that a spreadsheet would run as a formula gets an apostrophe before it.
func runCSV(d *Data) ([]byte, error) {
	rows := [][]string{runColumns}
	for i := range d.Samples {
		rows = append(rows, d.csvRow(&d.Samples[i]))
	}
	return csvBytes(rows)
}

func csvBytes(rows [][]string) ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	for _, r := range rows[1:] {
		for i := range r {
			r[i] = lab.GuardCell(r[i])
		}
	}
	if err := w.WriteAll(rows); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

func stamp(t lab.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(time.RFC3339)
}

func (d *Data) csvRow(s *lab.Sample) []string {
	f, r, v := d.Run.InForce, deref(s.Result), deref(s.Volumes())
	tare, source := s.Inputs.TareG, ""
	if s.Inputs.GrossG != nil {
		if source = tareWord(s); source == "lot" {
			tare = f.TareG
		}
	}
	num := func(n int) string {
		if n == 0 {
			return ""
		}
		return strconv.Itoa(n)
	}
	flags := ""
	for i, x := range s.Flags {
		if i > 0 {
			flags += " "
		}
		flags += x
	}
	row := []string{num(d.Run.Number), d.Beer.Name, d.Format.Name, d.Line.Name, d.Run.Code, num(s.SetNo), stamp(s.ClosedAt), stamp(s.TakenAt), num(s.Head), num(s.Station),
		s.SampleKind, brief(s.Inputs.DOPpb), brief(s.Inputs.TemperatureC), brief(s.Inputs.GrossG), brief(tare), source, "", "", brief(s.Inputs.GapMM), brief(s.Inputs.ShakeMin)}
	if s.SampleKind == "shaken" {
		row[16], row[17] = brief(f.CapacityML), brief(f.SG)
	}
	row = append(row, v.Path, brief(v.BeerML), brief(v.HeadspaceML), brief(r.TPOPpb), brief(r.TPOUPpb), brief(r.TPOLow95Ppb), brief(r.TPOHigh95Ppb), r.Method, d.person(s.By), flags, remarks(s))
	for _, field := range []string{"do_ppb", "temperature_c", "gross_g", "tare_g", "gap_mm"} {
		row = append(row, rawOf(s, field))
	}
	by, other := "", deref(s.OtherResult)
	if r.TPOPpb != nil {
		by = cmp.Or(r.TPOBy, lab.Calculated)
	}
	return append(row, strconv.Itoa(s.Rev), brief(s.Inputs.DirectPpb), by, brief(other.TPOPpb), brief(other.TPOUPpb), rawOf(s, "direct_ppb"))
}

// sheetCSV is a sampling plan, one pull a row.
func (d *Data) sheetCSV(p sampling.Plan) ([]byte, error) {
	rows := [][]string{{"set", "occasion", "due_min", "due_at", "kind", "head"}}
	for i, s := range p.Sets {
		minute, due := "", ""
		if s.Minute == s.Minute { // NaN: on its occasion
			minute = strconv.FormatFloat(s.Minute, 'f', -1, 64)
			if !d.Run.StartedAt.IsZero() {
				due = d.Run.StartedAt.Add(time.Duration(s.Minute * float64(time.Minute))).Format(time.RFC3339)
			}
		}
		for _, x := range s.Pulls {
			head := ""
			if x.Head > 0 {
				head = strconv.Itoa(x.Head)
			}
			rows = append(rows, []string{strconv.Itoa(i + 1), s.Occasion, minute, due, x.Kind, head})
		}
	}
	return csvBytes(rows)
}
