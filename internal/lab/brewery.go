package lab

import "time"

// BreweryID is the id of the one brewery record of a database.
const BreweryID = "00000000-0000-7000-8000-000000000001"

// Brewery is the one record about the place itself.
type Brewery struct {
	Meta
	Name      string   `json:"name" maxLength:"200"`
	AltitudeM *float64 `json:"altitude_m,omitempty" doc:"metres above sea level; sets the usual air pressure"`
	TimeZone  string   `json:"time_zone,omitempty" doc:"IANA name, such as Europe/Berlin" maxLength:"200"`
}

// Kind names the collection.
func (*Brewery) Kind() Kind { return KindBrewery }

// Refs is empty.
func (*Brewery) Refs() []Ref { return nil }

func (r *Brewery) check(c *checker) {
	if r.ID != BreweryID {
		c.add("id", r.ID, "a database holds one brewery, under one id", "use "+BreweryID)
	}
	c.name("name", r.Name)
	c.within("altitude_m", r.AltitudeM, -500, 6000, "m")
	if r.TimeZone != "" {
		if _, err := time.LoadLocation(r.TimeZone); err != nil {
			c.add("time_zone", r.TimeZone, "is not a known time zone", "use an IANA name such as Europe/Berlin")
		}
	}
}

// Units are the units in which a person reads and types. Storage knows one.
type Units struct {
	Temperature string `json:"temperature,omitempty" enum:"c,f"`
	Volume      string `json:"volume,omitempty" enum:"ml,floz"`
	Gravity     string `json:"gravity,omitempty" enum:"sg,plato"`
	Oxygen      string `json:"oxygen,omitempty" enum:"ppb,ppm"`
}

// Person is someone who takes samples or reads them.
type Person struct {
	Meta
	Name     string `json:"name" maxLength:"200"`
	Initials string `json:"initials,omitempty" maxLength:"8"`
	Role     string `json:"role,omitempty" maxLength:"200"`
	Units    Units  `json:"units,omitzero"`
}

// Kind names the collection.
func (*Person) Kind() Kind { return KindPeople }

// Refs is empty.
func (*Person) Refs() []Ref { return nil }

func (r *Person) check(c *checker) {
	c.name("name", r.Name)
	c.length("initials", r.Initials, 8)
	c.length("role", r.Role, maxName)
	c.oneOf("units.temperature", r.Units.Temperature, "", "c", "f")
	c.oneOf("units.volume", r.Units.Volume, "", "ml", "floz")
	c.oneOf("units.gravity", r.Units.Gravity, "", "sg", "plato")
	c.oneOf("units.oxygen", r.Units.Oxygen, "", "ppb", "ppm")
}
