package ingest

import (
	"strings"

	"ullage/core/quantity"
)

// cellFault is what is wrong with one cell's text.
type cellFault struct{ message, mend string }

func (e *cellFault) Error() string { return e.message + "; " + e.mend }

// nothing is what people write where there is no value.
func nothing(cell string) bool {
	switch strings.ToLower(cell) {
	case "", "-", "--", "---", "–", "—", "n/a", "na", "n.a.", "nan", "null", "none", "nil", "?", ".", "/":
		return true
	}
	return false
}

var marks = strings.NewReplacer("\u2212", "-", "\u00a0", " ", "\u202f", " ", "\u2009", " ", "’", "'")

// number splits a cell into a number with a decimal point and the unit written
// behind it, if any. decimal is the mark the file uses.
func number(cell, decimal string) (digits, unit string, err error) {
	text := strings.TrimSpace(marks.Replace(cell))
	switch {
	case sheetError(text):
		return "", "", &cellFault{"is an error of the spreadsheet", "correct the formula, or empty the cell"}
	case strings.HasPrefix(text, "<"), strings.HasPrefix(text, ">"), strings.HasPrefix(text, "≤"), strings.HasPrefix(text, "≥"):
		return "", "", &cellFault{"says only above or below", "enter what the meter showed, or empty the cell"}
	}
	cut := len(text)
	for i, r := range text {
		if (r < '0' || r > '9') && !strings.ContainsRune("+-.,' ", r) && !exponent(text, i) {
			cut = i
			break
		}
	}
	digits, unit = strings.TrimSpace(text[:cut]), strings.TrimSpace(text[cut:])
	if !strings.ContainsAny(digits, "0123456789") {
		return "", "", &cellFault{"is not a number", "write digits, such as 48" + decimalMark(decimal) + "5"}
	}
	digits, err = plain(digits, decimal)
	return digits, unit, err
}

func decimalMark(d string) string {
	if d == "," {
		return ","
	}
	return "."
}

func exponent(s string, i int) bool {
	if s[i] != 'e' && s[i] != 'E' || i == 0 || i+1 >= len(s) {
		return false
	}
	rest := strings.TrimLeft(s[i+1:], "+-")
	return rest != "" && rest[0] >= '0' && rest[0] <= '9' && s[i-1] >= '0' && s[i-1] <= '9'
}

// plain takes the thousands marks out and makes the decimal mark a point. What
// could be read two ways is refused.
func plain(s, decimal string) (string, error) {
	if strings.IndexByte(s, ' ') < 0 && strings.IndexByte(s, ',') < 0 && strings.IndexByte(s, '\'') < 0 && decimal != "," {
		return s, nil
	}
	whole, fraction, thousand := s, "", ","
	if decimal == "," {
		thousand = "."
	}
	if i := strings.LastIndex(s, decimalMark(decimal)); i >= 0 {
		whole, fraction = s[:i], "."+s[i+1:]
	}
	for _, mark := range []string{thousand, " ", "'"} {
		if fraction != "" && strings.Contains(fraction[1:], mark) {
			return "", &cellFault{"has its decimal and thousands marks the other way round", "choose the other decimal mark, or correct the cell"}
		}
		groups := strings.Split(whole, mark)
		if len(groups) == 1 {
			continue
		}
		if mark == thousand && fraction == "" && len(groups) == 2 {
			if len(groups[1]) == 3 {
				return "", &cellFault{"can be read two ways", "write it without a thousands mark: " + strings.Join(groups, "") + " or " + strings.Join(groups, decimalMark(decimal))}
			}
			return "", &cellFault{"has another decimal mark than the file", "choose the other decimal mark, or correct the cell"}
		}
		for i, g := range groups {
			if i > 0 && len(g) != 3 || g == "" {
				return "", &cellFault{"is not one number", "put each value into a cell of its own"}
			}
		}
		whole = strings.Join(groups, "")
	}
	return whole + fraction, nil
}

// value reads a cell into the base unit of a kind. A unit written in the cell
// goes before the column's.
func value(k *quantity.Kind, cell, decimal, unit string) (float64, error) {
	digits, own, err := number(cell, decimal)
	if err != nil {
		return 0, err
	}
	if own != "" {
		unit = own
	}
	text := digits
	if unit != "" {
		text += " " + unit
	}
	v, err := k.Parse(text)
	if e, ok := err.(*quantity.Error); ok {
		return 0, &cellFault{e.Message, e.Mend}
	}
	return v, err
}
