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
