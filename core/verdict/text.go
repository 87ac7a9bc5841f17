package verdict

import (
	"math"
	"strconv"
	"time"

	"ullage/core/quantity"
)

func parse(s string) (float64, error) { return strconv.ParseFloat(s, 64) }

// number prints a figure in ppb for people: three digits, no exponent.
func number(v float64) string {
	switch a := math.Abs(v); {
	case a == 0 || math.IsNaN(v) || math.IsInf(v, 0):
		return strconv.FormatFloat(v, 'g', 4, 64)
	case a < 1:
		return strconv.FormatFloat(v, 'g', 2, 64)
	case a < 10:
		return strconv.FormatFloat(v, 'f', 1, 64)
	}
	return quantity.Parted(strconv.FormatFloat(v, 'f', 0, 64))
}

func stamp(t time.Time) string { return t.Format(time.RFC3339) }

func clock(t time.Time) string { return t.Format("15:04") }

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// largest is where a limit of an interval counts as unknown: no package holds
// more oxygen, and JSON has no infinity.
const largest = 1e9

func bounded(v float64) float64 { return math.Max(-largest, math.Min(largest, v)) }
