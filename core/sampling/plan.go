package sampling

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"ullage/core/quantity"
	"ullage/core/stats"
)

// Input says what a sampling plan must do. Zero values take the defaults named
// beside them.
type Input struct {
	Heads     int     // 1–400
	Minutes   float64 // expected running time, 30–1440; 240
	Every     float64 // minutes between sets in steady running; 30
	Fault     float64 // TPO of a faulty head over that of the others, above 1; 1.5
	FaultPPB  float64 // instead: how far it is above them, with Level
	FaultSE   float64 // instead: in standard errors of the mean of one head in this plan
	Level     float64 // TPO of a good head, ppb
	Scatter   float64 // standard deviation of ln TPO between packages of one head; 0.30 (a craft can line, common practice)
	Budget    int     // packages that may be opened; 0: no limit
	Power     float64 // wanted chance to name a faulty head; 0.9
	FalseRisk float64 // chance to name any head in a normal run; 0.05
}

// Set is a group of packages pulled together.
type Set struct {
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
	Input    Input
	Sets     []Set   // in order of time, the extra set last
	Packages int     // opened, without the extra set
	PerHead  float64 // shaken packages of a head, mean
	Least    int     // shaken packages of the head that gets fewest
	Rotation float64 // minutes until every head has been looked at again
	Hit      float64 // chance that as many untagged packages include a given head
	Power    float64 // chance to name the faulty head; 0 with fewer than 2 of a head
	Needed   int     // shaken packages of each head for the wanted power; 0 where more than 1000
	Curve    []Point // operating characteristic; empty with fewer than 2 of a head
	Advice   []string
}

// Point of the operating characteristic: a head so far off the others is missed
// with this chance.
type Point struct {
	Fault  float64 // TPO over that of the others
	Missed float64
}

// Make spreads a budget over a run: one package of each head at the start
// (of lines above 12 heads 8, with every head once in the run by rotation),
// sets by rotation while it runs, and a set at the end (common practice). A
// faulty head is one whose TPO is Fault times that of the others from the start.
func Make(in Input) (Plan, error) {
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
	extra := Set{Occasion: "extra", Minute: math.NaN()}
	for h := 1; h <= min(in.Heads, 8); h++ {
		extra.Pulls = append(extra.Pulls, Pull{"shaken", h})
	}
	p.sees(times, steady)
	p.Sets = append(p.Sets, extra)
	return p, nil
}

func (in Input) complete() Input {
	in.Every = cmp.Or(in.Every, 30)
	in.Minutes = cmp.Or(in.Minutes, 240)
	in.Scatter = cmp.Or(in.Scatter, 0.30)
	in.Power = cmp.Or(in.Power, 0.9)
	in.FalseRisk = cmp.Or(in.FalseRisk, 0.05)
	return in
}

func (in Input) check() error {
	for _, c := range []struct {
		field     string
		v, lo, hi float64
		mend      string
	}{
		{"heads", float64(in.Heads), 1, 400, "give the filling heads of the line, 1 to 400"},
		{"hours", in.Minutes / 60, 0.5, 24, "give the expected running time, 0.5 to 24 h"},
		{"every", in.Every, 5, 480, "give minutes between sets, 5 to 480"},
		{"fault_ppb", in.FaultPPB, 0, 1e5, "give ppb above the other heads"},
		{"fault_se", in.FaultSE, 0, 20, "give standard errors, such as 4"},
		{"level_ppb", in.Level, 0, 1e5, "give the TPO of a good head"},
		{"fault", cmp.Or(in.Fault, 1.5), 1.05, 20, "give the TPO of a faulty head over that of the others, such as 1.5"},
		{"scatter", in.Scatter, 0.02, 1.5, "give the scatter of single packages as a share, such as 0.3"},
		{"power", in.Power, 0.5, 0.999, "0.9 is usual"},
		{"false_alarm", in.FalseRisk, 0.001, 0.5, "0.05 is usual"},
		{"cans", float64(in.Budget), 0, 100000, "give the packages that may be opened"},
	} {
		if !(c.v >= c.lo && c.v <= c.hi) {
			return refuse(c.field, c.v, fmt.Sprintf("is not within %g to %g", c.lo, c.hi), c.mend)
		}
	}
	if in.FaultPPB > 0 && in.Level == 0 {
		return &quantity.Error{Field: "level_ppb", Message: "is missing", Mend: "with a fault in ppb give the TPO of a good head too"}
	}
	return nil
}

func refuse(field string, v float64, message, mend string) error {
	return &quantity.Error{Field: field, Value: strconv.FormatFloat(v, 'g', 6, 64), Message: message, Mend: mend}
}

// steadyTimes are the due times between the start set and the end set.
func steadyTimes(in Input) (out []float64) {
	for t := in.Every; t < in.Minutes-15; t += in.Every {
		out = append(out, t)
	}
	return out
}

// withinBudget thins the steady sets out evenly, then the end set, then refuses.
func withinBudget(in Input, begin, end, steady int, times []float64) ([]float64, int, int, error) {
	opened := func(n, e int) int {
		total := begin + min(3, begin) + n*(steady+1)
		if e > 0 {
			total += e + 1
		}
		return total
	}
	if opened(0, 0) > in.Budget {
		return nil, 0, 0, refuse("cans", float64(in.Budget), fmt.Sprintf("do not even make a start set of %d", opened(0, 0)), "allow more packages")
	}
	for n := len(times); n >= 0; n-- {
		if opened(n, end) <= in.Budget {
			return spread(in, n, times), begin, end, nil
		}
	}
	return nil, begin, 0, nil
}

// spread puts n sets evenly between start and end.
func spread(in Input, n int, times []float64) []float64 {
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
	s := Set{Occasion: occasion, Minute: at}
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
	in.Fault = in.ratio(p.Least)
	p.Input = in
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
		if power, err := stats.GroupPowerCurve(in.Heads, p.Least, in.FalseRisk); err == nil {
			p.Power, p.Curve = power(shift), in.curve(power)
		}
	}
	if n, err := stats.GroupCount(in.Heads, shift, in.FalseRisk, in.Power); err == nil {
		p.Needed = n
	}
	p.advise(total)
}

// ratio is the fault as the TPO of its head over that of the others. In standard
// errors it depends on how many packages of a head there are.
func (in Input) ratio(each int) float64 {
	switch {
	case in.FaultPPB > 0:
		return 1 + in.FaultPPB/in.Level
	case in.FaultSE > 0:
		return math.Exp(in.FaultSE * in.Scatter / math.Sqrt(float64(max(each, 1))))
	}
	return cmp.Or(in.Fault, 1.5)
}

// curve is the operating characteristic from no fault to one that is hardly ever
// missed, at least to the square of the fault to catch.
func (in Input) curve(power func(shift float64) float64) (out []Point) {
	const steps = 24
	far := 2 * math.Log(in.Fault)
	for range 8 {
		if power(far/in.Scatter) > 0.995 {
			break
		}
		far *= 1.3
	}
	for i := range steps + 1 {
		ln := far * float64(i) / steps
		out = append(out, Point{math.Exp(ln), 1 - power(ln/in.Scatter)})
	}
	return out
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
