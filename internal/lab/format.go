package lab

// Format is a kind of package: its nominal volume and its closure.
type Format struct {
	Meta
	Name        string   `json:"name" maxLength:"200"`
	PackageKind string   `json:"kind" enum:"can,bottle,keg"`
	NominalML   *float64 `json:"nominal_ml" doc:"nominal volume of beer, mL"`
	Closure     string   `json:"closure,omitempty" maxLength:"200"`
	Note        string   `json:"note,omitempty" maxLength:"4000"`
}

// Kind names the collection.
func (*Format) Kind() Kind { return KindFormats }

// Refs is empty.
func (*Format) Refs() []Ref { return nil }

func (r *Format) check(c *checker) {
	c.name("name", r.Name)
	c.oneOf("kind", r.PackageKind, "can", "bottle", "keg")
	c.needNum("nominal_ml", r.NominalML)
	c.within("nominal_ml", r.NominalML, 10, 100000, "mL")
	c.length("closure", r.Closure, maxName)
	c.text("note", r.Note)
}

// FormatLot is the tare and the capacity found for a delivery of packages,
// in force from its date on.
type FormatLot struct {
	Meta
	FormatID        string   `json:"format_id" format:"uuid"`
	Name            string   `json:"name" maxLength:"200"`
	From            string   `json:"from" format:"date" doc:"first day in force"`
	CapacityML      *float64 `json:"capacity_ml,omitempty" doc:"mean brimful capacity with the closure on, mL"`
	CapacitySDML    *float64 `json:"capacity_sd_ml,omitempty" doc:"spread of single packages, mL"`
	CapacityN       *int     `json:"capacity_n,omitempty" doc:"packages measured"`
	CapacitySource  string   `json:"capacity_source,omitempty" enum:"lot,drawing"`
	TareG           *float64 `json:"tare_g,omitempty" doc:"mean weight of an empty package with its closure, g"`
	TareSDG         *float64 `json:"tare_sd_g,omitempty"`
	TareN           *int     `json:"tare_n,omitempty"`
	NeckGapMM       *float64 `json:"neck_gap_mm,omitempty" doc:"a known distance rim to beer"`
	NeckHeadspaceML *float64 `json:"neck_headspace_ml,omitempty" doc:"the headspace at that distance"`
	NeckMLPerMM     *float64 `json:"neck_ml_per_mm,omitempty"`
	Note            string   `json:"note,omitempty" maxLength:"4000"`
}

// Kind names the collection.
func (*FormatLot) Kind() Kind { return KindFormatLots }

// Refs points at the format.
func (r *FormatLot) Refs() []Ref { return []Ref{{"format_id", KindFormats, r.FormatID, true}} }

func (r *FormatLot) check(c *checker) {
	c.name("name", r.Name)
	if r.From == "" {
		c.add("from", nil, "is missing", "give the first day in force, like 2026-11-05")
	}
	c.date("from", r.From)
	c.within("capacity_ml", r.CapacityML, 10, 100000, "mL")
	c.within("capacity_sd_ml", r.CapacitySDML, 0, 1000, "mL")
	c.within("tare_g", r.TareG, 0.1, 100000, "g")
	c.within("tare_sd_g", r.TareSDG, 0, 1000, "g")
	c.oneOf("capacity_source", r.CapacitySource, "", "lot", "drawing")
	c.within("neck_gap_mm", r.NeckGapMM, 0, 500, "mm")
	c.within("neck_headspace_ml", r.NeckHeadspaceML, 0, 1000, "mL")
	c.within("neck_ml_per_mm", r.NeckMLPerMM, 0.01, 100, "mL/mm")
	c.text("note", r.Note)
	for field, n := range map[string]*int{"capacity_n": r.CapacityN, "tare_n": r.TareN} {
		if n != nil {
			c.count(field, *n, 1, 1_000_000)
		}
	}
}
