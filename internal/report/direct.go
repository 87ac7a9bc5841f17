package report

import (
	"fmt"

	"ullage/internal/lab"
)

// ways counts the packages whose TPO that counts was read directly, and those
// for which it was calculated.
func (d *Data) ways() (direct, calculated int) {
	for i := range d.Samples {
		s := &d.Samples[i]
		if v, _ := tpoOf(s); v <= 0 || d.setAside(s) {
			continue
		}
		if s.Result.IsDirect() {
			direct++
		} else {
			calculated++
		}
	}
	return direct, calculated
}

// wayWord says how the TPO of the run was found.
func (d *Data) wayWord() string {
	switch direct, calculated := d.ways(); {
	case direct == 0:
		return "calculated"
	case calculated == 0:
		return "read directly"
	default:
		return fmt.Sprintf("%d read directly and %d calculated", direct, calculated)
	}
}

// directText says what was read directly; empty where nothing was.
func (d *Data) directText() string {
	direct, calculated := d.ways()
	pairs, sum := 0, 0.0
	for i := range d.Samples {
		a, b := d.Samples[i].ByMethod(lab.Calculated), d.Samples[i].ByMethod(lab.Direct)
		if a != nil && b != nil {
			pairs, sum = pairs+1, sum+*a.TPOPpb-*b.TPOPpb
		}
	}
	out := ""
	if direct > 0 {
		out = fmt.Sprintf("TPO of %d of %d packages read directly", direct, direct+calculated)
	}
	if pairs > 0 {
		which := "the direct reading counts"
		if d.Run.InForce.TPOBy == lab.Calculated {
			which = "the calculated figure counts"
		}
		if out != "" {
			out += "; "
		}
		out += fmt.Sprintf("%d read both ways, %s: calculated − direct %s ppb in the mean", pairs, which, digits(sum/float64(pairs), 0))
	}
	return out
}

// bothWays names both figures of a package that was read both ways.
func bothWays(s *lab.Sample) string {
	a, b := s.ByMethod(lab.Calculated), s.ByMethod(lab.Direct)
	if a == nil || b == nil {
		return ""
	}
	return fmt.Sprintf("calculated %s ppb, read directly %s ppb", digits(*a.TPOPpb, value(a.TPOUPpb)), digits(*b.TPOPpb, value(b.TPOUPpb)))
}
