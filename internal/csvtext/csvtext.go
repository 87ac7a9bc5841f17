// Package csvtext cuts separated text into records and records into cells, also
// when quotes are broken: a slip costs its own row, not the rows after it.
//
// It does not know what the cells mean, nor the character set of a file.
package csvtext

import (
	"encoding/csv"
	"strings"
)

const (
	// MaxRecord is the length of a record, in bytes, above which it is a fault.
	MaxRecord  = 64 << 10
	maxInQuote = 50 // lines that one quoted cell may span
)

// State tells how a record ended.
type State int

// The states. Open and Unended are faults once the text is whole.
const (
	Plain   State = iota // no quotes
	Quoted               // quotes, closed
	Open                 // a quote that is not closed in time
	Unended              // the text ends before that is known
)

// Cut takes one record off the front of text, with its line end. A quoted
// cell may span lines, up to a bound: past it the quote counts as a slip in its
// first line, so that it swallows no other row.
func Cut(text string) (record string, size int, state State) {
	i := strings.IndexByte(text, '\n')
	line, size := text, len(text)
	if i >= 0 {
		line, size = text[:i], i+1
	}
	if strings.IndexByte(line, '"') < 0 {
		return line, size, Plain
	}
	var q quotes
	q.read(text[:size])
	end := size
	for range maxInQuote {
		switch {
		case !q.inside:
			return strings.TrimSuffix(text[:end], "\n"), end, Quoted
		case end > MaxRecord:
			return line, size, Open
		case end == len(text):
			return line, size, Unended
		}
		next := len(text)
		if j := strings.IndexByte(text[end:], '\n'); j >= 0 {
			next = end + j + 1
		}
		q.read(text[end:next])
		end = next
	}
	return line, size, Open
}

// quotes follows the quotes of a record. One opens a cell only at its start;
// inside, a doubled one is text.
type quotes struct{ inside, begun, maybe bool }

func (q *quotes) read(text string) {
	for i := range len(text) {
		c := text[i]
		switch {
		case q.maybe: // a quote inside a cell came before: doubled, or the end
			q.maybe = false
			if c == '"' {
				q.inside = true
				continue
			}
			q.begun = c != ',' && c != ';' && c != '\t' && c != '\n'
		case q.inside:
			if c == '"' {
				q.inside, q.maybe = false, true
			}
		case c == '"' && !q.begun:
			q.inside, q.begun = true, true
		default:
			q.begun = c != ',' && c != ';' && c != '\t' && c != '\n'
		}
	}
}

// Cells splits a record that [Cut] took off, appending to cells. ok is false
// when a quote is out of place or not closed.
func Cells(cells []string, record string, state State, comma byte) (_ []string, ok bool) {
	switch state {
	case Open, Unended:
		return cells, false
	case Quoted:
		r := csv.NewReader(strings.NewReader(record))
		r.Comma, r.FieldsPerRecord = rune(comma), -1
		read, err := r.Read()
		return append(cells, read...), err == nil
	}
	for {
		i := strings.IndexByte(record, comma)
		if i < 0 {
			return append(cells, record), true
		}
		cells = append(cells, record[:i])
		record = record[i+1:]
	}
}
