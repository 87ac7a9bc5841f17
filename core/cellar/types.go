package cellar

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
	VolumeHL  float64   `json:"volume_hl,omitempty"`

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

// Map is the oxygen of a batch from wort to package.
type Map struct {
	Focus          string         `json:"focus,omitempty"`
	Nodes          []Node         `json:"nodes"` // in flow order
	Steps          []Step         `json:"steps"`
	Moves          []MoveTotal    `json:"moves"`
	Blends         []Blend        `json:"blends"`
	Package        []Package      `json:"package"`
	Closure        *Closure       `json:"closure,omitempty"` // of the runs, by volume
	Reconciliation Reconciliation `json:"reconciliation"`
	TankGas        []TankGas      `json:"tank_gas,omitempty"`
	Diagnosis      []Finding      `json:"diagnosis"`
	Assumptions    []string       `json:"assumptions"`
	Warnings       []Warning      `json:"warnings"`
}

// Node is a place of the way: a vessel without a reading (Point empty), or a
// process point with the readings it rests on.
type Node struct {
	ID         string    `json:"id"`
	Batch      string    `json:"batch,omitempty"`
	Point      string    `json:"point,omitempty"`
	Move       string    `json:"move,omitempty"`
	Brew       string    `json:"brew,omitempty"`
	Run        string    `json:"run,omitempty"`
	At         time.Time `json:"at,omitzero"` // of the last reading
	DO         *float64  `json:"do_ppb,omitempty"`
	U          float64   `json:"u_ppb,omitempty"`
	Reconciled *float64  `json:"reconciled_ppb,omitempty"`
	VolumeHL   float64   `json:"volume_hl,omitempty"`
	Grams      *float64  `json:"grams,omitempty"`
	State      string    `json:"state,omitempty"` // ok, watch or over
	Green      float64   `json:"green_ppb,omitempty"`
	Red        float64   `json:"red_ppb,omitempty"`
	LimitFrom  string    `json:"limit_from,omitempty"` // own, or starting point
	Readings   []string  `json:"readings,omitempty"`
}

// Step is what happened between two nodes. From is the node most of the liquid
// came from; Parts has them all where streams met.
type Step struct {
	ID         string   `json:"id"`
	From       string   `json:"from"`
	To         string   `json:"to"`
	Parts      []Part   `json:"parts,omitempty"`
	Kind       string   `json:"kind"`   // the step that its budget is of
	Covers     []string `json:"covers"` // all steps that no reading between separates
	Batch      string   `json:"batch,omitempty"`
	Move       string   `json:"move,omitempty"`
	Run        string   `json:"run,omitempty"`
	Delta      float64  `json:"delta_ppb"` // beyond what mixing explains
	U          float64  `json:"u_ppb"`
	Low95      float64  `json:"low95_ppb"`
	High95     float64  `json:"high95_ppb"`
	Dosed      float64  `json:"dosed_ppb,omitempty"` // of additions by their own figures, not in Delta
	Resolved   bool     `json:"resolved"`
	Consumed   bool     `json:"consumed"`
	HalfLifeH  *float64 `json:"half_life_h,omitempty"`
	Grams      *float64 `json:"grams,omitempty"`
	AirMLMin   *float64 `json:"air_ml_min,omitempty"` // air at 20 °C that would bring it
	FlowHLH    float64  `json:"flow_hl_h,omitempty"`
	Hours      *float64 `json:"hours,omitempty"`
	Budget     *float64 `json:"budget_ppb,omitempty"`
	BudgetFrom string   `json:"budget_from,omitempty"` // own, or starting point
	State      string   `json:"state"`                 // within, over, not_resolved, negative or no_budget
	Reason     string   `json:"reason"`
	NextCheck  string   `json:"next_check,omitempty"`
}

// Part of what met at a node.
type Part struct {
	From     string  `json:"from"` // node id
	Batch    string  `json:"batch,omitempty"`
	VolumeHL float64 `json:"volume_hl,omitempty"`
	Share    float64 `json:"share"`
	DO       float64 `json:"do_ppb"`
}

// MoveTotal is a move from its first reading to its last, the receiving tank
// included: what transfers of the same kind are compared by.
type MoveTotal struct {
	Move     string   `json:"move"`
	From     string   `json:"from"` // node ids
	To       string   `json:"to"`
	Delta    float64  `json:"delta_ppb"`
	Low95    float64  `json:"low95_ppb"`
	High95   float64  `json:"high95_ppb"`
	Resolved bool     `json:"resolved"`
	Grams    *float64 `json:"grams,omitempty"`
	AirMLMin *float64 `json:"air_ml_min,omitempty"`
	Budget   *float64 `json:"budget_ppb,omitempty"`
	State    string   `json:"state"`
}

// Blend is where streams met: what they should have mixed to, and what was read.
type Blend struct {
	Node  string   `json:"node"`
	Parts []Part   `json:"parts"`
	Mixed float64  `json:"mixed_ppb"`
	Read  *float64 `json:"read_ppb,omitempty"`
}

// Package splits the TPO of a run. A part that its readings do not separate is
// absent and lies in the next one. Tank is that at the moments of the inlet
// readings where the run says it, else as the run began.
type Package struct {
	Run       string   `json:"run"`
	Tank      *float64 `json:"tank_ppb,omitempty"`
	Line      *float64 `json:"line_ppb,omitempty"`
	Filler    *float64 `json:"filler_ppb,omitempty"`
	Headspace *float64 `json:"headspace_ppb,omitempty"`
	TPO       *float64 `json:"tpo_ppb,omitempty"`
	Closure   *Closure `json:"closure,omitempty"`
}

// Closure holds the parts against the TPO read. The parts are those of the
// reconciled way, where none is negative; a residual says that the readings
// contradict each other by so much.
type Closure struct {
	TPO      float64 `json:"tpo_ppb"`
	Sum      float64 `json:"sum_ppb"`
	Residual float64 `json:"residual_ppb"`
	Allowed  float64 `json:"allowed_ppb"` // 95 %
	Within   bool    `json:"within"`
}

// Reconciliation is the way that the readings allow and nature too: pickup is
// not negative where nothing takes oxygen up, and blends keep their oxygen.
type Reconciliation struct {
	Needed      bool         `json:"needed"`     // some reading had to move
	Consistent  bool         `json:"consistent"` // Chi2 is one in twenty at most
	Chi2        float64      `json:"chi2"`
	DF          int          `json:"df"` // steps held at zero pickup
	P           float64      `json:"p"`
	MovedMost   string       `json:"moved_most,omitempty"` // reading id
	Adjustments []Adjustment `json:"adjustments"`
}

// Adjustment is how far a node had to move.
type Adjustment struct {
	Node    string  `json:"node"`
	Reading string  `json:"reading"` // of the node, the one that moved most
	PPB     float64 `json:"ppb"`
	InU     float64 `json:"in_u"` // in standard uncertainties of the node
}

// TankGas is a reading of a gas space, and what it means for the beer below.
type TankGas struct {
	Reading     string   `json:"reading"`
	Batch       string   `json:"batch"`
	Fraction    float64  `json:"gas_o2_fraction"`
	Contact     float64  `json:"contact_ppb"`               // DO in equilibrium with it, never used up
	Equilibrium *float64 `json:"equilibrium_ppb,omitempty"` // closed vessel, oxygen kept
	Grams       *float64 `json:"gas_grams,omitempty"`       // oxygen in the gas space
}

// Finding is a cause with its evidence.
type Finding struct {
	Kind      string         `json:"kind"`
	Where     string         `json:"where"`
	Step      string         `json:"step,omitempty"`
	Batch     string         `json:"batch,omitempty"`
	Move      string         `json:"move,omitempty"`
	PPB       float64        `json:"ppb"`
	Evidence  string         `json:"evidence"`
	Fit       map[string]any `json:"fit,omitempty"`
	NextCheck string         `json:"next_check"`
}

// Warning is something unlikely, with the mend.
type Warning struct {
	Code    string `json:"code"`
	Where   string `json:"where,omitempty"` // id
	Message string `json:"message"`
	Mend    string `json:"mend"`
}
