package batch

import (
	"errors"
	"io"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"ullage/core/calc"
	"ullage/core/quantity"
	"ullage/core/verdict"
	"ullage/internal/csvtext"
)

// RunColumns are those of a run beside the columns of a package.
var RunColumns = []string{"taken_at", "closed_at", "head", "station", "event", "direct_ppb", "direct_u_ppb"}

// Run is a packaging run read from a file.
type Run struct {
	Samples []verdict.Sample
	Events  []verdict.Event
	// MeterShare is the share of a package's uncertainty that its DO meter has
	// in common with all others, as a relative standard uncertainty of TPO.
	MeterShare float64
	Rows       int
	Faults     []Fault
}

// runReader turns records into samples and events.
type runReader struct {
	worker
	by    string
	extra map[string]int  // column by name
	ppm   map[string]bool // a column of direct readings is headed by ppm
	out   Run
}

// ReadRun reads a run: a row is a package with its readings, an inlet or an
// unshaken reading alone, or an event. A bad row is a fault and the others go
// on. The error is of the file as a whole.
//
// by says which TPO counts where a package has both (calc.TakeDirect).
func ReadRun(in io.Reader, name, by string, note func(string)) (Run, error) {
	text, err := decoded(in)
	if err != nil {
		return Run{}, err
	}
	chunks := newChunker(text)
	header, err := chunks.header()
	if err != nil {
		return Run{}, Fault{name, 1, asInput(err)}
	}
	r := &runReader{by: by, extra: map[string]int{}, ppm: map[string]bool{}}
	unused := ""
	columns, err := readHeader(header, func(s string) { unused = s })
	if err != nil {
		return Run{}, Fault{name, chunks.line - 1, asInput(err)}
	}
	if err := r.placeColumns(columns); err != nil {
		return Run{}, Fault{name, chunks.line - 1, asInput(err)}
	}
	r.noteUnused(unused, note)
	r.worker = *newWorker(Job{Name: name}, columns)
	for {
		c, err := chunks.next()
		if errors.Is(err, io.EOF) {
			return r.out, nil
		}
		if err != nil {
			return r.out, err
		}
		r.chunk(c)
	}
}

func (r *runReader) placeColumns(c *columns) error {
	for i, name := range c.names {
		if of, ok := strings.CutSuffix(name, "_ppm"); ok && (of == "direct" || of == "direct_u") {
			name = of + "_ppb"
			r.ppm[name] = true
		}
		if !slices.Contains(RunColumns, name) {
			continue
		}
		if _, twice := r.extra[name]; twice {
			return &quantity.Error{Field: name, Message: "is a column twice", Mend: "keep one of them"}
		}
		r.extra[name] = i
	}
	_, taken := r.extra["taken_at"]
	_, closed := r.extra["closed_at"]
	if !taken && !closed {
		return &quantity.Error{Field: "header", Value: shorten(strings.Join(c.names, string(c.comma))), Message: "has no column taken_at",
			Mend: "a run is judged in time: add taken_at, such as 2026-03-02T07:25:00+01:00"}
	}
	return nil
}

func (r *runReader) noteUnused(list string, note func(string)) {
	var left []string
	for _, name := range strings.Split(strings.TrimPrefix(list, "not used: "), ", ") {
		if name != "" && !slices.Contains(RunColumns, strings.Replace(name, "_ppm", "_ppb", 1)) {
			left = append(left, name)
		}
	}
	if len(left) > 0 && note != nil {
		note("not used: " + strings.Join(left, ", "))
	}
}

func (r *runReader) chunk(c *chunk) {
	text, line := c.data, c.line
	for len(text) > 0 {
		record, size, state := csvtext.Cut(text)
		text = text[size:]
		if record = strings.TrimSuffix(record, "\r"); strings.TrimSpace(record) != "" {
			r.out.Rows++
			if err := r.read(record, state); err != nil {
				r.out.Faults = append(r.out.Faults, Fault{r.job.Name, line, asInput(err)})
			}
		}
		line++
		if state == csvtext.Quoted {
			line += strings.Count(record, "\n")
		}
	}
}

// read takes one record. Nothing of a refused row is kept.
func (r *runReader) read(record string, state csvtext.State) error {
	if err := r.split(record, state); err != nil {
		return err
	}
	if !utf8.ValidString(record) {
		return &quantity.Error{Field: "line", Value: shorten(strings.ToValidUTF8(record, "?")), Message: "is not UTF-8 text", Mend: "save the file as CSV UTF-8"}
	}
	s := verdict.Sample{Head: r.cell("head"), Station: r.cell("station")}
	var err error
	if s.Taken, err = r.moment("taken_at"); err != nil {
		return err
	}
	if s.Closed, err = r.moment("closed_at"); err != nil {
		return err
	}
	event := strings.ToLower(r.cell("event"))
	if event != "" && !slices.Contains(verdict.EventKinds, event) {
		return &quantity.Error{Field: "event", Value: event, Message: "is no event of a run", Mend: "write one of " + strings.Join(verdict.EventKinds, ", ")}
	}
	if s.Taken.IsZero() && s.Closed.IsZero() {
		return &quantity.Error{Field: "taken_at", Message: "is missing", Mend: "give the time of the row, such as 2026-03-02T07:25:00+01:00"}
	}
	if err := r.readings(&s); err != nil {
		return err
	}
	if err := r.direct(&s); err != nil {
		return err
	}
	measured := s.Shaken != nil || s.Unshaken != nil || s.Inlet != nil || s.Direct
	switch {
	case event == "" && !measured:
		return &quantity.Error{Field: "shaken_do_ppb", Message: "is missing, and the row is no event", Mend: "give a reading or an event"}
	case event != "":
		at := s.Taken
		if at.IsZero() {
			at = s.Closed
		}
		r.out.Events = append(r.out.Events, verdict.Event{Kind: event, At: at})
	}
	if measured {
		r.out.Samples = append(r.out.Samples, s)
	}
	return nil
}

func (r *runReader) cell(name string) string {
	i, ok := r.extra[name]
	if !ok {
		return ""
	}
	return strings.TrimSpace(r.cells[i])
}

// direct takes the direct TPO reading of a row.
func (r *runReader) direct(s *verdict.Sample) error {
	read := func(name string) (*quantity.TPO, error) {
		cell := r.cell(name)
		if cell == "" {
			return nil, nil
		}
		if r.columns.comma != ',' && strings.Count(cell, ",") == 1 && !strings.Contains(cell, ".") {
			cell = strings.Replace(cell, ",", ".", 1)
		}
		if r.ppm[name] && strings.Trim(cell, "0123456789.+-eE ") == "" {
			cell += " ppm"
		}
		var v quantity.TPO
		if err := v.Set(cell); err != nil {
			return nil, quantity.In(name, err)
		}
		return &v, nil
	}
	reading, err := read("direct_ppb")
	if err != nil {
		return err
	}
	u, err := read("direct_u_ppb")
	if err != nil {
		return err
	}
	return calc.TakeDirect(s, reading, u, r.by)
}

// moment reads an RFC 3339 time.
func (r *runReader) moment(name string) (time.Time, error) {
	cell := r.cell(name)
	if cell == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.RFC3339, strings.Replace(cell, " ", "T", 1))
	if err != nil || t.Year() < 1900 || t.Year() > 2200 {
		return t, &quantity.Error{Field: name, Value: shorten(cell), Message: "is no time with its zone (RFC 3339)", Mend: "write it like 2026-03-02T07:25:00+01:00 or 2026-03-02T06:25:00Z"}
	}
	return t, nil
}

// readings takes those of a row, TPO where it was shaken.
func (r *runReader) readings(s *verdict.Sample) error {
	for i, cell := range r.cells {
		if i == r.columns.id {
			s.ID = cell
		} else if r.columns.cells[i] != nil {
			if err := r.worker.row.put(r.columns, i, strings.TrimSpace(cell)); err != nil {
				return err
			}
		}
	}
	in := &r.worker.row.input
	if err := r.eval.Reading(in, s); err != nil {
		return r.inColumn(err)
	}
	if r.out.MeterShare == 0 && s.Shaken != nil {
		r.out.MeterShare = r.eval.MeterShare(in)
	}
	return nil
}
