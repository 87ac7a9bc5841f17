package lab

// Line is a filling line.
type Line struct {
	Meta
	Name           string   `json:"name" maxLength:"200"`
	Heads          int      `json:"heads" doc:"filling heads, valves or lanes"`
	Stations       int      `json:"stations,omitempty" doc:"closing stations"`
	PackagesPerMin *float64 `json:"packages_per_min,omitempty"`
	SampleEveryMin *float64 `json:"sample_every_min,omitempty" doc:"minutes between sets in steady running"`
	Note           string   `json:"note,omitempty" maxLength:"4000"`
}

// Kind names the collection.
func (*Line) Kind() Kind { return KindLines }

// Refs is empty.
func (*Line) Refs() []Ref { return nil }

func (r *Line) check(c *checker) {
	c.name("name", r.Name)
	c.count("heads", r.Heads, 1, 400)
	c.count("stations", r.Stations, 0, 100)
	c.within("packages_per_min", r.PackagesPerMin, 0, 5000, "packages/min")
	c.within("sample_every_min", r.SampleEveryMin, 0, 1440, "min")
	c.text("note", r.Note)
}

// Instrument is a meter, scale or thermometer, with what is known of its error.
type Instrument struct {
	Meta
	Name           string   `json:"name" maxLength:"200"`
	InstrumentKind string   `json:"kind" enum:"do_meter,scale,thermometer"`
	Resolution     *float64 `json:"resolution,omitempty" doc:"smallest step shown: ppb, g or °C"`
	UAbs           *float64 `json:"u_abs,omitempty" doc:"standard uncertainty, constant part: ppb, g or °C"`
	URel           *float64 `json:"u_rel,omitempty" doc:"standard uncertainty, proportional part, as a fraction"`
	CheckEveryDays *float64 `json:"check_every_days,omitempty"`
	LastCheckedAt  Time     `json:"last_checked_at,omitzero"`
	Note           string   `json:"note,omitempty" maxLength:"4000"`
}

// Kind names the collection.
func (*Instrument) Kind() Kind { return KindInstruments }

// Refs is empty.
func (*Instrument) Refs() []Ref { return nil }

func (r *Instrument) check(c *checker) {
	c.name("name", r.Name)
	c.oneOf("kind", r.InstrumentKind, "do_meter", "scale", "thermometer")
	c.within("resolution", r.Resolution, 0, 1000, "")
	c.within("u_abs", r.UAbs, 0, 1000, "")
	c.within("u_rel", r.URel, 0, 1, "(a fraction)")
	c.within("check_every_days", r.CheckEveryDays, 0, 3660, "days")
	c.year("last_checked_at", r.LastCheckedAt)
	c.text("note", r.Note)
}
