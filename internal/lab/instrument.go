package lab

import "math"

// The kinds of instrument.
const (
	DOMeter     = "do_meter"
	Scale       = "scale"
	Thermometer = "thermometer"
	Barometer   = "barometer"
	TPOMeter    = "tpo_meter"
)

// Instrument is what reads, with what is known of its error. Its own unit is
// ppb, g, °C or kPa.
type Instrument struct {
	Meta
	Name             string      `json:"name" maxLength:"200"`
	InstrumentKind   string      `json:"kind" enum:"do_meter,scale,thermometer,barometer,tpo_meter" doc:"tpo_meter reads total package oxygen directly"`
	RangeLow         *float64    `json:"range_low,omitempty" doc:"lowest reading it is meant for, own unit"`
	RangeHigh        *float64    `json:"range_high,omitempty"`
	Resolution       *float64    `json:"resolution,omitempty" doc:"smallest step shown: ppb, g, °C or kPa"`
	UAbs             *float64    `json:"u_abs,omitempty" doc:"standard uncertainty, constant part: ppb, g, °C or kPa"`
	URel             *float64    `json:"u_rel,omitempty" doc:"standard uncertainty, proportional part, as a fraction"`
	UDrift           *float64    `json:"u_drift,omitempty" doc:"standard uncertainty that grows in 30 days since the last passed check, own unit"`
	SensorReplacedAt Time        `json:"sensor_replaced_at,omitzero" doc:"when sensor, cap or membrane was renewed"`
	SensorLifeDays   *float64    `json:"sensor_life_days,omitempty" doc:"how long one usually lasts"`
	Purchase         string      `json:"purchase,omitempty" maxLength:"4000" doc:"when and where bought, what the next one should be"`
	CheckEveryDays   *float64    `json:"check_every_days,omitempty" doc:"any check, at least so often"`
	Checks           []CheckPlan `json:"checks,omitempty" doc:"limit and date of single checks, instead of common practice"`
	LastCheckedAt    Time        `json:"last_checked_at,omitzero"`
	Note             string      `json:"note,omitempty" maxLength:"4000"`
}

// CheckPlan is how one check of an instrument is judged, and how often it is due.
type CheckPlan struct {
	Against   string   `json:"against" enum:"zero,air,response,meter,mass,ice,reference,other"`
	Limit     *float64 `json:"limit,omitempty" doc:"of the difference, in the unit of the check: ppb, g, °C, kPa; air: % of the expected reading; response: seconds at most"`
	EveryDays *float64 `json:"every_days,omitempty"`
}

// Kind names the collection.
func (*Instrument) Kind() Kind { return KindInstruments }

// Refs is empty.
func (*Instrument) Refs() []Ref { return nil }

func (r *Instrument) check(c *checker) {
	c.name("name", r.Name)
	c.oneOf("kind", r.InstrumentKind, DOMeter, Scale, Thermometer, Barometer, TPOMeter)
	c.within("range_low", r.RangeLow, -1000, 1e6, "")
	c.within("range_high", r.RangeHigh, -1000, 1e6, "")
	if r.RangeLow != nil && r.RangeHigh != nil && *r.RangeHigh <= *r.RangeLow {
		c.add("range_high", *r.RangeHigh, "is not above range_low", "exchange the two")
	}
	c.within("resolution", r.Resolution, 0, 1000, "")
	c.within("u_abs", r.UAbs, 0, 1000, "")
	c.within("u_rel", r.URel, 0, 1, "(a fraction)")
	c.within("u_drift", r.UDrift, 0, 1000, "")
	c.year("sensor_replaced_at", r.SensorReplacedAt)
	c.within("sensor_life_days", r.SensorLifeDays, 0, 7320, "days")
	c.text("purchase", r.Purchase)
	c.within("check_every_days", r.CheckEveryDays, 0, 3660, "days")
	c.count("checks", len(r.Checks), 0, len(againsts))
	seen := map[string]bool{}
	for _, p := range r.Checks {
		c.oneOf("checks.against", p.Against, againsts...)
		if seen[p.Against] {
			c.add("checks.against", p.Against, "is planned twice", "keep one of them")
		}
		seen[p.Against] = true
		c.within("checks.limit", p.Limit, 0, 1e6, "")
		c.within("checks.every_days", p.EveryDays, 0, 3660, "days")
	}
	c.year("last_checked_at", r.LastCheckedAt)
	c.text("note", r.Note)
}

// plan is what this instrument has agreed on one check; zero fields where nothing.
func (r *Instrument) plan(against string) CheckPlan {
	for _, p := range r.Checks {
		if p.Against == against {
			return p
		}
	}
	return CheckPlan{Against: against}
}

// daysOfDrift is the time over which u_drift grows.
const daysOfDrift = 30

// constant is the standard uncertainty that does not depend on the reading, days
// after the last passed check: u_abs, resolution/√12 (JCGM 100, F.2.2.1) and
// drift. known is false where the record says none of them.
func (r *Instrument) constant(days float64) (u float64, known bool) {
	if r.UAbs == nil && r.Resolution == nil {
		return 0, false
	}
	step := numOr(r.Resolution, 0) / math.Sqrt(12)
	drift := numOr(r.UDrift, 0) * max(0, days) / daysOfDrift
	return math.Sqrt(math.Pow(numOr(r.UAbs, 0), 2) + step*step + drift*drift), true
}
