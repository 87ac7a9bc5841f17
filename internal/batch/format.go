package batch

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"

	"ullage/core/calc"
)

// Format of the results.
type Format int

const (
	Text Format = iota // a table to read
	CSV
	JSON // an array, one object a line
)

// Columns of the CSV output, in order; JSON uses the same names.
const Columns = "id,beer_ml,headspace_ml,partition_ratio,tpo_ppb,tpo_u_ppb,tpo_low95_ppb,tpo_high95_ppb,oxygen_ug,headspace_share,warnings,path"

func (f Format) head() []byte {
	switch f {
	case CSV:
		return []byte(Columns + "\n")
	case JSON:
		return []byte("[")
	}
	return fmt.Appendf(nil, "%-14s %9s %9s %9s %9s  %-17s %5s  %s\n", "id", "beer mL", "gas mL", "TPO ppb", "± (95 %)", "95 % interval", "gas %", "odd")
}

// first drops the separator before the first object of an array.
func (f Format) first(text []byte) []byte {
	if f == JSON && len(text) > 0 {
		return text[1:]
	}
	return text
}

func (f Format) foot() []byte {
	if f == JSON {
		return []byte("\n]\n")
	}
	return nil
}

// Row appends one result in a format.
func Row(b []byte, f Format, id string, r *calc.TPOResult, w []calc.Warning) []byte {
	switch f {
	case CSV:
		return csvRow(b, id, r, w)
	case JSON:
		return jsonRow(b, id, r, w)
	}
	return textRow(b, id, r, w)
}

func csvRow(b []byte, id string, r *calc.TPOResult, w []calc.Warning) []byte {
	b = append(csvCell(b, id), ',')
	b = append(fixed(b, r.Beer, 4), ',')
	b = append(fixed(b, r.Headspace, 4), ',')
	b = append(fixed(b, r.PartitionRatio, 5), ',')
	b = append(fixed(b, r.TPO, 4), ',')
	if r.U > 0 {
		b = append(fixed(b, r.U, 4), ',')
		b = append(fixed(b, r.Low95, 4), ',')
		b = append(fixed(b, r.High95, 4), ',')
	} else {
		b = append(b, ",,,"...)
	}
	b = append(fixed(b, r.Oxygen, 4), ',')
	b = append(fixed(b, r.HeadspaceShare, 6), ',')
	b = append(codes(b, w), ',')
	b = append(b, r.Path...)
	return append(b, '\n')
}

// csvCell quotes a cell where CSV needs it.
func csvCell(b []byte, s string) []byte {
	if !strings.ContainsAny(s, ",\"\r\n") {
		return append(b, s...)
	}
	b = append(b, '"')
	b = append(b, strings.ReplaceAll(s, `"`, `""`)...)
	return append(b, '"')
}

func codes(b []byte, w []calc.Warning) []byte {
	for i := range w {
		if i > 0 {
			b = append(b, ' ')
		}
		b = append(b, w[i].Code...)
	}
	return b
}

func jsonRow(b []byte, id string, r *calc.TPOResult, w []calc.Warning) []byte {
	text, _ := json.Marshal(id)
	b = append(append(b, ",\n{\"id\":"...), text...)
	number := func(name string, v float64) {
		b = append(append(append(b, `,"`...), name...), `":`...)
		b = strconv.AppendFloat(b, v, 'g', -1, 64)
	}
	number("beer_ml", r.Beer)
	number("headspace_ml", r.Headspace)
	number("partition_ratio", r.PartitionRatio)
	number("tpo_ppb", r.TPO)
	if r.U > 0 {
		number("tpo_u_ppb", r.U)
		number("tpo_low95_ppb", r.Low95)
		number("tpo_high95_ppb", r.High95)
	}
	number("oxygen_ug", r.Oxygen)
	number("headspace_share", r.HeadspaceShare)
	if len(w) == 0 {
		b = append(b, `,"warnings":[]`...)
	} else {
		text, _ := json.Marshal(w)
		b = append(append(b, `,"warnings":`...), text...)
	}
	return append(append(append(b, `,"path":"`...), r.Path...), `"}`...)
}

func textRow(b []byte, id string, r *calc.TPOResult, w []calc.Warning) []byte {
	half, interval := "", ""
	if r.U > 0 {
		half = Digits((r.High95-r.Low95)/2, r.U)
		interval = Digits(r.Low95, r.U) + " to " + Digits(r.High95, r.U)
	}
	b = fmt.Appendf(b, "%-14s %9.2f %9.2f %9s %9s  %-17s %5.0f  ", id, r.Beer, r.Headspace, Digits(r.TPO, r.U), half, interval, 100*r.HeadspaceShare)
	return append(codes(b, w), '\n')
}

// Digits prints a value to the digits that its standard uncertainty justifies:
// two significant ones of u, no more than three decimals.
func Digits(v, u float64) string {
	decimals := 1
	if u > 0 {
		decimals = min(max(1-int(math.Floor(math.Log10(u))), 0), 3)
	}
	return strconv.FormatFloat(v, 'f', decimals, 64)
}

// fixed prints with so many decimals. strconv takes the slow exact way for a
// fixed number of decimals; integers are enough up to 2^53.
func fixed(b []byte, v float64, decimals int) []byte {
	scale := powers[decimals]
	scaled := math.Round(v * scale)
	if !(math.Abs(scaled) < 1<<53) {
		return strconv.AppendFloat(b, v, 'f', decimals, 64)
	}
	n := int64(scaled)
	if n < 0 {
		b, n = append(b, '-'), -n
	}
	var text [24]byte
	at := len(text)
	for left := decimals; n > 0 || left >= 0; left-- {
		at--
		text[at] = byte('0' + n%10)
		n /= 10
		if left == 1 {
			at--
			text[at] = '.'
		}
	}
	return append(b, text[at:]...)
}

var powers = [...]float64{1, 10, 100, 1e3, 1e4, 1e5, 1e6}
