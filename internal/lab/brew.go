package lab

// Brew is one knock-out into a fermenter with its wort oxygenation. Several may
// go into one batch. How much of the oxygen dosed was dissolved follows from
// these figures and is never typed.
type Brew struct {
	Meta
	Code         string   `json:"code" maxLength:"200"`
	BatchID      string   `json:"batch_id" format:"uuid"`
	At           Time     `json:"at" doc:"when knock-out began"`
	VolumeHL     *float64 `json:"volume_hl,omitempty" doc:"cold wort"`
	SG           *float64 `json:"sg,omitempty" doc:"specific gravity 20/20 °C of the wort"`
	TemperatureC *float64 `json:"temperature_c,omitempty" doc:"of the cooled wort"`
	Minutes      *float64 `json:"minutes,omitempty" doc:"length of the knock-out; the gas is taken to flow all that time"`
	Gas          string   `json:"gas,omitempty" enum:"air,oxygen"`
	TargetMgL    *float64 `json:"target_mg_l,omitempty" doc:"dissolved oxygen aimed at, mg/L"`
	CarryOverMgL *float64 `json:"carry_over_mg_l,omitempty" doc:"dissolved oxygen before the gas, mg/L"`
	DOMgL        *float64 `json:"do_mg_l,omitempty" doc:"dissolved oxygen measured after the gas, mg/L"`
	GasFlowNLMin *float64 `json:"gas_flow_nl_min,omitempty" doc:"true gas flow, L/min at 0 °C and 1.01325 bar"`
	// What the float meter showed, and for what it is scaled; the true flow
	// follows when it is not given.
	FloatReading      *float64 `json:"float_reading,omitempty" doc:"reading of a float meter, L/min of its scale"`
	FloatFor          string   `json:"float_for,omitempty" enum:"air,oxygen,co2" doc:"gas the meter is scaled for"`
	FloatBar          *float64 `json:"float_bar,omitempty" doc:"pressure of the gas in the meter, bar gauge"`
	FloatTemperatureC *float64 `json:"float_temperature_c,omitempty" doc:"temperature of the gas in the meter"`
	LineBar           *float64 `json:"line_bar,omitempty" doc:"wort pressure where the gas goes in, bar gauge"`
	Yeast             string   `json:"yeast,omitempty" maxLength:"200"`
	YeastSource       string   `json:"yeast_source,omitempty" enum:"repitch,propagated,dry"`
	Generation        *int     `json:"generation,omitempty" doc:"how often this yeast was pitched, from 1"`
	PitchMillionML    *float64 `json:"pitch_million_ml,omitempty" doc:"cells pitched, millions per mL"`
	StoneCleaned      bool     `json:"stone_cleaned,omitempty" doc:"stone or venturi was cleaned before this brew"`
	SecondDose        bool     `json:"second_dose,omitempty" doc:"oxygen given again after pitching"`
	HoursToDrop       *float64 `json:"hours_to_drop,omitempty" doc:"hours from pitching to the first drop of gravity"`
	Note              string   `json:"note,omitempty" maxLength:"4000"`
}

// Kind names the collection.
func (*Brew) Kind() Kind { return KindBrews }

// Refs points at the batch.
func (r *Brew) Refs() []Ref { return []Ref{{"batch_id", KindBatches, r.BatchID, true}} }

// maxWortMgL is more than wort holds under pure oxygen in a cold pressurised line.
const maxWortMgL = 200

func (r *Brew) check(c *checker) {
	c.name("code", r.Code)
	c.needTime("at", r.At)
	c.year("at", r.At)
	c.within("volume_hl", r.VolumeHL, 0, 20000, "hL")
	c.within("sg", r.SG, 0.99, 1.2, "(20/20 °C)")
	c.within("temperature_c", r.TemperatureC, -2, 60, "°C")
	c.within("minutes", r.Minutes, 0, 1440, "min")
	c.oneOf("gas", r.Gas, "", "air", "oxygen")
	c.within("target_mg_l", r.TargetMgL, 0, maxWortMgL, "mg/L")
	c.within("carry_over_mg_l", r.CarryOverMgL, 0, maxWortMgL, "mg/L")
	c.within("do_mg_l", r.DOMgL, 0, maxWortMgL, "mg/L")
	c.within("gas_flow_nl_min", r.GasFlowNLMin, 0, 10000, "NL/min")
	c.within("float_reading", r.FloatReading, 0, 10000, "L/min")
	c.oneOf("float_for", r.FloatFor, "", "air", "oxygen", "co2")
	c.within("float_bar", r.FloatBar, -1, 40, "bar (gauge)")
	c.within("float_temperature_c", r.FloatTemperatureC, -40, 100, "°C")
	c.within("line_bar", r.LineBar, -1, 40, "bar (gauge)")
	c.length("yeast", r.Yeast, maxName)
	c.oneOf("yeast_source", r.YeastSource, "", "repitch", "propagated", "dry")
	if r.Generation != nil {
		c.count("generation", *r.Generation, 0, 1000)
	}
	c.within("pitch_million_ml", r.PitchMillionML, 0, 1000, "million cells/mL")
	c.within("hours_to_drop", r.HoursToDrop, 0, 1000, "h")
	c.text("note", r.Note)
	if r.DOMgL != nil && r.CarryOverMgL != nil && *r.DOMgL < *r.CarryOverMgL {
		c.add("carry_over_mg_l", *r.CarryOverMgL, "is above what was measured after the gas", "check which reading is which")
	}
}
