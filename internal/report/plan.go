package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"ullage/core/stats"
)

// PlanInput says what a sampling plan must do. Zero values take the defaults
// named beside them.
type PlanInput struct {
	Heads     int     // 1–400
	Minutes   float64 // expected running time, 30–1440
	Every     float64 // minutes between sets in steady running; 30
	Fault     float64 // TPO of a faulty head over that of the others, above 1; 1.5
	Scatter   float64 // standard deviation of ln TPO between packages of one head; 0.30 (a craft can line, common practice)
	Budget    int     // packages that may be opened; 0: no limit
	Power     float64 // wanted chance to name a faulty head; 0.9
	FalseRisk float64 // chance to name any head in a normal run; 0.05
}

// PlanSet is a group of packages pulled together.
type PlanSet struct {
	Occasion string  // start, steady, end, extra
	Minute   float64 // after the first good package; NaN for extra sets, which wait for their occasion
	Pulls    []Pull
}

// Pull is one package, or one reading at the inlet.
type Pull struct {
	Kind string // shaken, unshaken, inlet
	Head int    // 0: no head
}

// Plan is a sampling plan and what it can see.
type Plan struct {
	Input    PlanInput
	Sets     []PlanSet // in order of time, the extra set last
	Packages int       // opened, without the extra set
	PerHead  float64   // shaken packages of a head, mean
	Least    int       // shaken packages of the head that gets fewest
	Rotation float64   // minutes until every head has been looked at again
	Hit      float64   // chance that as many untagged packages include a given head
	Power    float64   // chance to name the faulty head; 0 with fewer than 2 of a head
	Needed   int       // shaken packages of each head for the wanted power
	Advice   []string
}

// MakePlan spreads a budget over a run: one package of each head at the start
// (of lines above 12 heads 8, with every head once in the run by rotation),
// sets by rotation while it runs, and a set at the end (common practice). A
// faulty head is one whose TPO is Fault times that of the others from the start.
func MakePlan(in PlanInput) (Plan, error) {
	in = in.complete()
	if err := in.check(); err != nil {
		return Plan{}, err
	}
	p := Plan{Input: in}
	begin, steady := min(in.Heads, 8), 2
	if in.Heads <= 12 {
		begin = in.Heads
	} else {
		steady = 4
	}
	end := min(in.Heads, begin)
	steady = min(steady, in.Heads)
	times := steadyTimes(in)
	if in.Budget > 0 {
		var err error
		if times, begin, end, err = withinBudget(in, begin, end, steady, times); err != nil {
			return p, err
		}
	}
	next := 0
	p.add("start", 1, take(&next, begin, in.Heads), min(3, begin), true)
	for i, t := range times {
		p.add("steady", t, take(&next, steady, in.Heads), 1, i%3 == 2)
	}
	if end > 0 {
		p.add("end", math.Max(2, in.Minutes-10), take(&next, end, in.Heads), 1, true)
	}
	extra := PlanSet{Occasion: "extra", Minute: math.NaN()}
	for h := 1; h <= min(in.Heads, 8); h++ {
		extra.Pulls = append(extra.Pulls, Pull{"shaken", h})
	}
	p.sees(times, steady)
	p.Sets = append(p.Sets, extra)
	return p, nil
}

func (in PlanInput) complete() PlanInput {
	in.Every = cmp.Or(in.Every, 30)
	in.Minutes = cmp.Or(in.Minutes, 240)
	in.Fault = cmp.Or(in.Fault, 1.5)
	in.Scatter = cmp.Or(in.Scatter, 0.30)
	in.Power = cmp.Or(in.Power, 0.9)
	in.FalseRisk = cmp.Or(in.FalseRisk, 0.05)
	return in
}

func (in PlanInput) check() error {
	for _, c := range []struct {
		field     string
		v, lo, hi float64
		mend      string
	}{
		{"heads", float64(in.Heads), 1, 400, "give the filling heads of the line, 1 to 400"},
		{"hours", in.Minutes / 60, 0.5, 24, "give the expected running time, 0.5 to 24 h"},
		{"every", in.Every, 5, 480, "give minutes between sets, 5 to 480"},
		{"fault", in.Fault, 1.05, 20, "give the TPO of a faulty head over that of the others, such as 1.5"},
		{"scatter", in.Scatter, 0.02, 1.5, "give the scatter of single packages as a share, such as 0.3"},
		{"power", in.Power, 0.5, 0.999, "0.9 is usual"},
		{"false_alarm", in.FalseRisk, 0.001, 0.5, "0.05 is usual"},
		{"cans", float64(in.Budget), 0, 100000, "give the packages that may be opened"},
	} {
		if !(c.v >= c.lo && c.v <= c.hi) {
			return wrong(c.field, c.v, fmt.Sprintf("is not within %g to %g", c.lo, c.hi), c.mend)
		}
	}
	return nil
}

// steadyTimes are the due times between the start set and the end set.
func steadyTimes(in PlanInput) (out []float64) {
	for t := in.Every; t < in.Minutes-15; t += in.Every {
		out = append(out, t)
	}
	return out
}

// withinBudget thins the steady sets out evenly, then the end set, then refuses.
func withinBudget(in PlanInput, begin, end, steady int, times []float64) ([]float64, int, int, error) {
	opened := func(n, e int) int {
		total := begin + min(3, begin) + n*(steady+1)
		if e > 0 {
			total += e + 1
		}
		return total
	}
	if opened(0, 0) > in.Budget {
		return nil, 0, 0, wrong("cans", in.Budget, fmt.Sprintf("do not even make a start set of %d", opened(0, 0)), "allow more packages")
	}
	for n := len(times); n >= 0; n-- {
		if opened(n, end) <= in.Budget {
			return spread(in, n, times), begin, end, nil
		}
	}
	return nil, begin, 0, nil
}

// spread puts n sets evenly between start and end.
func spread(in PlanInput, n int, times []float64) []float64 {
	if n == len(times) {
		return times
	}
	out := make([]float64, n)
	for i := range out {
		out[i] = math.Round(in.Minutes * float64(i+1) / float64(n+1))
	}
	return out
}

// take gives the next n heads by rotation.
func take(next *int, n, heads int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = *next%heads + 1
		*next++
	}
	return out
}

// add a set: the first packages of it in pairs, unshaken before shaken, from
// consecutive packages of one head.
func (p *Plan) add(occasion string, at float64, heads []int, pairs int, inlet bool) {
	s := PlanSet{Occasion: occasion, Minute: at}
	if inlet {
		s.Pulls = append(s.Pulls, Pull{"inlet", 0})
	}
	for i, h := range heads {
		if i < pairs {
			s.Pulls = append(s.Pulls, Pull{"unshaken", h})
			p.Packages++
		}
		s.Pulls = append(s.Pulls, Pull{"shaken", h})
		p.Packages++
	}
	p.Sets = append(p.Sets, s)
}

// sees works out what the plan can see (docs/statistics.md: chance to hit a
// head S44, power of the analysis of means S45).
func (p *Plan) sees(times []float64, steady int) {
	in := p.Input
	count := make([]int, in.Heads)
	total := 0
	for _, s := range p.Sets {
		for _, x := range s.Pulls {
			if x.Kind == "shaken" {
				count[x.Head-1]++
				total++
			}
		}
	}
	p.PerHead, p.Least = float64(total)/float64(in.Heads), slices.Min(count)
	step := in.Minutes
	if len(times) > 0 {
		step = in.Minutes / float64(len(times)+1)
	}
	p.Rotation = math.Ceil(float64(in.Heads)/float64(steady)) * step
	if in.Heads < 2 {
		p.Advice = append(p.Advice, "One head: there is nothing to compare it with; watch the chart over time.")
		return
	}
	p.Hit, _ = stats.HitChance(in.Heads, max(total, 1))
	shift := math.Log(in.Fault) / in.Scatter
	if p.Least >= 2 {
		p.Power, _ = stats.GroupPower(in.Heads, p.Least, shift, in.FalseRisk)
	}
	if n, err := stats.GroupCount(in.Heads, shift, in.FalseRisk, in.Power); err == nil {
		p.Needed = n
	}
	p.advise(total)
}

func (p *Plan) advise(total int) {
	in := p.Input
	say := func(format string, a ...any) { p.Advice = append(p.Advice, fmt.Sprintf(format, a...)) }
	if p.Least == 0 {
		say("Some heads are never pulled in this run: begin the next run where the rotation ended.")
	}
	switch {
	case p.Least < 2:
		say("Not every head is pulled twice, so a single reading must be confirmed by a re-test of its head.")
	case p.Power >= in.Power:
		say("A head at %.3g times the others is named with a chance of %.0f %% (at least %d of each head, false alarm %.0f %%).", in.Fault, 100*p.Power, p.Least, 100*in.FalseRisk)
	default:
		say("A head at %.3g times the others is named with a chance of only %.0f %% (at least %d of each head).", in.Fault, 100*p.Power, p.Least)
	}
	if p.Needed > p.Least {
		say("For %.0f %% it takes %d shaken packages of each head, %d in all; or pool several runs of this line.", 100*in.Power, p.Needed, p.Needed*in.Heads)
	}
	say("Tagged by head, %d packages look at every head once; pulled without a tag, %d packages include a given head with a chance of %.0f %%.", in.Heads, total, 100*p.Hit)
}
