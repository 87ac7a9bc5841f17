package calc

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"ullage/core/quantity"
)

// Rows of a logger: at most maxLogged are read, and maxLogFaults of the refused
// ones are named.
const (
	maxLogged    = 400_000
	maxLogFaults = 50
)

// LoggerRead is what was read of a logger's file.
type LoggerRead struct {
	Rows    int           `json:"rows"`
	Used    int           `json:"used"`
	Refused int           `json:"refused"`
	From    string        `json:"from,omitempty"` // first and last time used, where the file tells times
	To      string        `json:"to,omitempty"`
	Unit    string        `json:"unit"` // °C or °F
	Faults  []LoggerFault `json:"faults,omitempty"`
	Longest float64       `json:"longest_gap_days"`
	typical float64
	gapLine int
	guessed bool // the file names no unit
}

// LoggerFault is a row left out.
type LoggerFault struct {
	Line    int    `json:"line"`
	Value   string `json:"value,omitempty"`
	Message string `json:"message"`
	Mend    string `json:"mend"`
}

// logger is how a file is laid out.
type logger struct {
	separator         string
	time, date, temp  int // columns; date -1 where the time stands in one
	unit              string
	fahrenheit, comma bool
	order             string // dmy, mdy: of dates with slashes
}

type logPoint struct {
	days float64
	c    quantity.Temperature
	at   time.Time
	line int
}

// readLogger reads a logger's text: a head with a column of time and one of
// temperature, perhaps after some lines of its own, and rows. A row that cannot
// be read is left out and named; what holds for the whole file is an error.
func readLogger(text, order string) ([]logPoint, *LoggerRead, error) {
	lines := strings.Split(strings.TrimPrefix(text, "\ufeff"), "\n")
	f, head, err := layout(lines)
	if err != nil {
		return nil, nil, err
	}
	if f.order, err = dateOrder(order, f, lines[head+1:]); err != nil {
		return nil, nil, err
	}
	read := &LoggerRead{Unit: "°C", guessed: f.unit == "" && !f.fahrenheit}
	if f.fahrenheit {
		read.Unit = "°F"
	}
	var list []logPoint
	for i, line := range lines[head+1:] {
		if line = strings.TrimSpace(line); strings.Trim(line, ",;\t ") == "" {
			continue
		}
		if read.Rows++; read.Rows > maxLogged {
			return nil, nil, &quantity.Error{Message: fmt.Sprintf("has more than %d rows", maxLogged), Mend: "cut it into parts"}
		}
		p, fault := f.row(f.cells(line))
		if p.line = head + 2 + i; fault == nil && len(list) > 0 && p.days < list[len(list)-1].days {
			fault = &LoggerFault{Value: f.cell(f.cells(line), f.time), Message: "is earlier than the row before", Mend: "sort the rows by time"}
		}
		if fault != nil {
			fault.Line = p.line
			if read.Refused++; len(read.Faults) < maxLogFaults {
				read.Faults = append(read.Faults, *fault)
			}
			continue
		}
		list = append(list, p)
	}
	if read.Used = len(list); read.Used < 2 {
		return nil, nil, tooFew(read)
	}
	read.gaps(list)
	return list, read, nil
}

func tooFew(r *LoggerRead) error {
	e := &quantity.Error{Message: "has fewer than two rows that can be read", Mend: "give the logger's whole file"}
	if len(r.Faults) > 0 {
		f := r.Faults[0]
		e.Message += fmt.Sprintf("; line %d: %q %s", f.Line, f.Value, f.Message)
		e.Mend = f.Mend
	}
	return e
}

func (r *LoggerRead) gaps(list []logPoint) {
	first, last := list[0], list[len(list)-1]
	r.typical = (last.days - first.days) / float64(len(list)-1)
	for i := 1; i < len(list); i++ {
		if gap := list[i].days - list[i-1].days; gap > r.Longest {
			r.Longest, r.gapLine = gap, list[i].line
		}
	}
	if !first.at.IsZero() {
		r.From, r.To = first.at.Format("2006-01-02 15:04"), last.at.Format("2006-01-02 15:04")
	}
}

// layout finds the head: the first of 60 lines that names a time and a temperature.
func layout(lines []string) (logger, int, error) {
	for i, line := range lines[:min(60, len(lines))] {
		f := logger{separator: ",", time: -1, date: -1, temp: -1}
		for _, s := range []string{";", "\t"} {
			if strings.Count(line, s) > strings.Count(line, f.separator) {
				f.separator = s
			}
		}
		f.comma = f.separator != ","
		for c, name := range f.cells(strings.TrimSpace(line)) {
			f.column(c, strings.ToLower(name))
		}
		if f.time < 0 {
			f.time, f.date = f.date, -1
		}
		if f.time >= 0 && f.temp >= 0 {
			return f, i, nil
		}
	}
	return logger{}, 0, &quantity.Error{Value: strings.TrimSpace(lines[0]), Message: "lacks a head with a column of time and one of temperature", Mend: "name them time (or hours, days) and temperature_c (or temperature_f)"}
}

func (f *logger) column(c int, name string) {
	bare := strings.Trim(name, " \"")
	switch {
	case f.temp < 0 && (strings.Contains(bare, "temp") || strings.Contains(bare, "°c") || strings.Contains(bare, "°f")):
		f.temp = c
		if end := strings.TrimRight(bare, ") ]"); strings.HasSuffix(end, "f") && !strings.HasSuffix(end, "if") || strings.Contains(bare, "fahr") {
			f.fahrenheit = true
		} else if strings.HasSuffix(end, "c") || strings.Contains(bare, "cels") {
			f.unit = "c"
		}
	case f.time < 0 && (bare == "hours" || bare == "days" || bare == "minutes"):
		f.time, f.order = c, bare
	case f.date < 0 && strings.HasPrefix(bare, "date") && !strings.Contains(bare, "time"):
		f.date = c
	case f.time < 0 && (strings.Contains(bare, "time") || strings.Contains(bare, "date")):
		f.time = c
	}
}

func (f *logger) cells(line string) []string {
	list := strings.Split(line, f.separator)
	for i := range list {
		list[i] = strings.TrimSpace(strings.Trim(strings.TrimSpace(list[i]), `"`))
	}
	return list
}

func (f *logger) cell(row []string, c int) string {
	if c < 0 || c >= len(row) {
		return ""
	}
	return row[c]
}

// when is the text of a row's time.
func (f *logger) when(row []string) string {
	return strings.TrimSpace(f.cell(row, f.date) + " " + f.cell(row, f.time))
}

// point takes a decimal comma where commas do not part the cells.
func (f *logger) point(number string) string {
	if f.comma {
		return strings.Replace(number, ",", ".", 1)
	}
	return number
}

func (f *logger) row(row []string) (p logPoint, fault *LoggerFault) {
	bad := func(value string, err error) (logPoint, *LoggerFault) {
		e := err.(*quantity.Error)
		return p, &LoggerFault{Value: value, Message: e.Message, Mend: e.Mend}
	}
	text := f.cell(row, f.temp)
	number := f.point(text)
	if f.fahrenheit && !strings.ContainsAny(number, "fFcC") {
		number += " °F"
	}
	if text == "" {
		return bad(text, &quantity.Error{Message: "there is no temperature", Mend: "check the row"})
	}
	if err := p.c.Set(number); err != nil {
		return bad(text, err)
	}
	if err := between("", float64(p.c), -30, 70, "check the sensor and the unit"); err != nil {
		e := *err.(*quantity.Error)
		e.Message = "°C " + e.Message
		return bad(format(float64(p.c), 1), &e)
	}
	when := f.when(row)
	if per := map[string]float64{"minutes": 1440, "hours": 24, "days": 1}[f.order]; per > 0 {
		v, err := strconv.ParseFloat(f.point(when), 64)
		if err != nil || !(v >= -1e6 && v <= 1e6) {
			return bad(when, &quantity.Error{Message: "is no number of " + f.order, Mend: "write 12.5"})
		}
		p.days = v / per
		return p, nil
	}
	at, ok := f.parse(when)
	if !ok {
		return bad(when, &quantity.Error{Message: "is no time", Mend: "write 2026-05-04 13:30 or 2026-05-04T13:30:00Z"})
	}
	p.at, p.days = at, float64(at.Unix())/86400
	return p, nil
}

var loggerTimes = []string{
	time.RFC3339, "2006-01-02 15:04:05", "2006-01-02 15:04", "2006-01-02T15:04:05", "2006-01-02T15:04",
	"2006/01/02 15:04:05", "2006/01/02 15:04", "2.1.2006 15:04:05", "2.1.2006 15:04",
}

// dated holds the layouts of dates with slashes, by their order.
var dated = map[string][]string{
	"dmy": {"2/1/2006 15:04:05", "2/1/2006 15:04", "2/1/2006 3:04:05 PM", "2/1/2006 3:04 PM", "2/1/06 15:04:05", "2/1/06 15:04"},
	"mdy": {"1/2/2006 15:04:05", "1/2/2006 15:04", "1/2/2006 3:04:05 PM", "1/2/2006 3:04 PM", "1/2/06 15:04:05", "1/2/06 15:04"},
}

func (f *logger) parse(text string) (time.Time, bool) {
	layouts := loggerTimes
	if strings.Contains(text, "/") && f.order != "" {
		layouts = dated[f.order]
	}
	for _, l := range layouts {
		if at, err := time.Parse(l, text); err == nil {
			return at, true
		}
	}
	for _, l := range loggerTimes {
		if at, err := time.Parse(l, text); err == nil {
			return at, true
		}
	}
	return time.Time{}, false
}

// dateOrder tells whether 04/05/2026 is of April or of May: by what was said, or
// by a row that leaves no choice.
func dateOrder(said string, f logger, rows []string) (string, error) {
	if f.order != "" {
		return f.order, nil
	}
	if said != "" {
		if dated[said] == nil {
			return "", &quantity.Error{Field: "date_order", Value: said, Message: "is no order of a date", Mend: "use dmy or mdy"}
		}
		return said, nil
	}
	open := ""
	for _, line := range rows {
		when := f.when(f.cells(strings.TrimSpace(line)))
		parts := strings.SplitN(when, "/", 3)
		if len(parts) < 3 || len(parts[0]) > 2 {
			continue
		}
		a, err1 := strconv.Atoi(parts[0])
		b, err2 := strconv.Atoi(parts[1])
		switch {
		case err1 != nil || err2 != nil:
		case a > 12:
			return "dmy", nil
		case b > 12:
			return "mdy", nil
		case open == "":
			open = when
		}
	}
	if open != "" {
		return "", &quantity.Error{Field: "date_order", Value: open, Message: "can be read two ways, day or month first", Mend: "say dmy or mdy"}
	}
	return "", nil
}
