package lab

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
)

// checker collects every fault of a record, so that all are reported at once.
type checker struct{ faults []Fault }

func (c *checker) add(field string, value any, message, mend string) {
	c.faults = append(c.faults, Fault{field, value, message, mend})
}

func (c *checker) err() error {
	if len(c.faults) == 0 {
		return nil
	}
	return &Error{Class: Invalid, Faults: c.faults}
}

const (
	maxName = 200
	maxText = 4000
)

func (c *checker) name(field, v string) {
	if strings.TrimSpace(v) == "" {
		c.add(field, nil, "is empty", "give it a name")
	}
	c.length(field, v, maxName)
}

func (c *checker) text(field, v string) { c.length(field, v, maxText) }

func (c *checker) length(field, v string, limit int) {
	if len(v) > limit {
		c.add(field, fmt.Sprintf("%.20s… (%d bytes)", v, len(v)), "is too long", fmt.Sprintf("keep it under %d bytes", limit))
	}
}

func (c *checker) oneOf(field, v string, allowed ...string) {
	if slices.Contains(allowed, v) {
		return
	}
	var shown any
	if v != "" {
		shown = v
	}
	c.add(field, shown, "is not one of the choices", "use "+strings.Join(allowed, ", "))
}

// within checks a number that may be missing against what is possible at all.
func (c *checker) within(field string, v *float64, lo, hi float64, unit string) {
	if v == nil {
		return
	}
	if math.IsNaN(*v) || math.IsInf(*v, 0) || *v < lo || *v > hi {
		c.add(field, *v, fmt.Sprintf("cannot be outside %g to %g %s", lo, hi, unit), "check the value and its unit")
	}
}

func (c *checker) count(field string, v, lo, hi int) {
	if v < lo || v > hi {
		c.add(field, v, fmt.Sprintf("cannot be outside %d to %d", lo, hi), "check the number")
	}
}

func (c *checker) needNum(field string, v *float64) {
	if v == nil {
		c.add(field, nil, "is missing", "give the number")
	}
}

func (c *checker) needTime(field string, t Time) {
	if t.IsZero() {
		c.add(field, nil, "is missing", "give the time, like 2026-11-05T09:40:00Z")
	}
}

func (c *checker) year(field string, t Time) {
	if !t.IsZero() && (t.Year() < 1990 || t.Year() > 2200) {
		c.add(field, t.Format(time.RFC3339), "cannot be right", "set the device's clock or correct the date")
	}
}

func (c *checker) date(field, v string) {
	if v == "" {
		return
	}
	if _, err := time.Parse(time.DateOnly, v); err != nil {
		c.add(field, v, "is not a date", "write it like 2026-11-05")
	}
}

func (c *checker) id(field, v string, must bool) {
	if v == "" {
		if must {
			c.add(field, nil, "is missing", "give the id")
		}
		return
	}
	u, err := uuid.Parse(v)
	if err != nil || len(v) != 36 || v != strings.ToLower(v) {
		c.add(field, v, "is not a UUID", "use a UUIDv7 in lower case with hyphens")
	} else if u.Version() != 7 {
		c.add(field, v, fmt.Sprintf("is a UUID of version %d", u.Version()), "use version 7")
	}
}

// Check reports everything that cannot be true of a record by itself.
func Check(r Record) error {
	c := &checker{}
	m := r.Base()
	c.id("id", m.ID, true)
	c.length("by", m.By, maxName)
	c.length("device_id", m.DeviceID, maxName)
	c.length("reason", m.Reason, 2000)
	c.year("device_at", m.DeviceAt)
	for _, ref := range r.Refs() {
		c.id(ref.Field, ref.ID, ref.Must)
	}
	r.check(c)
	return c.err()
}

// Num gives a pointer to x, for optional numbers.
func Num(x float64) *float64 { return &x }
