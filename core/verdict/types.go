package verdict

import "time"

// Sample is one row of readings of a run. TPO is 0 where the row has none, and
// an absent reading is nil. 1 ppb = 1 µg per litre of beer.
type Sample struct {
	ID        string    `json:"id,omitempty"`
	Taken     time.Time `json:"taken_at"`  // when it was read
	Closed    time.Time `json:"closed_at"` // when the package was closed; zero when not known
	Head      string    `json:"head,omitempty"`
	Station   string    `json:"station,omitempty"`
	TPO       float64   `json:"tpo_ppb"`
	U         float64   `json:"tpo_u_ppb"` // standard uncertainty, 0 when not known
	Shaken    *float64  `json:"shaken_do_ppb,omitempty"`
	Unshaken  *float64  `json:"unshaken_do_ppb,omitempty"`
	Inlet     *float64  `json:"inlet_do_ppb,omitempty"`
	Tank      *float64  `json:"tank_do_ppb,omitempty"`
	Beer      float64   `json:"beer_ml"`            // 0 when not known
	Factor    float64   `json:"total_to_dissolved"` // TPO over shaken DO, 0 when not known
	FillKnown bool      `json:"fill_known"`         // Beer was measured, not assumed
	Yeast     bool      `json:"yeast_in_package,omitempty"`
	// Direct: TPO was read by an instrument that reads it directly, not calculated
	// from shaken DO. Beside is the package's TPO by the other of the two methods,
	// 0 where it was found one way only.
	Direct bool    `json:"direct,omitempty"`
	Beside float64 `json:"beside_tpo_ppb,omitempty"`
}

// at is when the package was closed, as well as it is known.
func (s *Sample) at() time.Time {
	if s.Closed.IsZero() {
		return s.Taken
	}
	return s.Closed
}

// Event kinds of a run.
const (
	Start      = "start"
	Stop       = "stop"
	Restart    = "restart"
	TankChange = "tank_change"
	GasChange  = "gas_change"
	Adjustment = "adjustment"
	End        = "end"
)

// EventKinds lists them.
var EventKinds = []string{Start, Stop, Restart, TankChange, GasChange, Adjustment, End}

// Event is something that happened to the line.
type Event struct {
	Kind string    `json:"kind"`
	At   time.Time `json:"at"`
}

// Check is the outcome of verifying the meter.
type Check string

// An empty Check was not said.
const (
	Passed Check = "passed"
	Failed Check = "failed"
)

// Meter is what is known of the meter of the run. Offset is what a zero check
// found, ppb of reading, with its standard uncertainty; 0 when none was found.
type Meter struct {
	Before  Check   `json:"before,omitempty"`
	After   Check   `json:"after,omitempty"`
	Offset  float64 `json:"offset_ppb,omitempty"`
	OffsetU float64 `json:"offset_u_ppb,omitempty"`
	// URel is the relative standard uncertainty shared by all readings of the
	// run: it does not average out.
	URel float64 `json:"u_rel,omitempty"`
}

// Line is what is known of the filler; 0 where not known.
type Line struct {
	Heads     int     `json:"heads,omitempty"`
	PerMinute float64 `json:"packages_per_min,omitempty"`
	PerPallet int     `json:"packages_per_pallet,omitempty"`
}

// Input is a run to judge.
type Input struct {
	Samples []Sample `json:"samples"`
	Events  []Event  `json:"events"`
	Meter   Meter    `json:"meter"`
	Line    Line     `json:"line"`
	Rules   Rules    `json:"rules"`
	// DirectMeter is the instrument that read TPO directly; nil where none did.
	DirectMeter *Meter `json:"direct_meter,omitempty"`
}

// Decisions at the line and of a lot.
const (
	KeepGoing   = "keep_going"
	Retest      = "re_test"
	StopLine    = "stop"
	Release     = "release"
	Conditional = "conditional"
	Hold        = "hold"
)

// Reason is one rule, what it stood on and how it came out.
type Reason struct {
	Rule   string   `json:"rule"` // stable name
	Passed bool     `json:"passed"`
	Value  *float64 `json:"value,omitempty"`
	Limit  *float64 `json:"limit,omitempty"`
	Text   string   `json:"text"`
}

// Decision of the line or the lot. ProbabilityWrong is nil where the readings
// do not allow one; Wrong says what would be wrong.
type Decision struct {
	Verdict          string   `json:"verdict"`
	Reasons          []Reason `json:"reasons"`
	Rule             string   `json:"rule"` // the one that decided
	ProbabilityWrong *float64 `json:"probability_wrong"`
	Wrong            string   `json:"wrong,omitempty"`
}

// Kinds of cause.
const (
	KindStartup   = "startup"
	KindRestart   = "restart"
	KindDrift     = "drift"
	KindStep      = "step"
	KindHead      = "head"
	KindStation   = "station"
	KindHeadspace = "headspace"
	KindLowFill   = "low_fill"
	KindMeter     = "meter"
	KindLate      = "late_reading"
	KindUnitSlip  = "unit_slip"
	KindTank      = "tank"
	KindLine      = "line"
)

// Cause is one thing that moved the readings. PPB is the mean excess of the
// packages it touched (drift: the rise from the first package to the last;
// late_reading, unit_slip and meter: by how much the readings are off).
type Cause struct {
	Kind     string    `json:"kind"`
	Where    string    `json:"where"` // head or station, else the start of the time span
	PPB      float64   `json:"ppb"`
	Low95    float64   `json:"low95_ppb"`
	High95   float64   `json:"high95_ppb"`
	RunMean  float64   `json:"run_mean_ppb"` // its part of the mean of all readings
	From     time.Time `json:"from"`
	To       time.Time `json:"to"`
	Packages int       `json:"packages"`        // readings it touched
	Errors   float64   `json:"standard_errors"` // size of the effect in its standard errors; 0: a fact of the record
	Evidence string    `json:"evidence"`
	NextTest string    `json:"next_test"`
}

// HeadMean is one head, with what the causes in time explain taken out.
type HeadMean struct {
	Head    string  `json:"head"`
	N       int     `json:"n"`
	Mean    float64 `json:"mean_tpo_ppb"`
	Low95   float64 `json:"low95_ppb"`
	High95  float64 `json:"high95_ppb"`
	Max     float64 `json:"max_tpo_ppb"`
	Ratio   float64 `json:"ratio"`             // to the other heads, as a factor
	Outside string  `json:"outside,omitempty"` // above or below the median head by more than chance and ordinary spread
}

// Split is the mean TPO by where it came in; nil where a reading is missing.
type Split struct {
	TPO          float64  `json:"tpo_ppb"`
	Tank         *float64 `json:"tank_ppb"`
	Line         *float64 `json:"line_ppb"`
	Inlet        *float64 `json:"inlet_ppb"`
	LiquidPickup *float64 `json:"liquid_pickup_ppb"`
	Unshaken     *float64 `json:"unshaken_ppb"`
	Headspace    *float64 `json:"headspace_ppb"`
}

// HeldSpan is the smallest span that must be held for one finding.
type HeldSpan struct {
	From     time.Time `json:"from"`
	To       time.Time `json:"to"`
	Head     string    `json:"head,omitempty"` // empty: all heads
	Open     bool      `json:"open"`           // no good reading after it yet
	Minutes  float64   `json:"running_minutes"`
	Packages *int      `json:"packages"` // nil when the speed of the line is not known
	Pallets  *int      `json:"pallets,omitempty"`
	Why      string    `json:"why"`
	FreedBy  string    `json:"freed_by"`
}

// Aside is a reading kept out of the figures, with the reason.
type Aside struct {
	ID  string    `json:"id,omitempty"`
	At  time.Time `json:"at"`
	Why string    `json:"why"`
}

// Set is a group of readings taken together.
type Set struct {
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
	N    int       `json:"n"`
	Mean float64   `json:"mean_tpo_ppb"`
	Max  float64   `json:"max_tpo_ppb"`
}
