package calc

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"reflect"
	"strconv"
	"strings"

	"ullage/core/quantity"
	"ullage/core/stats"
)

// maxStudyRows is the most rows one study takes.
const maxStudyRows = 20_000

// Rows are the readings of a study. Each is read as an input of its own: a
// number in the unit of its name's suffix, another suffix converts, and an
// unknown field is refused with the place of its row.
type Rows[T any] []T

func (r *Rows[T]) UnmarshalJSON(text []byte) error {
	var list []json.RawMessage
	if json.Unmarshal(text, &list) != nil || list == nil {
		return &quantity.Error{Value: clip(text), Message: "is not a list of rows", Mend: `write [{"id": "1", …}, …]`}
	}
	if len(list) > maxStudyRows {
		return refuse("", float64(len(list)), fmt.Sprintf("rows are more than %d", maxStudyRows), "split the study")
	}
	fields := FieldsOf[T]()
	out := make([]T, len(list))
	for i, row := range list {
		given, err := members(row)
		if err == nil {
			err = decode(fields, given, reflect.ValueOf(&out[i]).Elem())
		}
		if err != nil {
			return inRow(i, err)
		}
	}
	*r = out
	return nil
}

// FieldsOf lists the fields of a row, for doors that read tables.
func FieldsOf[T any]() []Field { return fieldsOf(reflect.TypeFor[T]()) }

func clip(text []byte) string {
	if len(text) > 60 {
		return strings.ToValidUTF8(string(text[:60]), "") + "…"
	}
	return string(text)
}

// tooFewRows refuses a study with fewer rows than it needs.
func tooFewRows(have, need int) error {
	return refuse("rows", float64(have), "rows are fewer than the "+strconv.Itoa(need)+" needed", "add readings")
}

// statsError turns a refusal of core/stats, which knows lists alone, into one
// of the table.
func statsError(field string, err error) error {
	var e *stats.Error
	if !errors.As(err, &e) {
		return err
	}
	return &quantity.Error{Field: field, Value: e.Value, Message: e.Message, Mend: e.Mend}
}

// usable refuses numbers that no instrument shows.
func usable(field string, v float64) error {
	if math.IsNaN(v) || math.Abs(v) > 1e12 || v != 0 && math.Abs(v) < 1e-12 {
		return refuse(field, v, "is not a usable number", "type it again")
	}
	return nil
}

// valueOr is the number of a field that may be left out.
func valueOr[Q ~float64](q *Q, otherwise float64) float64 {
	if q == nil {
		return otherwise
	}
	return float64(*q)
}

// IndexOf is the place of a field in the struct of its row.
func IndexOf(f *Field) int { return f.index }

// ParseNumber reads a number without a unit.
func ParseNumber(cell string) (float64, error) {
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil || !plainNumber(cell) || math.IsInf(v, 0) {
		return 0, &quantity.Error{Value: cell, Message: "is not a number", Mend: "write for example 12.5"}
	}
	return v, nil
}
