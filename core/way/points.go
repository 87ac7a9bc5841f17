package way

import "slices"

// Points of the way, in order. Up to Pitched12h it is wort.
const (
	WortCooled      = "wort_cooled"
	WortOxygenated  = "wort_oxygenated"
	Pitched12h      = "pitched_12h"
	FermentationEnd = "fermentation_end"
	DryHopBefore    = "dry_hop_before"
	DryHop1h        = "dry_hop_1h"
	DryHop24h       = "dry_hop_24h"
	TankBefore      = "tank_before"
	CentrifugeIn    = "centrifuge_in"
	CentrifugeOut   = "centrifuge_out"
	FilterIn        = "filter_in"
	FilterOut       = "filter_out"
	CarbonateBefore = "carbonation_before"
	CarbonateAfter  = "carbonation_after"
	TankAfter       = "tank_after"
	TankRested      = "tank_rested"
	TankHold        = "tank_hold"
	TankGasPoint    = "tank_gas"
	LineStart       = "line_start"
	FillerInlet     = "filler_inlet"
	Unshaken        = "unshaken"
	TPO             = "tpo"
)

// Points lists them in the order of the way.
var Points = []string{WortCooled, WortOxygenated, Pitched12h, FermentationEnd, DryHopBefore, DryHop1h, DryHop24h, TankBefore, CentrifugeIn, CentrifugeOut,
	FilterIn, FilterOut, CarbonateBefore, CarbonateAfter, TankAfter, TankRested, TankHold, TankGasPoint, LineStart, FillerInlet, Unshaken, TPO}

// Steps that pickup is booked to. Oxygenation and fermentation have no budget:
// the one is wanted, the other takes oxygen up.
const (
	StepOxygenation  = "oxygenation"
	StepFermentation = "fermentation"
	StepDryHop       = "dry_hop"
	StepTransfer     = "transfer"
	StepCentrifuge   = "centrifuge"
	StepFilter       = "filter"
	StepCarbonation  = "carbonation"
	StepHold         = "hold"
	StepLine         = "line"
	StepFilling      = "filling"
	StepHeadspace    = "headspace"
	StepAddition     = "addition"
)

// EventPPB is where a reading after fermentation is a slip of the unit or an
// event, common practice.
const EventPPB = 1000

// DefaultBudgets are starting points from common practice: small brewery, good
// practice. That of transfer is for the whole move, centrifuge and filter in it.
func DefaultBudgets() []Budget {
	return []Budget{{StepDryHop, 8}, {StepTransfer, 12}, {StepCentrifuge, 10}, {StepFilter, 30}, {StepCarbonation, 2},
		{StepHold, 2}, {StepLine, 5}, {StepFilling, 20}, {StepHeadspace, 60}}
}

// DefaultLimits are starting points from common practice for a small brewery.
// Wort is judged the other way round: see wortState.
func DefaultLimits() []Limit {
	return []Limit{{FermentationEnd, 10, 20}, {DryHop1h, 50, 200}, {DryHop24h, 30, 50}, {TankBefore, 30, 50}, {TankAfter, 30, 50},
		{CarbonateAfter, 30, 50}, {TankRested, 30, 50}, {TankHold, 30, 50}, {FillerInlet, 40, 80}, {Unshaken, 70, 140}, {TPO, 120, 200}}
}

// IsWort tells that a point is of wort, where oxygen is wanted.
func IsWort(point string) bool {
	i := slices.Index(Points, point)
	return i >= 0 && i <= slices.Index(Points, Pitched12h)
}

// ofPackage tells points that belong to a run.
func ofPackage(point string) bool { return point == Unshaken || point == TPO }

// rank is the place of a point in the vessel it is read in, for readings
// without a time.
func rank(point string) int {
	if point == TankAfter {
		return slices.Index(Points, Pitched12h)*10 + 5 // what arrives comes before what is done with it
	}
	if point == TankBefore {
		return slices.Index(Points, TankGasPoint)*10 + 5
	}
	return slices.Index(Points, point) * 10
}
