package batch

import (
	"reflect"
	"strconv"
	"strings"

	"ullage/core/calc"
	"ullage/core/quantity"
)

// columns is what the header says.
type columns struct {
	comma byte
	id    int // column of the id, -1 without one
	cells []*calc.Field
	units []quantity.Unit
	names []string
}

// readHeader finds the field and unit of each column. Columns are separated by
// comma, semicolon or tab, whichever the header has.
func readHeader(header string, note func(string)) (*columns, error) {
	c := &columns{comma: ',', id: -1}
	switch {
	case strings.Contains(header, ";"):
		c.comma = ';'
	case strings.Contains(header, "\t") && !strings.Contains(header, ","):
		c.comma = '\t'
	}
	spec, err := calc.Find("tpo")
	if err != nil {
		return nil, err
	}
	taken, known := map[string]string{}, 0
	var unused []string
	for i, cell := range strings.Split(header, string(c.comma)) {
		name := strings.ToLower(strings.TrimSpace(strings.Trim(strings.TrimSpace(cell), `"`)))
		c.names = append(c.names, name)
		f, unit, ok := calc.Match(spec.Fields, name)
		if ok && !usable(f) {
			ok = false
		}
		c.cells, c.units = append(c.cells, nil), append(c.units, unit)
		switch {
		case name == "id" && c.id < 0:
			c.id = i
		case !ok:
			unused = append(unused, name)
		case taken[f.Name] != "":
			return nil, &quantity.Error{Field: name, Message: "says the same as column " + taken[f.Name], Mend: "keep one of them"}
		default:
			taken[f.Name], c.cells[i] = name, f
			known++
		}
	}
	if known == 0 {
		return nil, &quantity.Error{Field: "header", Value: shorten(header), Message: "names no known column",
			Mend: "begin the file with a line such as id,temperature_c,gross_g,tare_g,capacity_ml,sg,shaken_do_ppb"}
	}
	if len(unused) > 0 && note != nil {
		note("not used: " + strings.Join(unused, ", "))
	}
	return c, nil
}

// usable tells which fields a cell can hold: quantities, words, counts, flags.
func usable(f *calc.Field) bool {
	switch f.Name {
	case "corrections", "u", "u_names", "uncertainty", "trials", "explain":
		return false
	}
	return true
}

// row is the input of one package, filled again and again. Each column has its
// place in the input; an empty cell leaves the default there.
type row struct {
	input    calc.TPOInput
	defaults reflect.Value
	fields   []reflect.Value // of input, by column
	own      []reflect.Value // pointer to the column's own number
	set      []bool          // the field holds own, not the default
}

func newRow(c *columns, defaults *calc.TPOInput) *row {
	r := &row{input: *defaults, defaults: reflect.ValueOf(defaults).Elem(), set: make([]bool, len(c.cells))}
	in := reflect.ValueOf(&r.input).Elem()
	for _, f := range c.cells {
		if f == nil {
			r.fields, r.own = append(r.fields, reflect.Value{}), append(r.own, reflect.Value{})
			continue
		}
		field := in.Field(f.Index())
		r.fields = append(r.fields, field)
		if field.Kind() == reflect.Pointer {
			r.own = append(r.own, reflect.New(field.Type().Elem()))
		} else {
			r.own = append(r.own, reflect.New(field.Type()))
		}
	}
	return r
}

// put reads one cell into its field.
func (r *row) put(c *columns, i int, cell string) error {
	f := c.cells[i]
	if cell == "" {
		if r.set[i] {
			r.set[i] = false
			r.fields[i].Set(r.defaults.Field(f.Index()))
		}
		return nil
	}
	field := r.fields[i]
	if f.Kind == nil {
		r.set[i] = true
		return putWord(field, c.names[i], cell)
	}
	if c.comma != ',' && strings.IndexByte(cell, ',') >= 0 && strings.IndexByte(cell, '.') < 0 {
		cell = strings.Replace(cell, ",", ".", 1)
	}
	v, err := calc.ParseField(f, c.units[i], cell)
	if err != nil {
		return quantity.In(c.names[i], err)
	}
	r.own[i].Elem().SetFloat(v)
	if !r.set[i] {
		r.set[i] = true
		field.Set(r.own[i])
	}
	return nil
}

func putWord(field reflect.Value, name, cell string) error {
	switch field.Kind() {
	case reflect.String:
		field.SetString(strings.ToLower(cell))
	case reflect.Int:
		n, err := strconv.Atoi(cell)
		if err != nil {
			return &quantity.Error{Field: name, Value: cell, Message: "is no whole number", Mend: "write for example 10"}
		}
		field.SetInt(int64(n))
	case reflect.Bool:
		switch strings.ToLower(cell) {
		case "true", "yes", "1":
			field.SetBool(true)
		case "false", "no", "0":
			field.SetBool(false)
		default:
			return &quantity.Error{Field: name, Value: cell, Message: "is neither yes nor no", Mend: "write yes or no"}
		}
	}
	return nil
}

func shorten(s string) string {
	if len(s) > 80 {
		return strings.ToValidUTF8(s[:80], "") + "…"
	}
	return s
}
