package stats

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Error is refused data: the field, what stood in it, why it was refused and
// the mend.
type Error struct {
	Field   string `json:"field,omitempty"`
	Value   string `json:"value,omitempty"`
	Message string `json:"message"`
	Mend    string `json:"mend,omitempty"`
}

func (e *Error) Error() string {
	var b strings.Builder
	if e.Field != "" {
		b.WriteString(e.Field + ": ")
	}
	if e.Value != "" {
		b.WriteString(strconv.Quote(e.Value) + " ")
	}
	b.WriteString(e.Message)
	if e.Mend != "" {
		b.WriteString("; " + e.Mend)
	}
	return b.String()
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

func refuse(field string, v float64, message, mend string) *Error {
	return &Error{Field: field, Value: number(v), Message: message, Mend: mend}
}

func tooFew(field string, have, need int) *Error {
	return &Error{
		Field: field, Value: strconv.Itoa(have),
		Message: fmt.Sprintf("too few values: %d, at least %d are needed", have, need),
		Mend:    "add values",
	}
}

func noSpread(field string, v float64) *Error {
	return refuse(field, v, "all values are equal, so there is no spread to judge by",
		"record more digits, or check that the values are separate readings")
}

// No quantity of a laboratory lies outside; inside, squares and ratios stay finite.
const (
	largest  = 1e30
	smallest = 1e-30
)

// checkValues refuses fewer than need values, and any that is not a usable number.
func checkValues(field string, x []float64, need int) error {
	if len(x) < need {
		return tooFew(field, len(x), need)
	}
	for i, v := range x {
		if err := checkFinite(fmt.Sprintf("%s[%d]", field, i), v); err != nil {
			return err
		}
	}
	return nil
}

func checkFinite(field string, v float64) error {
	if math.IsNaN(v) || math.Abs(v) > largest || (v != 0 && math.Abs(v) < smallest) {
		return refuse(field, v, "not a usable number", "leave the reading out or type it again")
	}
	return nil
}

// checkInside refuses v outside the open interval (low, high).
func checkInside(field string, v, low, high float64) error {
	if !(v > low && v < high) {
		return refuse(field, v, "out of range",
			fmt.Sprintf("give a number between %s and %s", number(low), number(high)))
	}
	return nil
}

// checkResult refuses an answer that has run out of the range of numbers, as the
// far limits of few and very scattered values on the log scale do.
func checkResult(values ...float64) error {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return refuse("x", v, "the values scatter too much for a limit at this level",
				"check the units, add values, or ask for a lower level")
		}
	}
	return nil
}

// checkProbability refuses levels and risks that are no probability, or so near
// 0 or 1 that no quantile is left.
func checkProbability(field string, p float64) error {
	return checkInside(field, p, 1e-12, 1-1e-12)
}

func checkSigma(field string, v float64) error {
	if !(v > smallest && v < largest) {
		return refuse(field, v, "a standard deviation must be above 0", "give a number above 0")
	}
	return nil
}
