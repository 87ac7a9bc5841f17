package batch

import (
	"errors"
	"io"
	"reflect"
	"strconv"
	"strings"
	"unicode/utf8"

	"ullage/core/calc"
	"ullage/core/quantity"
	"ullage/internal/csvtext"
)

// MaxTable is the most rows that a table of a study may have.
const MaxTable = 20_000

// Table counts the rows of a file that was read into memory, and keeps its
// faults. Lines holds the line of each good row.
type Table struct {
	Rows   int
	Lines  []int
	Faults []Fault
}

// ReadTable reads a small CSV file of readings. Each record fills a new A and a
// new B, whose fields are matched as those of a calculation's input: another
// unit in the name converts, and a column that both know goes to both. use takes
// the row, or refuses it; then it is a fault and the others go on. Fields of A
// that are needed must stand in the header. The error is of the file as a whole.
func ReadTable[A, B any](in io.Reader, name string, note func(string), use func(*A, *B) error) (Table, error) {
	text, err := decoded(in)
	if err != nil {
		return Table{}, err
	}
	chunks := newChunker(text)
	header, err := chunks.header()
	if err != nil {
		return Table{}, Fault{name, 1, asInput(err)}
	}
	t := table{name: name, fields: [2][]calc.Field{calc.FieldsOf[A](), calc.FieldsOf[B]()}}
	if err := t.readHeader(header, note); err != nil {
		return Table{}, Fault{name, chunks.line - 1, asInput(err)}
	}
	for {
		c, err := chunks.next()
		if errors.Is(err, io.EOF) {
			return t.out, nil
		}
		if err != nil {
			return t.out, err
		}
		t.chunk(c, func() error {
			var a A
			var b B
			if err := t.fill([2]reflect.Value{reflect.ValueOf(&a).Elem(), reflect.ValueOf(&b).Elem()}); err != nil {
				return err
			}
			return t.inColumn(use(&a, &b))
		})
		if t.out.Rows > MaxTable {
			return t.out, Fault{name, t.out.Lines[len(t.out.Lines)-1], &quantity.Error{Field: "rows", Value: strconv.Itoa(t.out.Rows), Message: "are more than " + strconv.Itoa(MaxTable), Mend: "split the file"}}
		}
	}
}

// place is the field of one struct that a column fills.
type place struct {
	field *calc.Field
	unit  quantity.Unit
	index int // of the field in its struct
}

type table struct {
	name   string
	fields [2][]calc.Field
	names  []string
	places [][2]place
	split  worker
	out    Table
}

// readHeader finds what each column fills.
func (t *table) readHeader(header string, note func(string)) error {
	comma := byte(',')
	switch {
	case strings.Contains(header, ";"):
		comma = ';'
	case strings.Contains(header, "\t") && !strings.Contains(header, ","):
		comma = '\t'
	}
	var unused []string
	taken, known := map[string]string{}, 0
	for _, cell := range strings.Split(header, string(comma)) {
		name := strings.ToLower(strings.TrimSpace(strings.Trim(strings.TrimSpace(cell), `"`)))
		var p [2]place
		found := false
		for side := range p {
			f, unit, ok := calc.Match(t.fields[side], name)
			if !ok || side == 1 && !usable(f) {
				continue
			}
			key := strconv.Itoa(side) + f.Name
			if taken[key] != "" {
				return &quantity.Error{Field: name, Message: "says the same as column " + taken[key], Mend: "keep one of them"}
			}
			taken[key], found = name, true
			p[side] = place{f, unit, calc.IndexOf(f)}
		}
		if found {
			known++
		} else if name != "" {
			unused = append(unused, shorten(name))
		}
		t.names, t.places = append(t.names, name), append(t.places, p)
	}
	if known == 0 {
		return &quantity.Error{Field: "header", Value: shorten(strings.ToValidUTF8(header, "?")), Message: "names no known column", Mend: "known are " + nameList(t.fields[0])}
	}
	for i := range t.fields[0] {
		if f := &t.fields[0][i]; f.Required && taken["0"+f.Name] == "" {
			return &quantity.Error{Field: f.Name, Message: "is no column of the file", Mend: "add it: " + f.Help}
		}
	}
	if len(unused) > 0 && note != nil {
		note("not used: " + strings.ToValidUTF8(strings.Join(unused, ", "), "?"))
	}
	t.split = worker{columns: &columns{comma: comma, cells: make([]*calc.Field, len(t.names))}}
	return nil
}

func nameList(fields []calc.Field) string {
	list := make([]string, len(fields))
	for i, f := range fields {
		list[i] = f.Name
	}
	return strings.Join(list, ", ")
}

func (t *table) chunk(c *chunk, row func() error) {
	text, line := c.data, c.line
	for len(text) > 0 && t.out.Rows <= MaxTable {
		record, size, state := csvtext.Cut(text)
		text = text[size:]
		if record = strings.TrimSuffix(record, "\r"); strings.TrimSpace(record) != "" {
			t.out.Rows++
			err := t.split.split(record, state)
			if err == nil && !utf8.ValidString(record) {
				err = &quantity.Error{Field: "line", Value: shorten(strings.ToValidUTF8(record, "?")), Message: "is not UTF-8 text", Mend: "save the file as CSV UTF-8"}
			}
			if err == nil {
				err = row()
			}
			if err != nil {
				t.out.Faults = append(t.out.Faults, Fault{t.name, line, asInput(err)})
			} else {
				t.out.Lines = append(t.out.Lines, line)
			}
		}
		line++
		if state == csvtext.Quoted {
			line += strings.Count(record, "\n")
		}
	}
}

// fill reads the cells of one record into both structs.
func (t *table) fill(into [2]reflect.Value) error {
	for i, cell := range t.split.cells {
		cell = strings.TrimSpace(cell)
		for side, p := range t.places[i] {
			if p.field == nil {
				continue
			}
			if cell == "" {
				if side == 0 && p.field.Required {
					return &quantity.Error{Field: t.names[i], Message: "is empty", Mend: p.field.Help}
				}
				continue
			}
			if err := t.put(into[side].Field(p.index), p, t.names[i], cell); err != nil {
				return err
			}
		}
	}
	return nil
}

func (t *table) put(field reflect.Value, p place, name, cell string) error {
	if field.Kind() == reflect.Pointer {
		field.Set(reflect.New(field.Type().Elem()))
		field = field.Elem()
	}
	if t.split.columns.comma != ',' && strings.IndexByte(cell, ',') >= 0 && strings.IndexByte(cell, '.') < 0 && field.Kind() == reflect.Float64 {
		cell = strings.Replace(cell, ",", ".", 1)
	}
	switch {
	case p.field.Kind != nil:
		v, err := calc.ParseField(p.field, p.unit, cell)
		if err != nil {
			return quantity.In(name, err)
		}
		field.SetFloat(v)
		return nil
	case field.Kind() == reflect.Float64:
		v, err := calc.ParseNumber(cell)
		if err != nil {
			return quantity.In(name, err)
		}
		field.SetFloat(v)
		return nil
	case field.Kind() == reflect.String && field.Type() != reflect.TypeFor[string](): // a name keeps its spelling
		field.SetString(cell)
		return nil
	}
	return putWord(field, name, cell)
}

// inColumn names the column as the file spells it.
func (t *table) inColumn(err error) error {
	if err == nil {
		return nil
	}
	e := asInput(err)
	for i, p := range t.places {
		for _, side := range p {
			if side.field != nil && side.field.Name == e.Field && t.names[i] != e.Field {
				named := *e
				named.Field = t.names[i]
				return &named
			}
		}
	}
	return e
}
