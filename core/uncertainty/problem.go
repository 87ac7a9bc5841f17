package uncertainty

import "math"

// Shape is the distribution of an effect.
type Shape int

const (
	Normal Shape = iota
	Rectangular
	Triangular
	StudentT // with the effect's degrees of freedom, for a mean of few readings
)

// Loading says how far one standard deviation of an effect moves one input, in
// the input's unit, with its sign.
type Loading struct {
	Input int
	SD    float64
}

// Effect is one independent cause of error.
type Effect struct {
	Key   string // stable short name: "meter"
	Name  string // for a person: "DO meter"
	Shape Shape
	DoF   float64 // degrees of freedom behind the standard deviation; 0 means it is known
	On    []Loading
}

// Model is the measurement equation y = f(x). A model may keep constants of the
// last x to be fast, so it serves one goroutine.
type Model func(x []float64) float64

// Problem is a calculation with what is unknown of its inputs. NewModel makes
// the model, one for each goroutine.
type Problem struct {
	Values   []float64
	Effects  []Effect
	NewModel func() Model

	// Gradient, where there is one, writes ∂y/∂x; it saves the differences of
	// the first-order method. It may answer false for an x it does not cover.
	Gradient func(x, into []float64) bool

	// Range tells that the model is NaN outside the range of an input, and that
	// Monte Carlo draws such a trial again: what is known of the input is then its
	// distribution cut off at the ends of the range.
	Range bool
}

// Contribution is the part of the standard uncertainty that one effect brings.
type Contribution struct {
	Key   string  `json:"key"`
	Name  string  `json:"name"`
	U     float64 `json:"u"`     // standard uncertainty of the result from this effect alone, with the sign of its influence
	Share float64 `json:"share"` // of the variance, 0–1
}

// Result is an estimate with its uncertainty.
type Result struct {
	Value  float64        `json:"value"`
	U      float64        `json:"u"`   // standard uncertainty
	DoF    float64        `json:"dof"` // effective degrees of freedom; 0 for infinite
	K      float64        `json:"k"`   // coverage factor of the 95 % interval; 0 for Monte Carlo
	Low95  float64        `json:"low95"`
	High95 float64        `json:"high95"`
	Budget []Contribution `json:"budget,omitempty"` // largest first

	Trials int  `json:"trials,omitempty"` // Monte Carlo
	Stable bool `json:"stable,omitempty"` // Monte Carlo: the limits reached their tolerance
}

// standardU is the standard deviation of one input over all effects.
func (p *Problem) standardU(input int) float64 {
	sum := 0.0
	for i := range p.Effects {
		for _, l := range p.Effects[i].On {
			if l.Input == input {
				sum += l.SD * l.SD
			}
		}
	}
	return math.Sqrt(sum)
}
