package lab

// RuleSet is how the limits of a beer are applied: of one beer in one format, of
// a beer, of a format, or of all. The narrowest set that fits goes before the
// others; a field left empty takes its starting point, which is common practice
// and not anybody's specification.
type RuleSet struct {
	Meta
	BeerID        string   `json:"beer_id,omitempty" format:"uuid" doc:"empty: every beer without rules of its own"`
	FormatID      string   `json:"format_id,omitempty" format:"uuid" doc:"empty: every format"`
	MeanBoundPpb  *float64 `json:"mean_bound_ppb,omitempty" doc:"upper 95 % bound of a lot's mean TPO: up to here"`
	MeanRedPpb    *float64 `json:"mean_red_ppb,omitempty" doc:"mean TPO above this: stop, hold"`
	LateMinutes   *float64 `json:"late_minutes,omitempty" doc:"closing to reading, at most"`
	YeastMinutes  *float64 `json:"yeast_minutes,omitempty" doc:"the same with live yeast in the package"`
	RetestMinutes *float64 `json:"retest_minutes,omitempty" doc:"a re-test of a high package counts within"`
	RetestCount   *int     `json:"retest_count,omitempty" doc:"good re-tests that refute a high package"`
	MinReadings   *int     `json:"min_readings,omitempty" doc:"fewer packages say too little of a lot"`
	Risk          *float64 `json:"risk,omitempty" doc:"guard band of a single reading: risk of calling a bad one good (JCGM 106)"`
	FalseAlarm    *float64 `json:"false_alarm,omitempty" doc:"share of normal runs in which a cause may be named"`
	TPOBy         string   `json:"tpo_by,omitempty" enum:"direct,calculated" doc:"which TPO counts where a package has both, from the next run on; empty: the direct one"`
	PerPallet     *int     `json:"packages_per_pallet,omitempty" doc:"counts the pallets of a held span"`
	Note          string   `json:"note,omitempty" maxLength:"4000"`
}

// Kind names the collection.
func (*RuleSet) Kind() Kind { return KindRules }

// Refs points at the beer and the format.
func (r *RuleSet) Refs() []Ref {
	return []Ref{{"beer_id", KindBeers, r.BeerID, false}, {"format_id", KindFormats, r.FormatID, false}}
}

func (r *RuleSet) check(c *checker) {
	c.oneOf("tpo_by", r.TPOBy, "", Direct, Calculated)
	c.within("mean_bound_ppb", r.MeanBoundPpb, 1, 50000, "ppb")
	c.within("mean_red_ppb", r.MeanRedPpb, 1, 50000, "ppb")
	c.within("late_minutes", r.LateMinutes, 1, 10080, "min")
	c.within("yeast_minutes", r.YeastMinutes, 1, 10080, "min")
	c.within("retest_minutes", r.RetestMinutes, 1, 1440, "min")
	c.within("risk", r.Risk, 0.0001, 0.4999, "(a share)")
	c.within("false_alarm", r.FalseAlarm, 0.001, 0.2, "(a share)")
	for _, n := range []struct {
		field string
		v     *int
		hi    int
	}{{"retest_count", r.RetestCount, 20}, {"min_readings", r.MinReadings, 1000}, {"packages_per_pallet", r.PerPallet, 100000}} {
		if n.v != nil {
			c.count(n.field, *n.v, 1, n.hi)
		}
	}
	c.text("note", r.Note)
	if r.MeanBoundPpb != nil && r.MeanRedPpb != nil && *r.MeanBoundPpb > *r.MeanRedPpb {
		c.add("mean_red_ppb", *r.MeanRedPpb, "is below mean_bound_ppb", "make red the higher of the two")
	}
}

// LotDecision is what a person decided about the lot of a run, with what the
// judgement proposed then. It is never revised: a new decision follows it.
type LotDecision struct {
	Meta
	RunID     string    `json:"run_id" format:"uuid"`
	Proposed  string    `json:"proposed" enum:"release,conditional,hold" doc:"what the judgement proposed"`
	Rule      string    `json:"rule,omitempty" maxLength:"200" doc:"the rule that decided the proposal"`
	Decision  string    `json:"decision" enum:"release,conditional,hold"`
	Condition string    `json:"condition,omitempty" maxLength:"2000" doc:"of a conditional release: shorter code, cold chain, local and draught first"`
	Held      []LotSpan `json:"held,omitempty" doc:"spans that stay on hold; none with hold: the whole lot"`
	Why       string    `json:"why" maxLength:"2000"`
	InputHash string    `json:"input_hash,omitempty" maxLength:"64" doc:"input_hash of the judgement decided upon"`
	Readings  int       `json:"readings,omitempty" doc:"packages with TPO that it stood on"`
	// Chain binds the decision to all that was written before it.
	Chain *ChainHead `json:"chain,omitempty" readOnly:"true" doc:"head of the chain of all revisions when it was signed"`
}

// LotSpan is a part of a lot, by time of closing.
type LotSpan struct {
	From     Time   `json:"from"`
	To       Time   `json:"to"`
	Head     string `json:"head,omitempty" maxLength:"20" doc:"empty: all heads"`
	Packages *int   `json:"packages,omitempty"`
}

// Kind names the collection.
func (*LotDecision) Kind() Kind { return KindDecisions }

// Refs points at the run.
func (r *LotDecision) Refs() []Ref { return []Ref{{"run_id", KindRuns, r.RunID, true}} }

func (r *LotDecision) check(c *checker) {
	c.oneOf("proposed", r.Proposed, "release", "conditional", "hold")
	c.oneOf("decision", r.Decision, "release", "conditional", "hold")
	if r.By == "" {
		c.add("by", nil, "is missing", "say who decides")
	}
	if r.Why == "" {
		c.add("why", nil, "is missing", "say why")
	}
	c.length("why", r.Why, 2000)
	c.length("condition", r.Condition, 2000)
	c.length("rule", r.Rule, maxName)
	c.length("input_hash", r.InputHash, 64)
	if r.Decision == "conditional" && r.Condition == "" {
		c.add("condition", nil, "is missing", "say on which condition: shorter code, cold chain, local and draught first")
	}
	c.count("held", len(r.Held), 0, 100)
	for _, s := range r.Held {
		c.needTime("held.from", s.From)
		c.needTime("held.to", s.To)
		if s.To.Before(s.From.Time) {
			c.add("held.to", s.To.String(), "is before from", "exchange them")
		}
	}
}
