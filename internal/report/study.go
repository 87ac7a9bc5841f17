package report

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"

	"ullage/core/calc"
	"ullage/internal/lab"
)

// StudyData is a study with the names of what it points at.
type StudyData struct {
	Brewery lab.Brewery
	Zone    *time.Location
	Study   lab.Study
	By      string
	Of      []string // packages, lot, beer, line
	With    []string // instruments
	figures []figure
	agree   *calc.AgreeResult // of an agreement study
}

// figure is one number or word of a result, with its interval.
type figure struct {
	name      string
	value     string
	low, high string
	number    *float64
}

// ReadStudy reads a study.
func ReadStudy(ctx context.Context, s *lab.Service, id string) (*StudyData, error) {
	r, err := newReader(ctx, s)
	if err != nil {
		return nil, err
	}
	study, err := get[lab.Study](ctx, s, lab.KindStudies, id)
	if err != nil {
		return nil, err
	}
	if study == nil {
		return nil, wrong("study", id, "is no study", "give the id of a study")
	}
	d := &StudyData{Brewery: r.brewery, Zone: r.zone, Study: *study, By: cmp.Or(r.people[study.By], study.By, notRecorded)}
	if err := d.names(ctx, s); err != nil {
		return nil, err
	}
	if len(study.Result) == 0 {
		return d, nil
	}
	if d.figures, err = figuresOf(study.Result); err != nil {
		return nil, err
	}
	if study.StudyKind == lab.StudyAgreement {
		d.agree = new(calc.AgreeResult)
		err = json.Unmarshal(study.Result, d.agree)
	}
	return d, err
}

// names reads what the study points at.
func (d *StudyData) names(ctx context.Context, s *lab.Service) error {
	x := &d.Study
	for _, id := range x.FormatIDs {
		f, err := get[lab.Format](ctx, s, lab.KindFormats, id)
		if err != nil {
			return err
		}
		d.Of = append(d.Of, f.Name)
	}
	lot, err := get[lab.FormatLot](ctx, s, lab.KindFormatLots, x.FormatLotID)
	if err != nil {
		return err
	}
	beer, err := get[lab.Beer](ctx, s, lab.KindBeers, x.BeerID)
	if err != nil {
		return err
	}
	line, err := get[lab.Line](ctx, s, lab.KindLines, x.LineID)
	if err != nil {
		return err
	}
	if lot != nil {
		d.Of = append(d.Of, lot.Name)
	}
	if beer != nil {
		d.Of = append(d.Of, beer.Name)
	}
	if line != nil {
		d.Of = append(d.Of, line.Name)
	}
	for _, id := range []string{x.DOMeterID, x.TPOMeterID, x.ScaleID, x.ThermometerID} {
		in, err := get[lab.Instrument](ctx, s, lab.KindInstruments, id)
		if err != nil {
			return err
		}
		if in != nil {
			d.With = append(d.With, in.Name)
		}
	}
	return nil
}

// figuresOf lists a result in its own order. Numbers with _low95 and _high95
// beside them stand with their interval; lists are left to the charts.
func figuresOf(text []byte) ([]figure, error) {
	dec := json.NewDecoder(bytes.NewReader(text))
	if _, err := dec.Token(); err != nil {
		return nil, err
	}
	var out []figure
	at := map[string]int{}
	for dec.More() {
		key, err := dec.Token()
		if err != nil {
			return nil, err
		}
		var v any
		if err := dec.Decode(&v); err != nil {
			return nil, err
		}
		name := key.(string)
		text := ""
		var number *float64
		switch v := v.(type) {
		case float64:
			text, number = significant(v), &v
		case string:
			text = v
		case bool:
			text = map[bool]string{true: "yes", false: "no"}[v]
		}
		// The approximate limits of agreement are kept for comparison in the JSON.
		if text == "" || name == "sentence" || strings.Contains(name, "_approximate_") || name == "verdict" {
			continue
		}
		if i, end := intervalOf(name, at); i >= 0 {
			if end == "low" {
				out[i].low = text
			} else {
				out[i].high = text
			}
			continue
		}
		at[name] = len(out)
		out = append(out, figure{name: name, value: text, number: number})
	}
	return out, nil
}

// intervalOf finds the figure that a bound belongs to; -1 for what is none. The
// mean and the spread of weighed lots are the first two figures of theirs.
func intervalOf(name string, at map[string]int) (figure int, end string) {
	for _, end := range []string{"low", "high"} {
		base, ok := strings.CutSuffix(name, "_"+end+"95")
		if !ok {
			continue
		}
		if i, known := at[base]; known {
			return i, end
		}
		if i := map[string]int{"mean": 0, "sd": 1}[base]; (base == "mean" || base == "sd") && i < len(at) {
			return i, end
		}
	}
	return -1, ""
}

// significant prints a number to four digits.
func significant(v float64) string {
	s := strconv.FormatFloat(v, 'g', 4, 64)
	if x, err := strconv.ParseFloat(s, 64); err == nil && (x == 0 || x > 1e-3 && x < 1e6 || x < -1e-3 && x > -1e6) {
		s = strconv.FormatFloat(x, 'f', -1, 64)
	}
	return strings.Replace(s, "-", "−", 1)
}

// number of a figure; ok is false where the result has none.
func (d *StudyData) number(name string) (v float64, ok bool) {
	for _, f := range d.figures {
		if f.name == name && f.number != nil {
			return *f.number, true
		}
	}
	return 0, false
}

// sentence is what the study says, or why it says nothing.
func (d *StudyData) sentence() string {
	var said struct{ Sentence string }
	if len(d.Study.Result) > 0 && json.Unmarshal(d.Study.Result, &said) == nil && said.Sentence != "" {
		return said.Sentence
	}
	if len(d.Study.Warnings) > 0 {
		w := d.Study.Warnings[0]
		return "No result yet: " + strings.TrimSpace(w.Field+" "+w.Message) + "."
	}
	return "No result yet."
}

var studyTitles = map[string]string{"agreement": "Agreement of calculated and direct TPO", "tare": "Empty weights", "capacity": "Capacity by weight of water", "neck": "Fill height and headspace",
	"shake": "Time of shaking", "delay": "Delay before the reading", "line": "Flow test of a sample line", "repeatability": "Repeatability, and between people"}

func (d *StudyData) file(q Request) ([]byte, error) {
	switch q.Format {
	case CSV:
		return csvBytes(d.rows())
	case XLSX:
		return d.xlsx(q.Now)
	}
	return d.pdf(q.Paper, q.Now)
}

// columns of the study's rows, those that some row has, in the calculation's order.
func (d *StudyData) columns() []string {
	var out []string
	for _, f := range calc.StudyFields(d.Study.StudyKind) {
		for _, row := range d.Study.Rows {
			if row[f.Name] != nil {
				out = append(out, f.Name)
				break
			}
		}
	}
	return out
}

// rows are the readings as a table.
func (d *StudyData) rows() [][]string {
	cols := d.columns()
	out := [][]string{cols}
	for _, r := range d.Study.Rows {
		line := make([]string, len(cols))
		for i, c := range cols {
			line[i] = plainCell(r[c])
		}
		out = append(out, line)
	}
	return out
}

func plainCell(v any) string {
	switch v := v.(type) {
	case nil:
		return ""
	case float64:
		// Twelve digits: what binary arithmetic left behind them nobody typed.
		v, _ = strconv.ParseFloat(strconv.FormatFloat(v, 'g', 12, 64), 64)
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	return fmt.Sprint(v)
}

// value of a cell as a number; ok is false for what is none.
func cellNumber(v any) (float64, bool) {
	switch v := v.(type) {
	case float64:
		return v, true
	case string:
		x, err := strconv.ParseFloat(v, 64)
		return x, err == nil
	}
	return 0, false
}

// xlsx is the workbook of a study: figures, readings, and the pairs of an
// agreement with their differences as formulas.
func (d *StudyData) xlsx(now time.Time) ([]byte, error) {
	b, err := newBook("Result", now)
	if err != nil {
		return nil, err
	}
	defer b.f.Close()
	_, err = b.f.NewSheet("Readings")
	b.keep(err)
	b.header("Result", 1, []string{"figure", "value", "95 %, from", "to"}, 26)
	b.width("Result", "A", 44)
	row := 2
	line := func(name, value string, number *float64, low, high string) {
		b.text("Result", fmt.Sprintf("A%d", row), name)
		if number != nil {
			b.number("Result", fmt.Sprintf("B%d", row), number)
		} else {
			b.text("Result", fmt.Sprintf("B%d", row), value)
		}
		b.text("Result", fmt.Sprintf("C%d", row), low)
		b.text("Result", fmt.Sprintf("D%d", row), high)
		row++
	}
	line("study", d.Study.Name, nil, "", "")
	line("what it says", d.sentence(), nil, "", "")
	line("done", d.Study.At.In(d.Zone).Format("2006-01-02"), nil, "", "")
	line("by", d.By, nil, "", "")
	line("of", strings.Join(d.Of, ", "), nil, "", "")
	line("with", strings.Join(d.With, ", "), nil, "", "")
	line("in force", d.inForce(), nil, "", "")
	line("method", d.Study.Method, nil, "", "")
	for _, f := range d.figures {
		line(f.name, f.value, f.number, f.low, f.high)
	}
	d.sheetRows(b)
	return b.bytes()
}

func (d *StudyData) sheetRows(b *book) {
	rows := d.rows()
	head := rows[0]
	calculated, direct := -1, -1
	for i, c := range head {
		switch c {
		case "calculated_ppb":
			calculated = i
		case "direct_ppb":
			direct = i
		}
	}
	pairs := calculated >= 0 && direct >= 0
	if pairs {
		head = append(append([]string{}, head...), "difference_ppb", "mean_ppb")
	}
	b.header("Readings", 1, head, 18)
	for i, r := range rows[1:] {
		for k, v := range r {
			cell := cellName(k, i+2)
			if x, err := strconv.ParseFloat(v, 64); err == nil && strings.Contains(rows[0][k], "_") {
				b.number("Readings", cell, &x)
			} else {
				b.text("Readings", cell, v)
			}
		}
		if pairs {
			a, x := cellName(calculated, i+2), cellName(direct, i+2)
			b.formula("Readings", cellName(len(r), i+2), a+"-"+x)
			b.formula("Readings", cellName(len(r)+1, i+2), "("+a+"+"+x+")/2")
		}
	}
}

func (d *StudyData) inForce() string {
	switch {
	case d.Study.Archived:
		return "withdrawn"
	case d.Study.InForceFrom.IsZero():
		return "not in force"
	}
	return "from " + d.Study.InForceFrom.In(d.Zone).Format("2006-01-02 15:04")
}

func cellName(column, row int) string {
	name, _ := excelize.CoordinatesToCellName(column+1, row)
	return name
}

// eachOf are the capacities of the single packages, as the calculation found them.
func eachOf(d *StudyData) []float64 {
	var each struct {
		Each []float64 `json:"each_ml"`
	}
	if json.Unmarshal(d.Study.Result, &each) != nil {
		return nil
	}
	return each.Each
}
