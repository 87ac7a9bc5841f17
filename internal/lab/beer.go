package lab

// Beer is a product, with the properties the oxygen calculation needs.
type Beer struct {
	Meta
	Name           string   `json:"name" maxLength:"200"`
	Style          string   `json:"style,omitempty" maxLength:"200"`
	SG             *float64 `json:"sg,omitempty" doc:"specific gravity 20/20 °C of the degassed beer"`
	ABVPct         *float64 `json:"abv_pct,omitempty" doc:"alcohol, % by volume"`
	CO2Vol         *float64 `json:"co2_vol,omitempty" doc:"carbonation, volumes of CO2"`
	YeastInPackage bool     `json:"yeast_in_package,omitempty" doc:"yeast takes up oxygen within minutes: read at once"`
	Note           string   `json:"note,omitempty" maxLength:"4000"`
}

// Kind names the collection.
func (*Beer) Kind() Kind { return KindBeers }

// Refs is empty.
func (*Beer) Refs() []Ref { return nil }

func (r *Beer) check(c *checker) {
	c.name("name", r.Name)
	c.length("style", r.Style, maxName)
	c.text("note", r.Note)
	c.within("sg", r.SG, 0.95, 1.2, "(20/20 °C)")
	c.within("abv_pct", r.ABVPct, 0, 30, "% by volume")
	c.within("co2_vol", r.CO2Vol, 0, 8, "volumes")
}

// Limit holds the oxygen limits of a beer, in all its formats or in one.
type Limit struct {
	Meta
	BeerID         string   `json:"beer_id" format:"uuid"`
	FormatID       string   `json:"format_id,omitempty" format:"uuid" doc:"empty: every format without a limit of its own"`
	Quantity       string   `json:"quantity" enum:"tpo,do_inlet,do_tank"`
	MeanGreenPpb   *float64 `json:"mean_green_ppb,omitempty" doc:"a set's mean up to this is good"`
	SingleGreenPpb *float64 `json:"single_green_ppb,omitempty" doc:"a single package up to this is good"`
	SingleRedPpb   *float64 `json:"single_red_ppb,omitempty" doc:"a confirmed single package above this stops the line"`
	Note           string   `json:"note,omitempty" maxLength:"4000"`
}

// Kind names the collection.
func (*Limit) Kind() Kind { return KindLimits }

// Refs points at the beer and the format.
func (r *Limit) Refs() []Ref {
	return []Ref{{"beer_id", KindBeers, r.BeerID, true}, {"format_id", KindFormats, r.FormatID, false}}
}

func (r *Limit) check(c *checker) {
	c.oneOf("quantity", r.Quantity, "tpo", "do_inlet", "do_tank")
	c.within("mean_green_ppb", r.MeanGreenPpb, 0, 50000, "ppb")
	c.within("single_green_ppb", r.SingleGreenPpb, 0, 50000, "ppb")
	c.within("single_red_ppb", r.SingleRedPpb, 0, 50000, "ppb")
	c.text("note", r.Note)
	if r.SingleGreenPpb != nil && r.SingleRedPpb != nil && *r.SingleRedPpb < *r.SingleGreenPpb {
		c.add("single_red_ppb", *r.SingleRedPpb, "is below single_green_ppb", "make red the higher of the two")
	}
}
