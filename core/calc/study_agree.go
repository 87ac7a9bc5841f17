package calc

import (
	"math"
	"slices"

	"ullage/core/quantity"
	"ullage/core/stats"
)

// Starting points of the agreement of calculated and direct TPO, all common
// practice and all to be overwritten.
const (
	agreeMargin   = 5    // ppb, for the mean difference and, at least, for a pair
	agreePairs    = 10   // pairs before anything may stand in
	agreeAlpha    = 0.05 // of each one-sided test
	agreePower    = 0.8  // with which the pairs still needed would show it
	directPPB     = 1    // u of a direct reading that says none: the larger of this …
	directShare   = 0.02 // … and this share of it
	agreeShare    = 0.95 // of differences within the limits of agreement
	headspaceRisk = 0.01 // p below which a dependence on the headspace is taken as shown
)

// AgreePair is one package read both ways, or two neighbours of one head.
type AgreePair struct {
	ID          label            `json:"id" help:"name of the pair"`
	Calculated  *quantity.TPO    `json:"calculated_ppb" need:"yes" help:"TPO calculated from shaken DO and volumes"`
	Direct      *quantity.TPO    `json:"direct_ppb" need:"yes" help:"TPO read directly"`
	CalculatedU *quantity.TPO    `json:"calculated_u_ppb" help:"standard uncertainty of the calculated figure"`
	DirectU     *quantity.TPO    `json:"direct_u_ppb" help:"standard uncertainty of the direct reading; the larger of 1 ppb and 2 % where only the other is given"`
	Beer        *quantity.Volume `json:"beer_ml" help:"volume of the beer: with headspace_ml, shows a dependence on the headspace"`
	Headspace   *quantity.Volume `json:"headspace_ml" help:"volume of the headspace"`
}

// AgreeInput is an agreement study.
type AgreeInput struct {
	Margin   *quantity.TPO   `json:"margin_ppb" help:"the mean difference must lie within ± this; 5, common practice, when not said"`
	MinPairs int             `json:"min_pairs" help:"pairs before anything may stand in; 10, common practice, when not said"`
	Ratio    float64         `json:"error_ratio" help:"Deming: error variance of the calculated figure over that of the direct reading; 1 when not said"`
	Rows     Rows[AgreePair] `json:"rows" need:"yes" help:"list of pairs: id, calculated_ppb, direct_ppb, and where known calculated_u_ppb, direct_u_ppb, beer_ml, headspace_ml"`
}

// AgreeResult compares the two; a difference is calculated − direct, ppb, and
// the direct reading is x of the lines. Every _low95 and _high95 bounds a 95 %
// interval. What too few pairs cannot give is null.
type AgreeResult struct {
	N           int       `json:"n"`
	Verdict     string    `json:"verdict"`
	Sentence    string    `json:"sentence"`
	Because     []Because `json:"because"`
	Equivalent  bool      `json:"equivalent"`
	EquivalentP float64   `json:"equivalent_p"`
	Margin      float64   `json:"margin_ppb"`
	PairsNeeded *int      `json:"pairs_needed"` // in all; null where no number helps
	PairsMore   *int      `json:"pairs_more"`

	Bias        float64 `json:"bias_ppb"`
	BiasLow95   float64 `json:"bias_ppb_low95"`
	BiasHigh95  float64 `json:"bias_ppb_high95"`
	BiasLow90   float64 `json:"bias_ppb_low90"` // the interval that must lie within the margin
	BiasHigh90  float64 `json:"bias_ppb_high90"`
	SD          float64 `json:"sd_ppb"`
	LoaLow      float64 `json:"loa_low_ppb"`
	LoaLowLow   float64 `json:"loa_low_ppb_low95"`
	LoaLowHigh  float64 `json:"loa_low_ppb_high95"`
	LoaHigh     float64 `json:"loa_high_ppb"`
	LoaHighLow  float64 `json:"loa_high_ppb_low95"`
	LoaHighHigh float64 `json:"loa_high_ppb_high95"`
	// The same limits with the approximate intervals of Bland and Altman (1999).
	ApproxLowLow   float64 `json:"loa_low_ppb_approximate_low95"`
	ApproxLowHigh  float64 `json:"loa_low_ppb_approximate_high95"`
	ApproxHighLow  float64 `json:"loa_high_ppb_approximate_low95"`
	ApproxHighHigh float64 `json:"loa_high_ppb_approximate_high95"`

	DemingSlope         *float64 `json:"deming_slope"`
	DemingSlopeLow      *float64 `json:"deming_slope_low95"`
	DemingSlopeHigh     *float64 `json:"deming_slope_high95"`
	DemingIntercept     *float64 `json:"deming_intercept"`
	DemingInterceptLow  *float64 `json:"deming_intercept_low95"`
	DemingInterceptHigh *float64 `json:"deming_intercept_high95"`
	PBSlope             *float64 `json:"passing_bablok_slope"`
	PBSlopeLow          *float64 `json:"passing_bablok_slope_low95"`
	PBSlopeHigh         *float64 `json:"passing_bablok_slope_high95"`
	PBIntercept         *float64 `json:"passing_bablok_intercept"`
	PBInterceptLow      *float64 `json:"passing_bablok_intercept_low95"`
	PBInterceptHigh     *float64 `json:"passing_bablok_intercept_high95"`
	// The same with the scatter of the median joined (S41a): holds the truth as
	// often as it says.
	PBJoinedLow     *float64 `json:"passing_bablok_intercept_joined_low95"`
	PBJoinedHigh    *float64 `json:"passing_bablok_intercept_joined_high95"`
	Concordance     *float64 `json:"concordance"`
	ConcordanceLow  *float64 `json:"concordance_low95"`
	ConcordanceHigh *float64 `json:"concordance_high95"`

	DirectLow  float64         `json:"direct_lowest_ppb"`
	DirectHigh float64         `json:"direct_highest_ppb"`
	Within     int             `json:"pairs_within"`
	WithinP    float64         `json:"pairs_within_p"` // of so few, if 95 % lie within
	Pairs      []AgreePairRead `json:"pairs"`
}

// AgreePairRead is a pair against its own limit, max(margin, 2u).
type AgreePairRead struct {
	ID         label   `json:"id"`
	Calculated float64 `json:"calculated_ppb"`
	Direct     float64 `json:"direct_ppb"`
	Mean       float64 `json:"mean_ppb"`
	Difference float64 `json:"difference_ppb"`
	U          float64 `json:"u_ppb"` // of the difference; 0 where unknown
	Allowed    float64 `json:"allowed_ppb"`
	Within     bool    `json:"within"`
}

// agreement is one study on its way.
type agreement struct {
	in                 *AgreeInput
	out                AgreeResult
	calculated, direct []float64
	deming             *stats.Line
	warnings           []Warning
	known              bool // every pair has its uncertainty
}

// Agree compares calculated with direct TPO, or any two methods (docs/instruments.md).
func Agree(in *AgreeInput) (Answer, error) {
	a := agreement{in: in}
	a.out.Margin = valueOr(in.Margin, agreeMargin)
	if !(a.out.Margin > 0 && a.out.Margin < 1e6) {
		return Answer{}, refuse("margin_ppb", a.out.Margin, "ppb is no margin", "give for example 5")
	}
	if in.MinPairs < 0 || in.MinPairs > maxStudyRows {
		return Answer{}, refuse("min_pairs", float64(in.MinPairs), "is no number of pairs", "give for example 10")
	}
	if err := a.read(); err != nil {
		return Answer{}, err
	}
	if err := a.limits(); err != nil {
		return Answer{}, err
	}
	if err := a.lines(); err != nil {
		return Answer{}, err
	}
	a.judge()
	return Answer{Result: a.out, Warnings: a.warnings}, nil
}

// read takes the pairs and holds each against its own limit.
func (a *agreement) read() error {
	if len(a.in.Rows) < 4 {
		return tooFewRows(len(a.in.Rows), 4)
	}
	a.known = true
	assumed := false
	for i, p := range a.in.Rows {
		if p.Calculated == nil || p.Direct == nil {
			return inRow(i, missing("calculated_ppb or direct_ppb"))
		}
		for _, c := range []struct {
			field string
			v     float64
			least float64
		}{
			{"calculated_ppb", float64(*p.Calculated), math.Inf(-1)}, {"direct_ppb", float64(*p.Direct), math.Inf(-1)},
			{"calculated_u_ppb", valueOr(p.CalculatedU, 0), 0}, {"direct_u_ppb", valueOr(p.DirectU, 0), 0},
			{"beer_ml", valueOr(p.Beer, 1), 1e-3}, {"headspace_ml", valueOr(p.Headspace, 0), 0},
		} {
			if err := usable(c.field, c.v); err != nil {
				return inRow(i, err)
			}
			if c.v < c.least {
				return inRow(i, refuse(c.field, c.v, "is below zero", "type it again"))
			}
		}
		r := AgreePairRead{ID: p.ID, Calculated: float64(*p.Calculated), Direct: float64(*p.Direct)}
		u := valueOr(p.DirectU, 0)
		if p.DirectU == nil && p.CalculatedU != nil {
			u, assumed = max(directPPB, directShare*r.Direct), true
		}
		a.known = a.known && p.CalculatedU != nil
		r.Mean, r.Difference = (r.Calculated+r.Direct)/2, r.Calculated-r.Direct
		r.U = math.Hypot(u, valueOr(p.CalculatedU, 0))
		r.Allowed = max(a.out.Margin, 2*r.U)
		if r.Within = math.Abs(r.Difference) <= r.Allowed*(1+1e-12); r.Within {
			a.out.Within++
		}
		if c, d := math.Abs(r.Calculated), math.Abs(r.Direct); c > 300*d && d > 0 || d > 300*c && c > 0 {
			a.warn("unit_unlikely", "rows", string(r.ID), "one of the pair is hundreds of times the other: ppm typed as ppb?", "give both in one unit, or name the column's unit: direct_ppm")
		}
		a.out.Pairs = append(a.out.Pairs, r)
		a.calculated, a.direct = append(a.calculated, r.Calculated), append(a.direct, r.Direct)
	}
	a.out.N = len(a.direct)
	a.out.DirectLow, a.out.DirectHigh = slices.Min(a.direct), slices.Max(a.direct)
	a.out.WithinP = atMost(a.out.Within, a.out.N, agreeShare)
	if assumed {
		a.warn("direct_u_assumed", "direct_u_ppb", "", "the direct reading is taken as good to the larger of 1 ppb and 2 % (common practice)", "give its own uncertainty")
	}
	return nil
}

func (a *agreement) warn(code, field, value, message, mend string) {
	a.warnings = warn(a.warnings, code, field, value, message, mend)
}

// limits are bias, limits of agreement, and the two one-sided tests.
func (a *agreement) limits() error {
	r, err := stats.Agreement(a.calculated, a.direct, stats.Symmetric, agreeShare, 0.95)
	if err != nil {
		return statsError("rows", err)
	}
	e, err := stats.Equivalence(a.calculated, a.direct, stats.Symmetric, -a.out.Margin, a.out.Margin, agreeAlpha)
	if err != nil {
		return statsError("rows", err)
	}
	o := &a.out
	o.Bias, o.BiasLow95, o.BiasHigh95, o.SD = r.Bias, r.BiasInterval.Low, r.BiasInterval.High, r.SD
	o.BiasLow90, o.BiasHigh90, o.Equivalent, o.EquivalentP = e.Interval.Low, e.Interval.High, e.Equivalent, e.P
	o.LoaLow, o.LoaLowLow, o.LoaLowHigh = r.Lower.Value, r.Lower.Interval.Low, r.Lower.Interval.High
	o.LoaHigh, o.LoaHighLow, o.LoaHighHigh = r.Upper.Value, r.Upper.Interval.Low, r.Upper.Interval.High
	o.ApproxLowLow, o.ApproxLowHigh = r.Lower.Approximate.Low, r.Lower.Approximate.High
	o.ApproxHighLow, o.ApproxHighHigh = r.Upper.Approximate.Low, r.Upper.Approximate.High
	if r.TrendP < 0.05 && r.Trend > 0 {
		a.warn("scatter_grows", "rows", "", "the differences scatter more at higher TPO: one pair of limits does not fit all levels", "judge low and high levels apart, or look at the limits as too wide below and too narrow above")
	}
	return nil
}

// lines are Deming, Passing–Bablok and concordance, where the pairs allow them.
func (a *agreement) lines() error {
	ratio := a.in.Ratio
	if ratio == 0 {
		ratio = 1
	}
	if !(ratio > 1e-6 && ratio < 1e6) {
		return refuse("error_ratio", ratio, "is no ratio of variances", "give for example 1")
	}
	o := &a.out
	if l, err := stats.Deming(a.direct, a.calculated, ratio, 0.95); err == nil && l.Slope > 0 {
		a.deming = &l
		o.DemingSlope, o.DemingSlopeLow, o.DemingSlopeHigh = three(l.Slope, l.SlopeInterval)
		o.DemingIntercept, o.DemingInterceptLow, o.DemingInterceptHigh = three(l.Intercept, l.InterceptInterval)
	}
	if l, err := stats.PassingBablok(a.direct, a.calculated, 0.95); err == nil {
		o.PBSlope, o.PBSlopeLow, o.PBSlopeHigh = three(l.Slope, l.SlopeInterval)
		o.PBIntercept, o.PBInterceptLow, o.PBInterceptHigh = three(l.Intercept, l.InterceptInterval)
		_, o.PBJoinedLow, o.PBJoinedHigh = three(l.Intercept, l.InterceptJoined)
	}
	if c, err := stats.Concordance(a.calculated, a.direct, 0.95); err == nil {
		o.Concordance, o.ConcordanceLow, o.ConcordanceHigh = three(c.Value, c.Interval)
	}
	if o.DemingSlope == nil || o.PBSlope == nil || o.Concordance == nil {
		a.warn("no_line", "rows", "", "a line or the concordance could not be found: too few pairs, or no common rise", "take pairs over a wider range of TPO")
	}
	return nil
}

// three are a value and its interval, null where they are not finite.
func three(v float64, in stats.Interval) (value, low, high *float64) {
	return finite(v), finite(in.Low), finite(in.High)
}

// atMost is the probability of k or fewer hits out of n, each with p.
func atMost(k, n int, p float64) float64 {
	lgamma := func(v int) float64 { g, _ := math.Lgamma(float64(v)); return g }
	var sum float64
	for i := 0; i <= k; i++ {
		sum += math.Exp(lgamma(n+1) - lgamma(i+1) - lgamma(n-i+1) + float64(i)*math.Log(p) + float64(n-i)*math.Log1p(-p))
	}
	return math.Min(1, sum)
}
