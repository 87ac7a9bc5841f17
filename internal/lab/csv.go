package lab

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"io"
	"reflect"
	"strconv"
	"strings"
)

// exportCSV writes the current records of a kind, one row each. Nested fields
// become columns with a dot; lists and maps stay JSON text.
func (s *Service) exportCSV(ctx context.Context, w io.Writer, k Kind) error {
	out := csv.NewWriter(w)
	columns := columnsOf(reflect.TypeOf(New(k)).Elem(), "")
	names := make([]string, len(columns))
	for i, c := range columns {
		names[i] = c.name
	}
	if err := out.Write(names); err != nil {
		return err
	}
	revs, err := s.all(ctx, Query{Kind: k})
	if err != nil {
		return err
	}
	row := make([]string, len(columns))
	for _, rev := range revs {
		r := New(k)
		if err := json.Unmarshal(rev.Body, r); err != nil {
			return err
		}
		for i, c := range columns {
			row[i] = cell(reflect.ValueOf(r).Elem(), c.index)
		}
		if err := out.Write(row); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

type column struct {
	name  string
	index []int
}

var timeType = reflect.TypeFor[Time]()

func columnsOf(t reflect.Type, prefix string) []column {
	var out []column
	for i := range t.NumField() {
		f := t.Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		in := f.Type
		if in.Kind() == reflect.Pointer {
			in = in.Elem()
		}
		if in.Kind() != reflect.Struct || in == timeType {
			out = append(out, column{prefix + name, []int{i}})
			continue
		}
		under := prefix + name + "."
		if f.Anonymous {
			under = prefix
		}
		for _, c := range columnsOf(in, under) {
			out = append(out, column{c.name, append([]int{i}, c.index...)})
		}
	}
	return out
}

// cell prints one value; what is missing is empty.
func cell(v reflect.Value, index []int) string {
	for _, i := range index {
		if v.Kind() == reflect.Pointer {
			if v.IsNil() {
				return ""
			}
			v = v.Elem()
		}
		v = v.Field(i)
	}
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return ""
		}
		v = v.Elem()
	}
	switch x := v.Interface().(type) {
	case Time:
		if x.IsZero() {
			return ""
		}
		return x.Format("2006-01-02T15:04:05.000Z07:00")
	case float64:
		return strconv.FormatFloat(x, 'f', -1, 64)
	case bool:
		return strconv.FormatBool(x)
	}
	switch v.Kind() {
	case reflect.String:
		return GuardCell(v.String())
	case reflect.Int, reflect.Int64:
		return strconv.FormatInt(v.Int(), 10)
	}
	if v.Len() == 0 {
		return ""
	}
	text, err := json.Marshal(v.Interface())
	if err != nil {
		return ""
	}
	return GuardCell(string(text))
}

// GuardCell puts an apostrophe before text that a spreadsheet would run as a
// formula. Numbers stay as they are.
func GuardCell(s string) string {
	if s == "" || !strings.ContainsAny(firstRune(s), "=+-@\t\r\n＝＋－＠") {
		return s
	}
	if _, err := strconv.ParseFloat(s, 64); err == nil {
		return s
	}
	return "'" + s
}

func firstRune(s string) string {
	for _, r := range s {
		return string(r)
	}
	return ""
}
