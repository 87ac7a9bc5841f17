package causes

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"ullage/core/quantity"
	"ullage/core/uncertainty"
	"ullage/core/way"
)

// FlowPoint is the pickup between two points at one flow.
type FlowPoint struct {
	FlowHLH, Delta, U float64
}

// FlowTest is what pickups at several flows say (eq. 48).
type FlowTest struct {
	Kind      string  `json:"kind"` // leak, proportional, suction, unclear or nothing
	N         int     `json:"n"`
	P         float64 `json:"p"`                      // that noise alone does this
	GramsPerH float64 `json:"grams_per_h,omitempty"`  // of a leak
	Low95     float64 `json:"low95,omitempty"`        // of the figure of its kind
	High95    float64 `json:"high95,omitempty"`       //
	AirMLMin  float64 `json:"air_ml_min,omitempty"`   // of a leak
	PPB       float64 `json:"ppb"`                    // at the mean flow
	PerFlow   float64 `json:"ppb_per_hl_h,omitempty"` // of suction
	Chi2      float64 `json:"chi2"`                   // about the fit
	Next      string  `json:"next_best,omitempty"`    // the kind that fits second best
	NextChi2  float64 `json:"next_chi2,omitempty"`    //
	Said      string  `json:"said"`
	scale2    float64
	mean      float64
}

// shapesOfFlow are Δ = a Qᵖ: a leak, a dose, suction.
var shapesOfFlow = []struct {
	kind  string
	power float64
}{{FoundLeak, -1}, {FoundProportional, 0}, {FoundSuction, 1}}

// clear is how much worse, in χ², the second best shape must fit: odds of 20.
const clear = 6

// TestFlows fits the three shapes with the points' own uncertainties. It says
// nothing where noise alone is likely at the level of one in fifty, and that the
// flows do not tell where two shapes fit alike.
func TestFlows(points []FlowPoint) FlowTest { return testFlows(points, Alpha) }

func testFlows(points []FlowPoint, level float64) FlowTest {
	t := FlowTest{Kind: FoundNothing, N: len(points), P: 1}
	least, most, chi0, weight := math.Inf(1), 0.0, 0.0, 0.0
	for _, p := range points {
		least, most = math.Min(least, p.FlowHLH), math.Max(most, p.FlowHLH)
		w := 1 / (p.U * p.U)
		chi0 += p.Delta * p.Delta * w
		t.PPB += w * p.Delta
		t.mean += w * p.FlowHLH
		weight += w
	}
	if len(points) == 0 {
		t.Said = "no readings on both sides at a known flow"
		return t
	}
	t.PPB, t.mean = t.PPB/weight, t.mean/weight
	t.P = 1 - distuv.ChiSquared{K: float64(len(points))}.CDF(chi0)
	switch {
	case t.P > level:
		t.Said = fmt.Sprintf("%d pick-ups are inside their scatter: nothing resolved", len(points))
		return t
	case t.PPB <= uncertainty.Normal95/math.Sqrt(weight):
		t.Said = "the readings after are not above those before on the whole: an offset, consumption, or readings in the wrong order"
		t.Kind = FoundUnclear
		return t
	case most < 1.25*least:
		t.Kind = FoundUnclear
		t.Said = fmt.Sprintf("oxygen comes in, %s ppb; all flows are alike, so its kind is not told: read again at half the flow", quantity.Signed(t.PPB))
		return t
	}
	t.fit(points)
	return t
}

// fit compares the shapes.
func (t *FlowTest) fit(points []FlowPoint) {
	type fitted struct{ a, se, chi2 float64 }
	fits := make([]fitted, len(shapesOfFlow))
	best, second := -1, -1
	for i, s := range shapesOfFlow {
		var xx, xy float64
		for _, p := range points {
			x, w := math.Pow(p.FlowHLH, s.power), 1/(p.U*p.U)
			xx += x * x * w
			xy += x * p.Delta * w
		}
		f := fitted{a: xy / xx, se: 1 / math.Sqrt(xx)}
		for _, p := range points {
			f.chi2 += math.Pow((p.Delta-f.a*math.Pow(p.FlowHLH, s.power))/p.U, 2)
		}
		fits[i] = f
		switch {
		case best < 0 || f.chi2 < fits[best].chi2:
			best, second = i, best
		case second < 0 || f.chi2 < fits[second].chi2:
			second = i
		}
	}
	t.scale2 = 1
	if df := len(points) - 1; df > 1 {
		t.scale2 = math.Max(1, fits[best].chi2/float64(df))
	}
	t.Chi2, t.Next, t.NextChi2 = fits[best].chi2, shapesOfFlow[second].kind, fits[second].chi2
	if (t.NextChi2-t.Chi2)/t.scale2 < clear {
		t.Kind = FoundUnclear
		t.Said = fmt.Sprintf("oxygen comes in, %s ppb; %s and %s fit alike: read again at a flow farther away", quantity.Signed(t.PPB), kindWords[shapesOfFlow[best].kind], kindWords[t.Next])
		return
	}
	t.Kind = shapesOfFlow[best].kind
	a, half := fits[best].a, uncertainty.Normal95*fits[best].se*math.Sqrt(t.scale2)
	t.PPB = a * math.Pow(t.mean, shapesOfFlow[best].power)
	switch t.Kind {
	case FoundLeak:
		t.GramsPerH, t.Low95, t.High95 = way.Grams(a, 1), way.Grams(a-half, 1), way.Grams(a+half, 1)
		t.AirMLMin = way.AirLeak(a, 1)
		t.Said = fmt.Sprintf("pick-up × flow is constant: %s mg of oxygen an hour come in, %s mL of air a minute", quantity.Figure(t.GramsPerH*1000), quantity.Figure(t.AirMLMin))
	case FoundProportional:
		t.Low95, t.High95 = a-half, a+half
		t.Said = fmt.Sprintf("pick-up does not follow the flow: %s ppb at every flow", quantity.Signed(a))
	case FoundSuction:
		t.PerFlow, t.Low95, t.High95 = a, a-half, a+half
		t.Said = fmt.Sprintf("pick-up rises with the flow: %s ppb for each hL/h", quantity.Signed(a))
	}
}

var kindWords = map[string]string{FoundLeak: "a constant leak", FoundProportional: "something dosed in proportion", FoundSuction: "suction that grows with the flow"}
