package quantity

import (
	"math"
	"strconv"
	"strings"
)

// Figure writes a value of any unit to as many digits as a reading has.
func Figure(v float64) string {
	switch a := math.Abs(v); {
	case a >= 100 || v == math.Trunc(v) && a < 1e15:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case a >= 10:
		return strings.TrimSuffix(strconv.FormatFloat(v, 'f', 1, 64), ".0")
	case a >= 0.001:
		return strconv.FormatFloat(v, 'g', 3, 64)
	}
	return strconv.FormatFloat(v, 'g', 2, 64)
}

// Signed is Figure with its sign always shown.
func Signed(v float64) string {
	if v < 0 {
		return "−" + Figure(-v)
	}
	return "+" + Figure(v)
}
