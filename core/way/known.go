package way

import "time"

// Input is what is known of the batches that a map is drawn of. Ids are the
// caller's; an empty Focus draws all.
type Input struct {
	Focus    string    `json:"focus,omitempty"` // batch id
	Batches  []Batch   `json:"batches"`
	Brews    []Brew    `json:"brews,omitempty"`
	Moves    []Move    `json:"moves,omitempty"`
	Readings []Reading `json:"readings,omitempty"`
	Runs     []Run     `json:"runs,omitempty"`
	Budgets  []Budget  `json:"budgets,omitempty"`
	Limits   []Limit   `json:"limits,omitempty"`
}

// Batch is one lot of liquid in one vessel.
type Batch struct {
	ID       string  `json:"id"`
	Code     string  `json:"code,omitempty"`
	VolumeHL float64 `json:"volume_hl,omitempty"` // 0: not known
	Tank     string  `json:"tank,omitempty"`      // its name
	Vessel   string  `json:"vessel,omitempty"`    // fermenter, bright_tank or kettle_side
	Yeast    string  `json:"yeast,omitempty"`     // yes or no; empty: from the vessel and its readings

	GasHL        float64 `json:"gas_hl,omitempty"`        // gas space above the liquid
	HeadspaceBar float64 `json:"headspace_bar,omitempty"` // gauge top pressure
}

// Brew is one knock-out into a batch.
type Brew struct {
	ID       string    `json:"id"`
	Code     string    `json:"code,omitempty"`
	Batch    string    `json:"batch"`
	At       time.Time `json:"at,omitzero"`
	VolumeHL float64   `json:"volume_hl,omitempty"`
	DO       *float64  `json:"do_ppb,omitempty"` // read in the wort
}

// Move takes liquid from one batch to another; an addition comes from outside.
type Move struct {
	ID       string    `json:"id"`
	Kind     string    `json:"kind"` // transfer, blend, addition, recirculation or dump
	From     string    `json:"from,omitempty"`
	To       string    `json:"to,omitempty"`
	Started  time.Time `json:"started_at,omitzero"`
	Ended    time.Time `json:"ended_at,omitzero"`
	VolumeHL float64   `json:"volume_hl,omitempty"`
	FlowHLH  float64   `json:"flow_hl_h,omitempty"`
	Via      []string  `json:"via,omitempty"` // centrifuge, filter, carbonation, hose, pump, heat_exchanger
	Addition *Addition `json:"addition,omitempty"`
}

// Addition is what goes in from outside.
type Addition struct {
	What     string   `json:"what"`
	AmountKG float64  `json:"amount_kg,omitempty"`
	DO       *float64 `json:"do_ppb,omitempty"` // of the liquid added
	AirML    float64  `json:"air_ml,omitempty"` // air that goes in with it, mL at 20 °C
}

// Reading is one value of a meter at a point of the way.
type Reading struct {
	ID           string    `json:"id"`
	Batch        string    `json:"batch"`
	Move         string    `json:"move,omitempty"`
	Brew         string    `json:"brew,omitempty"`
	Run          string    `json:"run,omitempty"`
	Point        string    `json:"point"`
	At           time.Time `json:"at,omitzero"`
	DO           float64   `json:"do_ppb"`
	U            float64   `json:"u_ppb,omitempty"` // standard uncertainty of the meter; 0: assumed (eq. 41)
	Meter        string    `json:"meter,omitempty"`
	TemperatureC *float64  `json:"temperature_c,omitempty"`
	PressureBar  *float64  `json:"pressure_bar,omitempty"` // gauge
	FlowHLH      float64   `json:"flow_hl_h,omitempty"`
	VolumeHL     float64   `json:"volume_hl,omitempty"` // moved so far
	GasO2        *float64  `json:"gas_o2_fraction,omitempty"`
	Confirmed    string    `json:"confirmed,omitempty"` // "event": a value of 1000 ppb or more after fermentation is meant

	// FirstRunnings did not go to the tank: out of the mean of their point where
	// others remain, and in its trace.
	FirstRunnings bool `json:"first_runnings,omitempty"`

	whole bool // U holds everything, as that of a run's mean
}

// Run is the packaging of a batch: the means of its readings.
type Run struct {
	ID        string    `json:"id"`
	Batch     string    `json:"batch"`
	Started   time.Time `json:"started_at,omitzero"`
	Inlet     *float64  `json:"inlet_ppb,omitempty"` // tank/line DO at the filler, single readings of it counted in
	InletU    float64   `json:"inlet_u_ppb,omitempty"`
	Unshaken  *float64  `json:"unshaken_ppb,omitempty"` // unshaken DO
	UnshakenU float64   `json:"unshaken_u_ppb,omitempty"`
	TPO       *float64  `json:"tpo_ppb,omitempty"`
	TPOU      float64   `json:"tpo_u_ppb,omitempty"`
	VolumeHL  float64   `json:"volume_hl,omitempty"` // drawn from the batch

	// VolumeFrom says what stands for a volume that was not measured: packages
	// (filled, × nominal volume) or time (running, × the line's speed × nominal
	// volume); empty: measured.
	VolumeFrom string    `json:"volume_from,omitempty"`
	Ended      time.Time `json:"ended_at,omitzero"`

	// Tank is the DO of the tank at the moments of the inlet readings: Inlet less it
	// is the mean pickup of the line, whatever the tank does meanwhile. It counts
	// with the readings of the tank made between Started and TankUntil.
	Tank      *float64  `json:"tank_ppb,omitempty"`
	TankUntil time.Time `json:"tank_until,omitzero"` // it draws from this batch until then; zero: not known, or still does
}

// Budget is the pickup that a step may have.
type Budget struct {
	Step string  `json:"step"`
	PPB  float64 `json:"ppb"`
}

// Limit of the oxygen at a point: up to green is good, above red it is over.
type Limit struct {
	Point string  `json:"point"`
	Green float64 `json:"green_ppb"`
	Red   float64 `json:"red_ppb"`
}

// Warning is something unlikely, with the mend.
type Warning struct {
	Code    string `json:"code"`
	Where   string `json:"where,omitempty"` // id
	Message string `json:"message"`
	Mend    string `json:"mend"`
}
