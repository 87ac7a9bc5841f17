package ingest

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"ullage/core/calc"
	"ullage/core/quantity"
	"ullage/internal/lab"
)

// maxStudyRows is the most rows of readings that one study takes from a file.
const maxStudyRows = 2000

// studyWords are the headings by which a column of a study is known, beside the
// name of its field; the longest phrase in a heading wins.
var studyWords = map[string][]string{
	"id":                  {"id", "pair", "sample", "no", "nr", "name", "can", "bottle", "package", "package no", "sample id"},
	"calculated_ppb":      {"calculated", "calc", "calculated tpo", "computed", "calc tpo", "tpo calc", "tpo calculated", "shaken tpo", "indirect"},
	"direct_ppb":          {"direct", "reference", "direct tpo", "tpo direct", "ref", "direct reading", "tpo meter"},
	"calculated_u_ppb":    {"calculated u", "u calculated", "u calc", "calc u", "calculated uncertainty"},
	"direct_u_ppb":        {"direct u", "u direct", "direct uncertainty"},
	"beer_ml":             {"beer", "beer volume", "volume beer", "beer ml"},
	"headspace_ml":        {"headspace", "headspace volume", "gas volume"},
	"lot":                 {"lot", "delivery", "mould", "mold", "charge", "pallet"},
	"empty_g":             {"empty", "tare", "empty weight", "weight empty", "weight", "dry", "tara"},
	"full_g":              {"full", "full weight", "filled", "gross", "brim", "weight full", "full of water"},
	"capacity_water_g":    {"water", "net water", "water weight", "weight of water"},
	"water_temperature_c": {"water temperature", "water temp", "temperature", "temp"},
	"gap_mm":              {"gap", "height", "fill height", "rim to beer", "depth"},
	"to_brim_g":           {"to brim", "brim", "filled up", "water to brim"},
	"shake_min":           {"shake", "shake time", "shaking", "shaking time", "minutes", "time", "min"},
	"shaken_do_ppb":       {"shaken", "shaken do", "do", "reading", "do shaken", "oxygen"},
	"delay_min":           {"delay", "wait", "waited", "minutes", "time", "after", "delay time"},
	"tpo_ppb":             {"tpo", "total", "total oxygen", "total package oxygen"},
	"temperature_c":       {"temperature", "temp", "storage temperature"},
	"flow_ml_min":         {"flow", "flow rate", "sample flow"},
	"do_ppb":              {"do", "reading", "oxygen", "line do"},
	"package":             {"package", "part", "sample", "can", "bottle", "set", "piece"},
	"operator":            {"operator", "who", "technician", "tech", "person", "by", "appraiser", "initials"},
	"reading":             {"reading", "value", "result", "measurement", "tpo", "do", "measured"},
}

// rawWords are the headings of raw readings, from which TPO is calculated.
var rawWords = map[string][]string{
	"temperature_c": {"temperature", "temp", "package temperature"}, "shaken_do_ppb": {"shaken", "shaken do", "do shaken"}, "gross_g": {"gross", "gross weight", "full weight"},
	"tare_g": {"tare", "empty weight"}, "capacity_ml": {"capacity", "brimful"}, "sg": {"sg", "gravity", "specific gravity"}, "gap_mm": {"gap", "fill height", "rim to beer"},
	"neck_gap_mm": {"neck gap"}, "neck_headspace_ml": {"neck headspace"}, "neck_ml_per_mm": {"neck per mm"}, "co2_vol": {"co2", "carbonation"}, "abv_pct": {"abv", "alcohol"},
}

// studyField is a field of a study's row as this package reads columns.
func studyField(f *calc.Field) field {
	out := field{key: f.Name, name: f.Help, sort: aText, kind: f.Kind, words: append(append([]string{strings.ReplaceAll(f.Stem, "_", " ")}, studyWords[f.Name]...), rawWords[f.Name]...)}
	if f.Kind != nil {
		out.sort = aQuantity
		for _, u := range f.Kind.Units {
			out.units = append(out.units, u.Symbol)
		}
	}
	return out
}

// studyFile is a file on its way to rows of a study.
type studyFile struct {
	known  []calc.Field // those of a row, then what it can be calculated from
	own    int          // how many are the row's own
	fields []field
	of     []int // by column: index into known; -1: not read
	units  []string
	table  lab.StudyTable
}

// ReadStudy reads a CSV or XLSX file as rows of a study. columns, where given,
// says by heading which field a column is; an empty one is not read. A row with
// a fault is left out and said with its line.
func ReadStudy(f File, kind, sheet string, columns map[string]string) (lab.StudyTable, error) {
	s := studyFile{known: calc.StudyFields(kind), table: lab.StudyTable{Columns: []lab.StudyColumn{}, Fields: []lab.StudyField{}, Rows: []map[string]any{}, Lines: []int{}, Faults: []lab.StudyFault{}, Sheets: []string{}, Missing: []string{}}}
	if s.known == nil {
		return s.table, refuse("kind", kind, "is no kind of study", "use agreement, tare, capacity, neck, shake, delay, line or repeatability")
	}
	s.own = len(s.known)
	if kind == lab.StudyAgreement { // raw readings make the calculated figure
		for _, f := range calc.FieldsOf[calc.TPOInput]() {
			if f.Kind != nil && rawWords[f.Name] != nil {
				f.Required = false
				s.known = append(s.known, f)
			}
		}
	}
	for i := range s.known {
		k := &s.known[i]
		s.fields = append(s.fields, studyField(k))
		s.table.Fields = append(s.table.Fields, lab.StudyField{Name: k.Name, Unit: k.Unit, Required: k.Required, Help: k.Help})
	}
	k, err := f.inspect()
	if err != nil {
		return s.table, err
	}
	m := lab.ImportMapping{Encoding: k.encoding, Sheet: sheet}
	if k.workbook {
		s.table.Sheets = k.sheets
		if m.Sheet == "" {
			m.Sheet = k.sheets[0]
		}
		s.table.Sheet = m.Sheet
	} else {
		text, err := f.start(k)
		if err != nil {
			return s.table, err
		}
		m.Separator = separatorOf(text)
	}
	head, err := f.head(k, &m)
	if err != nil {
		return s.table, err
	}
	if len(head) == 0 {
		return s.table, refuse("file", f.Name, "has no row with anything in it", "choose another sheet or file")
	}
	at := s.headerAt(head)
	m.HeaderRow = head[at].n
	if err := s.choose(head[at].cells, columns); err != nil {
		return s.table, err
	}
	s.lookAt(head[at+1:])
	err = f.each(k, &m, 0, s.row)
	if errors.Is(err, io.EOF) {
		err = nil
	}
	return s.table, err
}

// ReadStudy reads a file that is sent, and keeps nothing of it.
func (d *Desk) ReadStudy(kind, name, sheet string, columns map[string]string, body io.Reader) (table lab.StudyTable, err error) {
	dir, err := d.folder.enter()
	if err != nil {
		return table, err
	}
	defer func() { err = errors.Join(err, d.folder.leave()) }()
	id, err := uuid.NewV7()
	if err != nil {
		return table, err
	}
	f := File{Path: filepath.Join(dir, "study-"+id.String()), Name: shorten(name, 150)}
	defer func() { err = errors.Join(err, f.remove()) }()
	if err := save(f.Path, body); err != nil {
		return table, err
	}
	return ReadStudy(f, kind, sheet, columns)
}

// headerAt is the row, among the first, that names most fields.
func (s *studyFile) headerAt(head []rowText) int {
	best, score := 0, 0
	for i, row := range head[:min(len(head), 20)] {
		n := 0
		for _, c := range row.cells {
			if s.match(c) >= 0 {
				n++
			}
		}
		if n > score && row.fault == nil {
			best, score = i, n
		}
	}
	return best
}

// match is the field that a heading names: by its own name, else by its words.
func (s *studyFile) match(heading string) int {
	name := strings.Join(strings.Fields(strings.ToLower(strings.TrimSpace(heading))), "_")
	if name == "" {
		return -1
	}
	if f, _, ok := calc.Match(s.known, name); ok {
		for i := range s.known {
			if s.known[i].Name == f.Name {
				return i
			}
		}
	}
	best, score := -1, 0
	for i := range s.fields {
		if n := s.fields[i].score(heading); n > score {
			best, score = i, n
		}
	}
	return best
}

// choose gives each column its field, the better match first where two want one.
func (s *studyFile) choose(header []string, columns map[string]string) error {
	index := map[string]int{}
	for i := range s.known {
		index[s.known[i].Name] = i
	}
	taken := map[int]int{} // field → column
	s.of, s.units = make([]int, min(len(header), MaxColumns)), make([]string, min(len(header), MaxColumns))
	for i := range s.of {
		heading := shorten(strings.TrimSpace(strings.Map(printable, header[i])), 100)
		c := lab.StudyColumn{Heading: heading}
		s.of[i] = -1
		field, told := columns[heading]
		switch {
		case told && field == "":
		case told:
			n, ok := index[field]
			if !ok {
				return refuse("columns", field, "is no field of this study", "use one of fields, or leave it empty")
			}
			s.of[i] = n
		default:
			s.of[i] = s.match(heading)
			c.Guessed = s.of[i] >= 0 && s.known[s.of[i]].Name != strings.ToLower(heading)
		}
		if n := s.of[i]; n >= 0 {
			if before, twice := taken[n]; twice && !told && s.fields[n].score(heading) <= s.fields[n].score(s.table.Columns[before].Heading) {
				s.of[i], c.Guessed = -1, false
			} else {
				if twice {
					s.of[before], s.table.Columns[before].Field, s.table.Columns[before].Guessed = -1, "", false
				}
				taken[n] = i
				c.Field = s.known[n].Name
			}
		}
		s.table.Columns = append(s.table.Columns, c)
	}
	_, shaken := taken[slices.IndexFunc(s.known, func(f calc.Field) bool { return f.Name == "shaken_do_ppb" })]
	for i := range s.known {
		if s.known[i].Name == "calculated_ppb" && shaken && s.own < len(s.known) {
			continue
		}
		if _, ok := taken[i]; !ok && s.known[i].Required {
			s.table.Missing = append(s.table.Missing, s.known[i].Name)
		}
	}
	return nil
}

// lookAt finds the decimal mark and the unit of each column.
func (s *studyFile) lookAt(body []rowText) {
	var cells []string
	for i, n := range s.of {
		if n < 0 || s.known[n].IsLabel() {
			continue
		}
		cells = append(cells, cellsOf(body, i)...)
		f := &s.fields[n]
		if f.kind == nil {
			continue
		}
		s.units[i] = s.known[n].Kind.Units[0].Symbol
		if _, u, ok := calc.Match(s.known, strings.ToLower(s.table.Columns[i].Heading)); ok && u.Symbol != "" {
			s.units[i] = u.Symbol
		} else if u := headerUnit(f, s.table.Columns[i].Heading); u != "" {
			s.units[i] = u
		}
		s.table.Columns[i].Unit = s.units[i]
	}
	s.table.Decimal, _ = decimalIn(cells)
}

// row reads one record, or keeps what is wrong with it.
func (s *studyFile) row(r rowText) error {
	if len(s.table.Lines)+len(s.table.Faults) >= maxStudyRows {
		return refuse("file", len(s.table.Lines), fmt.Sprintf("has more than %d rows", maxStudyRows), "split the study")
	}
	if r.fault != nil {
		s.table.Faults = append(s.table.Faults, lab.StudyFault{Line: r.n, Message: r.fault.Message, Mend: r.fault.Mend, Value: r.fault.Value})
		return nil
	}
	out := map[string]any{}
	for i, n := range s.of {
		cell := ""
		if i < len(r.cells) {
			cell = strings.TrimSpace(r.cells[i])
		}
		if n < 0 || nothing(cell) {
			continue
		}
		v, err := s.cell(n, s.units[i], cell)
		if err != nil {
			fault := lab.StudyFault{Line: r.n, Heading: s.table.Columns[i].Heading, Field: s.known[n].Name, Value: shorten(cell, 80), Message: err.Error()}
			if e, ok := errors.AsType[*cellFault](err); ok {
				fault.Message, fault.Mend = e.message, e.mend
			}
			s.table.Faults = append(s.table.Faults, fault)
			return nil
		}
		out[s.known[n].Name] = v
	}
	if len(out) == 0 {
		return nil
	}
	if err := s.calculate(out); err != nil {
		s.table.Faults = append(s.table.Faults, lab.StudyFault{Line: r.n, Field: err.Field, Value: err.Value, Message: err.Message, Mend: err.Mend})
		return nil
	}
	for i := range s.known[:s.own] {
		name := s.known[i].Name
		if s.known[i].Required && out[name] == nil && !slices.Contains(s.table.Missing, name) {
			s.table.Faults = append(s.table.Faults, lab.StudyFault{Line: r.n, Field: name, Message: "is empty", Mend: s.known[i].Help})
			return nil
		}
	}
	s.table.Rows, s.table.Lines = append(s.table.Rows, out), append(s.table.Lines, r.n)
	return nil
}

// calculate makes the calculated figure of a row of raw readings, and takes them
// out of it.
func (s *studyFile) calculate(out map[string]any) *quantity.Error {
	raw := map[string]any{"uncertainty": calc.GUM}
	for _, f := range s.known[s.own:] {
		if v, ok := out[f.Name]; ok {
			raw[f.Name] = v
			delete(out, f.Name)
		}
	}
	if out["calculated_ppb"] != nil || raw["shaken_do_ppb"] == nil {
		return nil
	}
	text, err := json.Marshal(raw)
	if err == nil {
		var a calc.Answer
		if a, err = calc.Do("tpo", text); err == nil {
			r := a.Result.(calc.TPOResult)
			out["calculated_ppb"], out["calculated_u_ppb"] = hundredth(r.TPO), hundredth(r.U)
			out["beer_ml"], out["headspace_ml"] = hundredth(r.Beer), hundredth(r.Headspace)
			return nil
		}
	}
	if q, ok := errors.AsType[*quantity.Error](err); ok {
		return q
	}
	return &quantity.Error{Field: "calculated_ppb", Message: err.Error()}
}

// hundredth is as results are recorded, to 0.01.
func hundredth(v float64) float64 { return math.Round(v*100) / 100 }

func (s *studyFile) cell(n int, unit, cell string) (any, error) {
	f := &s.known[n]
	if f.IsLabel() {
		return shorten(cell, 100), nil
	}
	if f.Kind != nil {
		return value(f.Kind, cell, s.table.Decimal, unit)
	}
	digits, rest, err := number(cell, s.table.Decimal)
	if err != nil {
		return nil, err
	}
	if rest != "" {
		return nil, &cellFault{"has a unit, and this column takes a bare number", "write " + digits}
	}
	v, err := strconv.ParseFloat(digits, 64)
	if err != nil {
		return nil, &cellFault{"is not a number", "write digits, such as 48.5"}
	}
	return v, nil
}
