package causes

// Kinds of finding.
const (
	FoundLeak         = "leak"         // so much oxygen an hour, whatever the flow
	FoundProportional = "proportional" // so much for each hL: dosed, or an offset between meters
	FoundSuction      = "suction"      // more with more flow
	FoundWashout      = "washout"      // a rest of air or water is washed out
	FoundTankGas      = "tank_gas"     // the gas above the beer gives to it
	FoundConsumption  = "consumption"  // yeast takes oxygen up
	FoundDryHop       = "dry_hop"      // air that came with the hops
	FoundStep         = "step"         // from one moment on
	FoundRise         = "rise"         // more and more
	FoundCycle        = "cycle"        // it swings with a period
	FoundExchanged    = "exchanged"    // what was read before and after changed places
	FoundMeter        = "meter"        // two meters differ
	FoundOffset       = "offset"       // lower where nothing takes oxygen up
	FoundPickup       = "pickup"       // over its budget, and nothing says why
	FoundUnclear      = "unclear"      // oxygen comes in; the flows do not say how
	FoundNothing      = "nothing"      // nothing resolved
)

// Kinds lists them, for those who give them words.
var Kinds = []string{FoundLeak, FoundProportional, FoundSuction, FoundWashout, FoundTankGas, FoundConsumption, FoundDryHop, FoundStep, FoundRise, FoundCycle, FoundExchanged, FoundMeter, FoundOffset, FoundPickup, FoundUnclear}

// Alpha is the share of tests of pure noise that may name something.
const Alpha = 0.02

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

// checkOf is what would confirm a finding, common practice.
var checkOf = map[string]string{
	FoundLeak:         "a fixed leak: gasket, shaft seal, sample cock, permeable hose between the two points; bracket it and move half the distance each time",
	FoundProportional: "stop each stream in turn: dosing, slurry, blending water, CO2; then swap or zero the meters, an offset looks the same",
	FoundSuction:      "suction pressure (keep above 0.5 bar gauge), inlet valve, anything that throttles before the pump",
	FoundWashout:      "flush longer before beer goes to the tank, heads to recovery; purge and fill the vessel of that volume with deaerated water",
	FoundTankGas:      "oxygen in the top gas and in the counter gas main; close the gas and read again in an hour: the rise must stop",
	FoundConsumption:  "find what brought the oxygen in; what yeast took up has done its harm",
	FoundDryHop:       "purge of the doser: cycles, gas, bags open; dose while yeast is active",
	FoundStep:         "look in the record for what changed then: tank, valve, hose, gas, person; undo it: the next reading must step back",
	FoundRise:         "suction pressure, level in the giving tank, gas of the giving tank, temperature of the meter",
	FoundCycle:        "what turns as often: pump, centrifuge discharge, dosing stroke, a valve on level or pressure, cooling; hold it still through two turns: the swing must stop",
	FoundExchanged:    "tubes, labels and meters of the two points: which was where? If they changed places, correct both records; else read both again within 5 min with one meter",
	FoundMeter:        "zero both meters; read both points with one of them",
	FoundOffset:       "read both points again with one meter within 5 min",
	FoundUnclear:      "bracket it, and read at half the flow",
	FoundNothing:      "nothing to mend by these readings; more replicates would find less",
}
