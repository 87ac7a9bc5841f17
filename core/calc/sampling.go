package calc

import (
	"fmt"
	"math"

	"ullage/core/quantity"
	"ullage/core/sampling"
)

type samplingInput struct {
	numbers
	Heads      float64       `json:"heads" need:"yes" help:"filling heads of the line"`
	Hours      float64       `json:"hours" help:"expected running time; 4 when not said"`
	Every      float64       `json:"every_min" help:"minutes between sets in steady running; 30 when not said"`
	Fault      float64       `json:"fault" help:"fault to catch: TPO of a head over that of the others; 1.5 when not said"`
	FaultPPB   *quantity.TPO `json:"fault_ppb" help:"instead: how far the head lies above the others, with level_ppb"`
	FaultSE    float64       `json:"fault_se" help:"instead: in standard errors of the mean of one head in this plan"`
	Level      *quantity.TPO `json:"level_ppb" help:"TPO of a good head: the curve is in ppb too"`
	Scatter    float64       `json:"scatter" help:"standard deviation of ln TPO between packages of one head; 0.3 when not said (common practice: 0.2 to 0.35)"`
	Budget     float64       `json:"cans" help:"packages that may be opened; no limit when not said"`
	MissRisk   float64       `json:"miss_risk" help:"consumer's risk: chance to miss the fault; 0.1 when not said"`
	FalseAlarm float64       `json:"false_alarm" help:"producer's risk: chance to name a head in a normal run; 0.05 when not said"`
	Explain    bool          `json:"explain" help:"give the derivation"`
}

// SamplingResult is a sampling plan and what it can see.
type SamplingResult struct {
	Heads    int             `json:"heads"`
	Minutes  float64         `json:"minutes"`
	Every    float64         `json:"every_min"`
	Fault    float64         `json:"fault"` // TPO of the head over that of the others
	Scatter  float64         `json:"scatter"`
	Sets     []SamplingSet   `json:"sets"`  // in order of time
	Extra    []SamplingPull  `json:"extra"` // after a stop of more than 5 min, a change or an adjustment
	Packages int             `json:"packages"`
	PerHead  float64         `json:"shaken_per_head"`
	Least    int             `json:"shaken_least"`
	Rotation float64         `json:"rotation_min"`
	Hit      float64         `json:"hit_chance"`   // untagged
	Named    float64         `json:"named_chance"` // of the fault to catch
	Missed   float64         `json:"missed_chance"`
	Needed   int             `json:"needed_per_head"` // for the wanted risk; 0: more than 1000
	Curve    []SamplingPoint `json:"curve"`           // operating characteristic
	Advice   []string        `json:"advice"`
}

// SamplingSet is a group of packages pulled together.
type SamplingSet struct {
	Occasion string         `json:"occasion"` // start, steady, end
	Minute   float64        `json:"minute"`   // after the first good package
	Pulls    []SamplingPull `json:"pulls"`
}

// SamplingPull is one package, or one reading at the inlet.
type SamplingPull struct {
	Kind string `json:"kind"`           // shaken, unshaken, inlet
	Head int    `json:"head,omitempty"` // none at the inlet
}

// SamplingPoint of the operating characteristic.
type SamplingPoint struct {
	Fault  float64  `json:"fault"`
	Excess *float64 `json:"excess_ppb,omitempty"` // where the level is known
	Missed float64  `json:"missed_chance"`
}

func samplingPlan(in *samplingInput) (Answer, error) {
	for _, c := range []struct {
		field string
		v     float64
	}{{"heads", in.Heads}, {"cans", in.Budget}} {
		if c.v != math.Trunc(c.v) || math.Abs(c.v) > 1e6 {
			return Answer{}, refuse(c.field, c.v, "is no whole number", "give a count")
		}
	}
	if in.MissRisk != 0 && !(in.MissRisk > 0 && in.MissRisk <= 0.5) {
		return Answer{}, refuse("miss_risk", in.MissRisk, "is not between 0 and 0.5", "0.1 is usual")
	}
	q := sampling.Input{Heads: int(in.Heads), Minutes: 60 * in.Hours, Every: in.Every, Fault: in.Fault, FaultPPB: float64(or(in.FaultPPB, 0)), FaultSE: in.FaultSE,
		Level: float64(or(in.Level, 0)), Scatter: in.Scatter, Budget: int(in.Budget), FalseRisk: in.FalseAlarm}
	if in.MissRisk > 0 {
		q.Power = 1 - in.MissRisk
	}
	p, err := sampling.Make(q)
	if err != nil {
		return Answer{}, err
	}
	return Answer{Result: samplingResult(&p), Derivation: samplingWorking(&p).when(in.Explain)}, nil
}

func samplingResult(p *sampling.Plan) SamplingResult {
	r := SamplingResult{Heads: p.Input.Heads, Minutes: p.Input.Minutes, Every: p.Input.Every, Fault: p.Input.Fault, Scatter: p.Input.Scatter,
		Packages: p.Packages, PerHead: p.PerHead, Least: p.Least, Rotation: p.Rotation, Hit: p.Hit, Named: p.Power, Missed: 1 - p.Power, Needed: p.Needed,
		Curve: []SamplingPoint{}, Advice: p.Advice}
	for _, s := range p.Sets {
		var pulls []SamplingPull
		for _, x := range s.Pulls {
			pulls = append(pulls, SamplingPull(x))
		}
		if s.Occasion == "extra" {
			r.Extra = pulls
			continue
		}
		r.Sets = append(r.Sets, SamplingSet{s.Occasion, s.Minute, pulls})
	}
	for _, x := range p.Curve {
		at := SamplingPoint{Fault: x.Fault, Missed: x.Missed}
		if p.Input.Level > 0 {
			excess := (x.Fault - 1) * p.Input.Level
			at.Excess = &excess
		}
		r.Curve = append(r.Curve, at)
	}
	return r
}

func samplingWorking(p *sampling.Plan) working {
	var w working
	in := p.Input
	if in.Heads < 2 {
		return w
	}
	shift := math.Log(in.Fault) / in.Scatter
	w.line("S45", "shift", "ln(fault) / scatter", fmt.Sprintf("ln %.4g / %.3g", in.Fault, in.Scatter), shift, "standard deviations", "one head off the others on the log scale")
	if p.Least >= 2 {
		k, n := float64(in.Heads), float64(p.Least)
		w.line("S45", "δ", "shift √(n (k − 1)/k)", fmt.Sprintf("%.4g √(%d × %d/%d)", shift, p.Least, in.Heads-1, in.Heads), shift*math.Sqrt(n*(k-1)/k), "", "analysis of means")
		w.line("S45", "named", "P(|T'| > h), T' noncentral t", fmt.Sprintf("ν = %d × %d, h for %.3g %% over all heads", in.Heads, p.Least-1, 100*in.FalseRisk), p.Power, "", "docs/statistics.md")
	}
	if p.Needed > 0 {
		w.line("S45", "needed", "smallest n with P ≥ 1 − miss_risk", fmt.Sprintf("%.3g %%", 100*in.Power), float64(p.Needed), "shaken packages of a head", "docs/statistics.md")
	}
	w.line("S44", "hit", "1 − (1 − 1/k)ⁿ", fmt.Sprintf("1 − (1 − 1/%d)^%.0f", in.Heads, math.Max(1, p.PerHead*float64(in.Heads))), p.Hit, "", "packages pulled without a tag")
	return w
}
