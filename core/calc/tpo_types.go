package calc

import (
	"ullage/core/quantity"
	"ullage/core/uncertainty"
)

// MethodVersion names the way TPO is computed. It changes when a number does,
// with a line in docs/method.md.
const MethodVersion = "tpo/1"

// TPOInput is what is known of one package. Temperature, shaken DO and one way
// to the volumes are needed.
type TPOInput struct {
	Temperature *quantity.Temperature `json:"temperature_c" need:"yes" help:"temperature of the package when shaking ended"`
	ShakenDO    *quantity.ShakenDO    `json:"shaken_do_ppb" need:"yes" help:"dissolved oxygen read after shaking to equilibrium"`

	Gross      *quantity.Mass `json:"gross_g" help:"weight of the full closed package, before it is opened"`
	Tare       *quantity.Mass `json:"tare_g" help:"weight of the empty package with its closure"`
	TareSource string         `json:"tare_source" help:"own (this package, weighed empty) or lot (mean of a study; assumed when not said)"`
	TareSD     *quantity.Mass `json:"tare_sd_g" help:"spread of the empty weight within the lot, standard deviation"`
	TareN      int            `json:"tare_n" help:"how many empty packages the study weighed"`

	Capacity       *quantity.Volume      `json:"capacity_ml" help:"volume of the closed package filled to the brim"`
	CapacityWater  *quantity.Mass        `json:"capacity_water_g" help:"net weight in air of the water that fills the closed package to the brim"`
	WaterT         *quantity.Temperature `json:"water_temperature_c" help:"temperature of that water, 20 °C when not said"`
	CapacitySource string                `json:"capacity_source" help:"own (this package), lot (mean of a study; assumed when not said) or drawing"`
	CapacitySD     *quantity.Volume      `json:"capacity_sd_ml" help:"spread of the capacity within the lot, standard deviation"`
	CapacityN      int                   `json:"capacity_n" help:"how many packages the study measured"`

	SG         *quantity.SpecificGravity `json:"sg" help:"specific gravity 20/20 °C of the degassed beer"`
	AirDensity *quantity.Density         `json:"air_density_kg_m3" help:"density of the air around the balance, 1.2 when not said"`

	Gap           *quantity.Length          `json:"gap_mm" help:"height from the rim of a bottle down to the beer"`
	NeckGap       *quantity.Length          `json:"neck_gap_mm" help:"a height at which the headspace is known"`
	NeckHeadspace *quantity.Volume          `json:"neck_headspace_ml" help:"the headspace at neck_gap_mm"`
	NeckPerMM     *quantity.VolumePerLength `json:"neck_ml_per_mm" help:"volume of the neck per height"`

	Nominal *quantity.Volume `json:"nominal_ml" help:"declared volume: checks the weights, and is the fill where nothing is measured"`
	FillSD  *quantity.Volume `json:"fill_sd_ml" help:"spread of the fill, standard deviation"`
	Package string           `json:"package" help:"can, bottle or keg; guessed from the empty weight when not said"`

	UnshakenDO *quantity.UnshakenDO  `json:"unshaken_do_ppb" help:"dissolved oxygen of a neighbour that was not shaken"`
	InletDO    *quantity.DO          `json:"inlet_do_ppb" help:"dissolved oxygen at the filler inlet"`
	CO2        *quantity.Carbonation `json:"co2_vol" help:"carbonation of the beer, volumes"`
	ABV        *quantity.Alcohol     `json:"abv_pct" help:"alcohol of the beer, % by volume"`
	Since      *quantity.Minutes     `json:"minutes_since_closing_min" help:"time from closing the package to the reading"`
	Yeast      bool                  `json:"yeast_in_package" help:"true where live yeast is in the package"`
	Limit      *quantity.TPO         `json:"limit_ppb" help:"TPO limit to judge against"`

	Path        string             `json:"path" help:"auto, weighed, fill_height or assumed"`
	Corrections []string           `json:"corrections" help:"what the plain figure leaves out: co2, pressure, expansion, beer"`
	Uncertainty string             `json:"uncertainty" help:"gum, monte-carlo or none"`
	U           map[string]float64 `json:"u" help:"standard uncertainty by effect, in the unit of its input, instead of the assumed one"`
	UNames      map[string]string  `json:"u_names" help:"name of the instrument behind an effect of u, for the budget"`
	Trials      int                `json:"trials" help:"Monte Carlo: run so many trials, in blocks of 10,000 and two blocks at least; adaptive when not said"`
	Explain     bool               `json:"explain" help:"add the derivation"`
}

// TPOResult is the figure and where it comes from. Volumes in mL, oxygen in
// ppb (µg per litre of beer) or µg.
type TPOResult struct {
	Beer             float64 `json:"beer_ml"`
	Headspace        float64 `json:"headspace_ml"`
	PartitionRatio   float64 `json:"partition_ratio"`
	TPO              float64 `json:"tpo_ppb"`
	U                float64 `json:"tpo_u_ppb"`
	Low95            float64 `json:"tpo_low95_ppb"`
	High95           float64 `json:"tpo_high95_ppb"`
	Oxygen           float64 `json:"oxygen_ug"`
	HeadspaceShare   float64 `json:"headspace_share"`
	Capacity         float64 `json:"capacity_ml"`
	BeerDensity      float64 `json:"beer_density_kg_m3"`
	TotalToDissolved float64 `json:"total_to_dissolved"`
	Liquid           float64 `json:"liquid_ug"`
	Gas              float64 `json:"headspace_ug"`
	Air              float64 `json:"headspace_air_ml"` // dry air at 20 °C, 1 atm, that holds the package's oxygen
	Path             string  `json:"path"`
	Method           string  `json:"method"`

	// Detail, left out of a batch.
	PathReason    string                     `json:"path_reason,omitempty"`
	Paths         []PathResult               `json:"paths,omitempty"`
	DoF           float64                    `json:"tpo_dof,omitempty"`
	Coverage      float64                    `json:"coverage_factor,omitempty"`
	Trials        int                        `json:"trials,omitempty"`
	Budget        []uncertainty.Contribution `json:"budget,omitempty"`
	Next          *Improvement               `json:"next_measurement,omitempty"`
	Improvements  []Improvement              `json:"improvements,omitempty"`
	BeerCorrected *float64                   `json:"beer_corrected_tpo_ppb,omitempty"`
	Corrections   []Effect                   `json:"corrections,omitempty"`
	Limit         *LimitResult               `json:"limit,omitempty"`
	Split         *SplitResult               `json:"split,omitempty"`
	FillBias      *float64                   `json:"nominal_fill_bias_ppb,omitempty"`
}

// PathResult is what one way to the headspace gives.
type PathResult struct {
	Path      string  `json:"path"`
	Headspace float64 `json:"headspace_ml"`
	TPO       float64 `json:"tpo_ppb"`
	U         float64 `json:"tpo_u_ppb"`
	Used      bool    `json:"used"`
}

// Improvement is a better measurement and what it would buy.
type Improvement struct {
	What string  `json:"what"`
	U    float64 `json:"tpo_u_ppb"` // standard uncertainty with it
	Gain float64 `json:"gain_ppb"`  // by how much the half-width of the 95 % interval shrinks
}

// Effect is what one correction changes.
type Effect struct {
	Name   string  `json:"name"`
	Change float64 `json:"change_ppb"`
}

// LimitResult judges the figure against a TPO limit.
type LimitResult struct {
	Limit            float64 `json:"limit_ppb"`
	ProbabilityAbove float64 `json:"probability_above"`
	ShakenDO         float64 `json:"shaken_do_at_limit_ppb"` // the reading that just meets the limit in this package
}

// SplitResult is where the oxygen of the package came in. A part without its
// reading is nil.
type SplitResult struct {
	Inlet        *float64 `json:"inlet_ppb,omitempty"`
	LiquidPickup *float64 `json:"liquid_pickup_ppb,omitempty"`
	Headspace    float64  `json:"headspace_ppb"` // TPO less unshaken DO
}

// The ways to the headspace.
const (
	PathAuto       = "auto"
	PathWeighed    = "weighed"
	PathFillHeight = "fill_height"
	PathAssumed    = "assumed"
)

// The corrections beyond the plain figure.
const (
	CorrectCO2       = "co2"       // density of dissolved CO2 and weight of the headspace gas
	CorrectPressure  = "pressure"  // partition ratio at the CO2 pressure of the headspace
	CorrectExpansion = "expansion" // thermal expansion of ethanol and extract
	CorrectBeer      = "beer"      // solubility of oxygen in beer below that in water
)
