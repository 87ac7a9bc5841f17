package lab

// Tank is a vessel: a fermenter, a bright tank, or one on the kettle side
// (whirlpool, the cooler's side), where wort is still hot or just cooled.
type Tank struct {
	Meta
	Name         string   `json:"name" maxLength:"200"`
	TankKind     string   `json:"kind" enum:"fermenter,bright_tank,kettle_side"`
	VolumeHL     *float64 `json:"volume_hl,omitempty"`
	HeadspaceBar *float64 `json:"headspace_bar,omitempty" doc:"top pressure it is kept at, gauge"`
	Note         string   `json:"note,omitempty" maxLength:"4000"`
}

// Kind names the collection.
func (*Tank) Kind() Kind { return KindTanks }

// Refs is empty.
func (*Tank) Refs() []Ref { return nil }

func (r *Tank) check(c *checker) {
	c.name("name", r.Name)
	c.oneOf("kind", r.TankKind, "fermenter", "bright_tank", "kettle_side")
	c.within("volume_hl", r.VolumeHL, 0, 20000, "hL")
	c.within("headspace_bar", r.HeadspaceBar, -1, 10, "bar (gauge)")
	c.text("note", r.Note)
}

// Batch is one lot of liquid in one vessel: moved on, it is a new batch, and a
// [Move] tells which came from which.
type Batch struct {
	Meta
	Code     string   `json:"code" maxLength:"200"`
	BeerID   string   `json:"beer_id" format:"uuid"`
	TankID   string   `json:"tank_id,omitempty" format:"uuid"`
	VolumeHL *float64 `json:"volume_hl,omitempty" doc:"what the vessel held once it was filled"`
	MadeAt   Time     `json:"made_at,omitzero" doc:"when filling began: knock-out, or the start of the transfer in"`
	Status   string   `json:"status,omitempty" enum:"fermenting,maturing,bright,empty"`
	Note     string   `json:"note,omitempty" maxLength:"4000"`
}

// Kind names the collection.
func (*Batch) Kind() Kind { return KindBatches }

// Refs points at beer and tank.
func (r *Batch) Refs() []Ref {
	return []Ref{{"beer_id", KindBeers, r.BeerID, true}, {"tank_id", KindTanks, r.TankID, false}}
}

func (r *Batch) check(c *checker) {
	c.name("code", r.Code)
	c.within("volume_hl", r.VolumeHL, 0, 20000, "hL")
	c.year("made_at", r.MadeAt)
	c.oneOf("status", r.Status, "", "fermenting", "maturing", "bright", "empty")
	c.text("note", r.Note)
}
