package ingest

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// unitLook is a proposed unit, and whether a person has to confirm it.
type unitLook struct {
	unit, why string
	ask       bool
}

// lookUnit proposes the unit of a column. Only a unit that the header or the
// cells name, and that the values bear out, is taken without asking.
func lookUnit(f *field, header string, cells []string, decimal string) unitLook {
	named := headerUnit(f, header)
	var values []float64
	own := 0
	for _, c := range cells {
		digits, unit, err := number(c, decimal)
		if err != nil {
			continue
		}
		if unitNamed(f, strings.ToLower(unit)) != "" {
			own++
			continue
		}
		if v, err := strconv.ParseFloat(digits, 64); err == nil {
			values = append(values, v)
		}
	}
	if own > 0 && len(values) == 0 {
		if named == "" {
			named = f.units[0]
		}
		return unitLook{unit: named, why: "each cell names its unit"}
	}
	if len(f.units) == 1 {
		return unitLook{unit: f.units[0], why: "it has one unit"}
	}
	if len(values) == 0 {
		if named == "" {
			return unitLook{unit: f.units[0], why: "the column is empty"}
		}
		return unitLook{unit: named, why: "the header says " + named}
	}
	slices.Sort(values)
	typical := values[len(values)/2]
	shown := strconv.FormatFloat(typical, 'g', 4, 64)
	usual := f.usual(typical)
	switch {
	case named != "" && (len(usual) == 0 || f.isUsual(typical, named)):
		return unitLook{unit: named, why: "the header says " + named}
	case named != "":
		return unitLook{unit: usual[0], ask: true, why: fmt.Sprintf("the header says %s, but a typical value is %s: usual for %s in %s", named, shown, f.name, usual[0])}
	case len(usual) == 0:
		return unitLook{unit: f.units[0], ask: true, why: fmt.Sprintf("no unit is named, and a typical value of %s is unusual in every unit", shown)}
	case len(usual) > 1:
		return unitLook{unit: usual[0], ask: true, why: fmt.Sprintf("no unit is named; a typical value of %s would be usual in %s", shown, strings.Join(usual, " and in "))}
	}
	return unitLook{unit: usual[0], ask: true, why: fmt.Sprintf("no unit is named; a typical value of %s is usual in %s", shown, usual[0])}
}

func (f *field) isUsual(number float64, unit string) bool {
	v, err := f.kind.Parse(strconv.FormatFloat(number, 'g', -1, 64) + " " + unit)
	return err == nil && v >= f.band[0] && v <= f.band[1]
}

// usual lists the units in which a number is a usual value of the field. Two
// names of one unit count once.
func (f *field) usual(number float64) (list []string) {
	seen := map[float64]bool{}
	text := strconv.FormatFloat(number, 'g', -1, 64)
	for _, u := range f.units {
		v, err := f.kind.Parse(text + " " + u)
		if err == nil && v >= f.band[0] && v <= f.band[1] && !seen[v] {
			seen[v] = true
			list = append(list, u)
		}
	}
	return list
}
