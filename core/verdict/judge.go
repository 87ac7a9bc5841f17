package verdict

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"ullage/core/quantity"
	"ullage/core/stats"
)

// Judgement of a run. Lists are never null.
type Judgement struct {
	// Verdict of the lot: release, conditional or hold. Nothing is released on
	// an unverified meter; WithMeter is what it would be with a proven one.
	Verdict          string   `json:"verdict"`
	Reasons          []Reason `json:"reasons"`
	Rule             string   `json:"rule"`
	ProbabilityWrong *float64 `json:"probability_wrong"`
	Wrong            string   `json:"wrong,omitempty"`
	WithMeter        string   `json:"verdict_with_proven_meter"`
	// Rest is the verdict of what lies outside the held spans, with a proven meter.
	Rest string `json:"verdict_outside_held"`

	Line Decision `json:"line"` // the last set

	Readings int      `json:"readings"` // packages with TPO used
	Mean     *float64 `json:"mean_tpo_ppb"`
	Bound    *float64 `json:"mean_upper95_ppb"`
	Max      *float64 `json:"max_tpo_ppb"`
	SDLog    *float64 `json:"sd_ln_tpo"`

	Causes     []Cause                 `json:"causes"`
	Split      *Split                  `json:"split"`
	Heads      []HeadMean              `json:"heads"`
	Capability *stats.CapabilityResult `json:"capability"`
	Sets       []Set                   `json:"sets"`
	Held       []HeldSpan              `json:"held"`
	Aside      []Aside                 `json:"set_aside"`
	Rules      Rules                   `json:"rules"`
	// Ways is left out where all TPO was calculated from shaken DO.
	Ways *Ways `json:"tpo_ways,omitempty"`
}

// Judge judges a run. It needs a sample; every sample needs a time, and readings
// that are finite and not below zero. A run in which nothing is found has no
// cause: that is an answer.
func Judge(in Input) (Judgement, error) {
	rules, err := in.Rules.complete()
	if err != nil {
		return Judgement{}, err
	}
	if err := check(&in); err != nil {
		return Judgement{}, err
	}
	r := newRun(&in, rules)
	list, fits := r.causes()
	sets := r.sets()
	out := Judgement{Rules: rules, Causes: r.ranked(list), Heads: r.headMeans(cmp.Or(fits[2], fits[1])), Split: r.split(), Aside: r.aside, Ways: r.ways()}
	out.Held = r.holds(sets)
	out.Line = r.line(sets, fits[2])
	r.decide(&out)
	out.Sets = []Set{}
	for _, s := range sets {
		out.Sets = append(out.Sets, r.describe(s))
	}
	if out.Aside == nil {
		out.Aside = []Aside{}
	}
	return out, nil
}

func check(in *Input) error {
	if len(in.Samples) == 0 {
		return &quantity.Error{Field: "samples", Message: "holds no readings", Mend: "give at least one reading with its time"}
	}
	for i := range in.Samples {
		s := &in.Samples[i]
		name := fmt.Sprintf("samples[%d]", i)
		if s.at().IsZero() {
			return &quantity.Error{Field: name + ".taken_at", Message: "is missing", Mend: "give the time of the reading or of closing"}
		}
		for _, c := range []struct {
			field string
			v     float64
		}{{"tpo_ppb", s.TPO}, {"tpo_u_ppb", s.U}, {"beer_ml", s.Beer}, {"beside_tpo_ppb", s.Beside}, {"total_to_dissolved", s.Factor},
			{"shaken_do_ppb", value(s.Shaken)}, {"unshaken_do_ppb", value(s.Unshaken)}, {"inlet_do_ppb", value(s.Inlet)}, {"tank_do_ppb", value(s.Tank)}} {
			if !(c.v >= 0 && c.v < 1e9) || c.v != 0 && c.v < 1e-9 {
				return refuse(name+"."+c.field, c.v, "is no possible reading", "leave it out or type it again")
			}
		}
	}
	if m := in.Meter; !m.possible() {
		return refuse("meter", m.Offset, "is no possible offset or uncertainty", "give ppb, and a share below 1")
	}
	if m := in.DirectMeter; m != nil && !m.possible() {
		return refuse("direct_meter", m.Offset, "is no possible offset or uncertainty", "give ppb, and a share below 1")
	}
	return nil
}

func (m *Meter) possible() bool {
	return m.URel >= 0 && m.URel < 1 && math.Abs(m.Offset) <= 1e4 && m.OffsetU >= 0 && m.OffsetU < 1e4
}

// Prove takes the instruments of the run as proven before and after it.
func (in *Input) Prove() {
	prove := func(m Meter) Meter { return Meter{Before: Passed, After: Passed, URel: m.URel} }
	in.Meter = prove(in.Meter)
	if in.DirectMeter != nil {
		m := prove(*in.DirectMeter)
		in.DirectMeter = &m
	}
}

func value(p *float64) float64 {
	if p == nil {
		return 0
	}
	return *p
}

// decide fills the lot's decision, and what it would be otherwise.
func (r *run) decide(out *Judgement) {
	d := r.lot(nil)
	out.Verdict, out.Reasons, out.Rule, out.ProbabilityWrong, out.Wrong = d.Verdict, d.Reasons, d.Rule, d.ProbabilityWrong, d.Wrong
	meter, direct := r.in.Meter, r.in.DirectMeter
	r.in.Prove()
	out.WithMeter, out.Rest = r.lot(nil).Verdict, r.lot(out.Held).Verdict
	r.in.Meter, r.in.DirectMeter = meter, direct
	l := r.lotNumbers(nil)
	out.Readings = l.n
	if l.n == 0 {
		return
	}
	out.Mean = &l.mean
	top := 0.0
	var x []float64
	for _, i := range l.used {
		top = math.Max(top, r.use[2][i])
		x = append(x, r.use[2][i])
	}
	out.Max = &top
	if l.n > 1 {
		out.SDLog = &l.sd
	}
	if finite(l.bound) {
		out.Bound = &l.bound
	}
	limit := r.rules.SingleRed
	if c, err := stats.Capability(x, stats.Limits{Upper: &limit}, stats.CapabilityOptions{Nature: stats.Positive, Level: 0.95}); err == nil {
		out.Capability = &c
	}
}

// ranked puts causes into words, adds those that the record itself shows, and
// orders them by size times evidence.
func (r *run) ranked(list []found) []Cause {
	out := []Cause{}
	for i := range list {
		out = append(out, r.cause(&list[i]))
	}
	for i := range out {
		if out[i].Kind == KindLate {
			r.lateWords(&out[i])
		}
	}
	out = append(out, r.recordCauses(out)...)
	weight := func(c Cause) float64 {
		// A fact of the record is as sure as ten standard errors.
		return math.Abs(c.PPB) * cmp.Or(c.Errors, 10)
	}
	slices.SortStableFunc(out, func(a, b Cause) int { return cmp.Compare(weight(b), weight(a)) })
	return out
}
