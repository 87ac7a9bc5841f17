package batch

import (
	"strconv"
	"strings"
	"sync"
	"unicode/utf8"

	"ullage/core/calc"
	"ullage/core/quantity"
	"ullage/internal/csvtext"
)

// worker turns chunks into results.
type worker struct {
	job      Job
	columns  *columns
	row      *row
	eval     calc.Evaluator
	spare    *sync.Pool
	cells    []string
	result   calc.TPOResult
	warnings []calc.Warning
}

func newWorker(j Job, c *columns) *worker {
	w := &worker{job: j, columns: c}
	w.row = newRow(c, &w.job.Defaults)
	return w
}

func (w *worker) do(c *chunk) {
	text, line := c.data, c.line
	if used, ok := w.spare.Get().(*[]byte); ok {
		c.out = (*used)[:0]
	} else {
		c.out = make([]byte, 0, 4*len(text)+4096)
	}
	for len(text) > 0 {
		record, size, state := csvtext.Cut(text)
		text = text[size:]
		if record = strings.TrimSuffix(record, "\r"); strings.TrimSpace(record) != "" {
			c.rows++
			if err := w.record(c, record, state); err != nil {
				c.faults = append(c.faults, Fault{w.job.Name, line, asInput(err)})
			}
		}
		line++
		if state == csvtext.Quoted {
			line += strings.Count(record, "\n")
		}
	}
}

func (w *worker) record(c *chunk, record string, state csvtext.State) error {
	if err := w.split(record, state); err != nil {
		return err
	}
	id := ""
	for i, cell := range w.cells {
		if i == w.columns.id {
			id = cell
		} else if w.columns.cells[i] != nil {
			if err := w.row.put(w.columns, i, strings.TrimSpace(cell)); err != nil {
				return err
			}
		}
	}
	if !utf8.ValidString(id) {
		return &quantity.Error{Field: "id", Value: strings.ToValidUTF8(id, "?"), Message: "is not UTF-8 text", Mend: "save the file as CSV UTF-8"}
	}
	var err error
	w.warnings, err = w.eval.Evaluate(&w.row.input, &w.result, w.warnings[:0])
	if err != nil {
		return w.inColumn(err)
	}
	c.out = Row(c.out, w.job.Format, id, &w.result, w.warnings)
	return nil
}

// split cuts a record into cells; the encoding/csv package reads quoted ones.
func (w *worker) split(record string, state csvtext.State) error {
	switch {
	case len(record) > maxRecord:
		return &quantity.Error{Field: "line", Value: shorten(record), Message: "is longer than 64 KiB", Mend: "is a quote or a line end missing?"}
	case state == csvtext.Open || state == csvtext.Unended:
		return &quantity.Error{Field: "line", Value: shorten(record), Message: "has a quote that is not closed", Mend: `close it, or double it inside a quoted cell: ""`}
	}
	var ok bool
	if w.cells, ok = csvtext.Cells(w.cells[:0], record, state, w.columns.comma); !ok {
		return &quantity.Error{Field: "line", Value: shorten(record), Message: "has a quote out of place", Mend: `put quotes around the whole cell and double those inside: ""`}
	}
	want := len(w.columns.cells)
	for len(w.cells) > want && strings.TrimSpace(w.cells[len(w.cells)-1]) == "" {
		w.cells = w.cells[:len(w.cells)-1] // spreadsheets pad
	}
	if len(w.cells) != want {
		return &quantity.Error{Field: "line", Value: shorten(strings.Join(w.cells, string(w.columns.comma))), Message: "has " + strconv.Itoa(len(w.cells)) + " cells where the header has " + strconv.Itoa(want), Mend: "a decimal comma, a missing or an extra separator?"}
	}
	return nil
}

// inColumn names the column as the file spells it.
func (w *worker) inColumn(err error) error {
	e := asInput(err)
	for i, f := range w.columns.cells {
		if f != nil && f.Name == e.Field && w.columns.names[i] != f.Name {
			named := *e
			named.Field = w.columns.names[i]
			return &named
		}
	}
	return e
}
