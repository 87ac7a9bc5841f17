package cellar

import (
	"time"
	"ullage/core/causes"
	"ullage/core/way"
)

// Map is the oxygen of a batch from wort to package.
type Map struct {
	Focus          string           `json:"focus,omitempty"`
	Nodes          []Node           `json:"nodes"` // in flow order
	Steps          []Step           `json:"steps"`
	Moves          []MoveTotal      `json:"moves"`
	Blends         []Blend          `json:"blends"`
	Package        []Package        `json:"package"`
	Closure        *Closure         `json:"closure,omitempty"` // of the runs, by volume
	Reconciliation Reconciliation   `json:"reconciliation"`
	TankGas        []TankGas        `json:"tank_gas,omitempty"`
	Diagnosis      []causes.Finding `json:"diagnosis"`
	Assumptions    []string         `json:"assumptions"`
	Warnings       []way.Warning    `json:"warnings"`
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

	// Steady is there where the tank was not read while it was drawn down: it is
	// taken as steady, though its gas grew.
	Steady *Steady `json:"steady,omitempty"`
}

// Steady bounds what a tank, read before its run only, may have come to.
type Steady struct {
	DrawnHL float64  `json:"drawn_hl"`
	GasFrom float64  `json:"gas_from_hl,omitempty"` // 0: not known
	GasTo   float64  `json:"gas_to_hl,omitempty"`
	Most    *float64 `json:"most_ppb,omitempty"` // DO in equilibrium with the gas read; absent: gas not read
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
	BeerHL      float64  `json:"beer_hl,omitempty"`         // left when it was read
	GasHL       float64  `json:"gas_hl,omitempty"`          // above it then
}
