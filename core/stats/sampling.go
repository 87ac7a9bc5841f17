package stats

import (
	"math"
	"strconv"
)

// ToleranceFactor is k such that mean + k·s of n normal values lies above the
// p-quantile of the population with the given confidence (eq. S21; ISO 16269-6).
func ToleranceFactor(n int, p, confidence float64) (float64, error) {
	if n < 2 || n > 1e6 {
		return 0, &Error{Field: "n", Value: strconv.Itoa(n), Message: "out of range", Mend: "use 2 to 1000000 values"}
	}
	if err := checkProbability("p", p); err != nil {
		return 0, err
	}
	if err := checkProbability("confidence", confidence); err != nil {
		return 0, err
	}
	root := math.Sqrt(float64(n))
	return NoncentralTQuantile(confidence, float64(n-1), root*NormalQuantile(p)) / root, nil
}

// ToleranceLimit is a bound that a share P of the population stays within, with
// the stated confidence.
type ToleranceLimit struct {
	ScaleChoice
	N          int     `json:"n"`
	P          float64 `json:"p"`
	Confidence float64 `json:"confidence"`
	Factor     float64 `json:"factor"`
	Upper      float64 `json:"upper"` // a share P lies below
	Lower      float64 `json:"lower"` // a share P lies above; each bound holds by itself
}

// Tolerance gives one-sided limits from at least two values.
func Tolerance(x []float64, nature Nature, p, confidence float64) (ToleranceLimit, error) {
	if err := checkValues("x", x, 2); err != nil {
		return ToleranceLimit{}, err
	}
	k, err := ToleranceFactor(len(x), p, confidence)
	if err != nil {
		return ToleranceLimit{}, err
	}
	choice := ChooseScale(x, nature)
	m, s := meanSDOf(choice.Scale.forwardAll(x))
	l := ToleranceLimit{choice, len(x), p, confidence, k, choice.Scale.back(m + k*s), choice.Scale.back(m - k*s)}
	return l, checkResult(l.Upper, l.Lower)
}

// ToleranceCount is the smallest n whose largest value lies above the p-quantile
// with the given confidence, whatever the distribution: 1 − pⁿ ≥ confidence.
func ToleranceCount(p, confidence float64) (int, error) {
	if err := checkInside("p", p, 1e-12, 1-1e-9); err != nil {
		return 0, err
	}
	if err := checkProbability("confidence", confidence); err != nil {
		return 0, err
	}
	return int(math.Ceil(math.Log1p(-confidence)/math.Log(p) - 1e-9)), nil
}

// Plan of acceptance sampling by variables: accept when (limit − mean)/s ≥ K.
// Sigma says whether σ is known (then it stands in for s).
type Plan struct {
	N     int     `json:"n"`
	K     float64 `json:"k"`
	Known bool    `json:"sigma_known"`
}

// Accept is the probability that the plan accepts a lot with a share p beyond
// the limit: the operating characteristic (eq. S22).
func (q Plan) Accept(p float64) (float64, error) {
	if q.N < 1 || (q.N < 2 && !q.Known) {
		return 0, tooFew("n", q.N, 2)
	}
	if err := checkFinite("k", q.K); err != nil {
		return 0, err
	}
	if err := checkProbability("p", p); err != nil {
		return 0, err
	}
	root, z := math.Sqrt(float64(q.N)), NormalQuantile(1-p)
	if q.Known {
		return NormalCDF(root * (z - q.K)), nil
	}
	return 1 - NoncentralTCDF(q.K*root, float64(q.N-1), root*z), nil
}

// Curve is the operating characteristic at each share of p.
func (q Plan) Curve(p []float64) ([]float64, error) {
	out := make([]float64, len(p))
	for i, v := range p {
		var err error
		if out[i], err = q.Accept(v); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// Risks of a plan: a lot with Good beyond the limit is accepted with at least
// 1 − Producer, one with Bad with at most Consumer.
type Risks struct {
	Good     float64 `json:"good"`
	Producer float64 `json:"producer"`
	Bad      float64 `json:"bad"`
	Consumer float64 `json:"consumer"`
}

// FindPlan is the smallest plan that keeps both risks (eq. S23). K meets the
// producer's risk exactly; the slack of a whole n goes to the consumer.
func FindPlan(r Risks, known bool) (Plan, error) {
	for _, v := range []struct {
		field string
		v     float64
	}{{"good", r.Good}, {"bad", r.Bad}, {"producer", r.Producer}, {"consumer", r.Consumer}} {
		if err := checkProbability(v.field, v.v); err != nil {
			return Plan{}, err
		}
	}
	if r.Good >= r.Bad {
		return Plan{}, refuse("bad", r.Bad, "not above the good share", "give a worse share as bad")
	}
	if r.Producer+r.Consumer >= 1 {
		return Plan{}, refuse("consumer", r.Consumer, "the risks together must stay below 1", "give smaller risks")
	}
	za, zb := NormalQuantile(1-r.Producer), NormalQuantile(1-r.Consumer)
	z1, z2 := NormalQuantile(1-r.Good), NormalQuantile(1-r.Bad)
	n := math.Pow((za+zb)/(z1-z2), 2)
	k := (z1*zb + z2*za) / (za + zb)
	if known {
		size := max(1, int(math.Ceil(n-1e-9)))
		return Plan{size, z1 - za/math.Sqrt(float64(size)), true}, nil
	}
	if n *= 1 + k*k/2; n > 1e5 {
		return Plan{}, refuse("bad", r.Bad, "the plan would need more than 100000 values", "set good and bad further apart")
	}
	return smallestPlan(r, z1, z2, int(n)), nil
}

// smallestPlan searches about the approximate size for the smallest n at which
// the k that the consumer needs is no more than the producer can bear.
func smallestPlan(r Risks, z1, z2 float64, guess int) Plan {
	bound := func(n int, p, z float64) float64 {
		root := math.Sqrt(float64(n))
		return NoncentralTQuantile(p, float64(n-1), root*z) / root
	}
	fits := func(n int) bool { return bound(n, 1-r.Consumer, z2) <= bound(n, r.Producer, z1) }
	n := max(2, guess)
	for !fits(n) {
		n++
	}
	for n > 2 && fits(n-1) {
		n--
	}
	return Plan{n, bound(n, r.Producer, z1), false}
}

// PlanVerdict is a sample judged by a plan. Outside is the unbiased estimate of
// the share beyond the limit (eq. S24).
type PlanVerdict struct {
	ScaleChoice
	Mean     float64 `json:"mean"` // on the working scale
	SD       float64 `json:"sd"`   // on the working scale
	Quality  float64 `json:"quality"`
	Accepted bool    `json:"accepted"`
	Outside  float64 `json:"outside"`
}

// Judge applies a plan with unknown σ to a sample of its size and an upper limit
// (upper true) or a lower one.
func (q Plan) Judge(x []float64, nature Nature, limit float64, upper bool) (PlanVerdict, error) {
	if err := checkValues("x", x, 2); err != nil {
		return PlanVerdict{}, err
	}
	if q.Known || len(x) != q.N {
		return PlanVerdict{}, &Error{Field: "x", Value: strconv.Itoa(len(x)), Message: "the plan asks for " + strconv.Itoa(q.N) + " values and an unknown σ", Mend: "take the sample size of the plan"}
	}
	choice := ChooseScale(x, nature)
	if err := checkFinite("limit", limit); err != nil {
		return PlanVerdict{}, err
	}
	if choice.Scale == Log && limit <= 0 {
		return PlanVerdict{}, refuse("limit", limit, "a limit on positive data must be above 0", "give a positive limit")
	}
	m, s := meanSDOf(choice.Scale.forwardAll(x))
	if !(s > 0) {
		return PlanVerdict{}, noSpread("x", x[0])
	}
	v := PlanVerdict{ScaleChoice: choice, Mean: m, SD: s, Quality: (choice.Scale.forward(limit) - m) / s}
	if !upper {
		v.Quality = -v.Quality
	}
	v.Accepted = v.Quality >= q.K
	v.Outside = unbiasedOutside(v.Quality, float64(len(x)))
	return v, nil
}
