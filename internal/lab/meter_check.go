package lab

// What an instrument is checked against.
const (
	AgainstZero      = "zero"
	AgainstAir       = "air"
	AgainstResponse  = "response"
	AgainstMeter     = "meter"
	AgainstMass      = "mass"
	AgainstIce       = "ice"
	AgainstReference = "reference"
	AgainstOther     = "other"
)

var againsts = []string{AgainstZero, AgainstAir, AgainstResponse, AgainstMeter, AgainstMass, AgainstIce, AgainstReference, AgainstOther}

// MeterCheck is one verification of an instrument: what it read against what it
// should. The judgement of a lot asks for one of the DO meter before and one
// after its readings. Writing a failed one opens again every lot since the last
// pass.
type MeterCheck struct {
	Meta
	InstrumentID string   `json:"instrument_id" format:"uuid"`
	At           Time     `json:"at"`
	Outcome      string   `json:"outcome,omitempty" enum:"passed,failed" doc:"found by the server where it is empty and there is a reading"`
	Against      string   `json:"against,omitempty" enum:"zero,air,response,meter,mass,ice,reference,other" doc:"zero gas; air-saturated water or wet air; seconds from air to below 10 ppb; another meter on one sample; reference mass; ice point; reference thermometer or barometer; something else"`
	Read         *float64 `json:"read,omitempty" doc:"what it read, in unit"`
	Expected     *float64 `json:"expected,omitempty" doc:"what it should have read; filled by the server where it is known"`
	// More are further references of the same kind on the same occasion.
	More           []CheckReference `json:"more,omitempty" doc:"further reference masses on the same occasion: from two on, an offset is told from a slope"`
	Limit          *float64         `json:"limit,omitempty" doc:"passes within this of expected, in unit; response: at most"`
	Unit           string           `json:"unit,omitempty" enum:"ppb,g,c,kpa,s"`
	U              *float64         `json:"u,omitempty" doc:"standard uncertainty of read less expected, in unit"`
	TemperatureC   *float64         `json:"temperature_c,omitempty" doc:"of the air-saturated water or the zero gas"`
	PressureKPa    *float64         `json:"pressure_kpa,omitempty" doc:"station pressure, not reduced to sea level"`
	AltitudeM      *float64         `json:"altitude_m,omitempty" doc:"where there is no barometer; empty: the brewery's"`
	ZeroGasPpm     *float64         `json:"zero_gas_ppm,omitempty" doc:"oxygen in the zero gas, ppm by volume"`
	OtherID        string           `json:"other_id,omitempty" format:"uuid" doc:"the instrument it was held against"`
	OffsetPpb      *float64         `json:"offset_ppb,omitempty" doc:"what a DO meter read too high near zero, ppb"`
	OffsetUPpb     *float64         `json:"offset_u_ppb,omitempty" doc:"standard uncertainty of that, ppb"`
	SlopePct       *float64         `json:"slope_pct,omitempty" doc:"its reading in air over the true one, less 100 %"`
	SlopeUPct      *float64         `json:"slope_u_pct,omitempty" doc:"standard uncertainty of that, %"`
	Adjusted       bool             `json:"adjusted,omitempty" doc:"adjusted or serviced after this check"`
	SensorReplaced bool             `json:"sensor_replaced,omitempty" doc:"sensor, cap or membrane renewed after this check"`
	Note           string           `json:"note,omitempty" maxLength:"4000"`
}

// CheckReference is one more reference of a check, in its unit.
type CheckReference struct {
	Expected float64 `json:"expected"`
	Read     float64 `json:"read"`
}

// Kind names the collection.
func (*MeterCheck) Kind() Kind { return KindMeterChecks }

// Refs points at the instrument and at what it was held against.
func (r *MeterCheck) Refs() []Ref {
	return []Ref{{"instrument_id", KindInstruments, r.InstrumentID, true}, {"other_id", KindInstruments, r.OtherID, false}}
}

func (r *MeterCheck) check(c *checker) {
	c.needTime("at", r.At)
	c.year("at", r.At)
	if r.Outcome != "" || r.Read == nil {
		c.oneOf("outcome", r.Outcome, "passed", "failed")
	}
	if r.Against != "" {
		c.oneOf("against", r.Against, againsts...)
	}
	c.within("read", r.Read, -1e6, 1e6, r.Unit)
	c.within("expected", r.Expected, -1e6, 1e6, r.Unit)
	c.count("more", len(r.More), 0, 20)
	for _, p := range r.More {
		c.within("more.expected", &p.Expected, -1e6, 1e6, r.Unit)
		c.within("more.read", &p.Read, -1e6, 1e6, r.Unit)
	}
	if len(r.More) > 0 && (r.Read == nil || r.Against != AgainstMass && r.Against != AgainstReference) {
		c.add("more", len(r.More), "are further references, and there is no first one", "give read and expected of the first mass or reference")
	}
	c.within("limit", r.Limit, 0, 1e6, r.Unit)
	c.oneOf("unit", r.Unit, "", "ppb", "g", "c", "kpa", "s")
	c.within("u", r.U, 0, 1e6, r.Unit)
	c.within("temperature_c", r.TemperatureC, 0, 40, "°C")
	c.within("pressure_kpa", r.PressureKPa, 40, 115, "kPa")
	c.within("altitude_m", r.AltitudeM, -500, 6000, "m")
	c.within("zero_gas_ppm", r.ZeroGasPpm, 0, 1e4, "ppm by volume")
	c.within("offset_ppb", r.OffsetPpb, -10000, 10000, "ppb")
	c.within("offset_u_ppb", r.OffsetUPpb, 0, 10000, "ppb")
	c.within("slope_pct", r.SlopePct, -95, 1000, "%")
	c.within("slope_u_pct", r.SlopeUPct, 0, 1000, "%")
	c.text("note", r.Note)
	if r.OtherID != "" && r.OtherID == r.InstrumentID {
		c.add("other_id", r.OtherID, "is the instrument itself", "choose the other one")
	}
}

// Proves tells that passing proves a DO meter. Its time of response, or agreement
// with another meter, can only cast doubt.
func (r *MeterCheck) Proves() bool {
	return r.Against != AgainstResponse && r.Against != AgainstMeter
}
