package verdict

import "ullage/core/quantity"

// Rules are the limits of a beer in a format, ppb of TPO unless said, and how
// they are applied. A zero field takes its default.
type Rules struct {
	MeanGreen   float64 `json:"mean_green_ppb"`   // the mean may be up to here
	MeanBound   float64 `json:"mean_bound_ppb"`   // its upper 95 % bound may be up to here
	MeanRed     float64 `json:"mean_red_ppb"`     // above it: stop, hold
	SingleGreen float64 `json:"single_green_ppb"` // each package may be up to here
	SingleRed   float64 `json:"single_red_ppb"`   // none may be confirmed above it

	LateMinutes   float64 `json:"late_minutes"`   // from closing to reading
	YeastMinutes  float64 `json:"yeast_minutes"`  // the same with live yeast in the package
	RetestMinutes float64 `json:"retest_minutes"` // a re-test of the head counts within
	RetestCount   int     `json:"retest_count"`   // good ones that refute a high single
	MinReadings   int     `json:"min_readings"`   // fewer say too little of a lot
	Risk          float64 `json:"risk"`           // guard band of a single reading (JCGM 106)
	HeadSpread    float64 `json:"head_spread"`    // ordinary spread between heads, of ln TPO
	FalseAlarm    float64 `json:"false_alarm"`    // share of normal runs in which a cause may be named: at most

	// FromDefault says that the limits are the starting points below.
	FromDefault bool `json:"from_default"`
}

// DefaultRules are starting points from common practice for a can of hoppy beer.
func DefaultRules() Rules {
	return Rules{MeanGreen: 120, MeanBound: 150, MeanRed: 180, SingleGreen: 180, SingleRed: 250,
		LateMinutes: 120, YeastMinutes: 15, RetestMinutes: 30, RetestCount: 2, MinReadings: 5, Risk: 0.05, HeadSpread: 0.035, FalseAlarm: 0.05, FromDefault: true}
}

// ForLimit are the default rules scaled to a limit of the mean, with the limit
// of a single package (0: scaled too).
func ForLimit(mean, single float64) Rules {
	r := DefaultRules()
	if mean > 0 {
		k := mean / r.MeanGreen
		r.MeanGreen, r.FromDefault = mean, false
		for _, v := range []*float64{&r.MeanBound, &r.MeanRed, &r.SingleGreen, &r.SingleRed} {
			*v *= k
		}
	}
	if single > 0 {
		r.SingleRed, r.FromDefault = single, false
		r.SingleGreen = min(r.SingleGreen, single)
	}
	return r
}

// complete fills what is left out and checks that the limits rise.
func (r Rules) complete() (Rules, error) {
	d := ForLimit(r.MeanGreen, r.SingleRed)
	fill := func(v *float64, or float64) {
		if *v == 0 {
			*v = or
		}
	}
	if r.MeanGreen == 0 && r.SingleRed == 0 {
		r.FromDefault = true
	}
	fill(&r.MeanGreen, d.MeanGreen)
	fill(&r.MeanBound, d.MeanBound)
	fill(&r.MeanRed, d.MeanRed)
	fill(&r.SingleGreen, d.SingleGreen)
	fill(&r.SingleRed, d.SingleRed)
	fill(&r.LateMinutes, d.LateMinutes)
	fill(&r.YeastMinutes, d.YeastMinutes)
	fill(&r.RetestMinutes, d.RetestMinutes)
	fill(&r.Risk, d.Risk)
	fill(&r.HeadSpread, d.HeadSpread)
	fill(&r.FalseAlarm, d.FalseAlarm)
	if r.RetestCount == 0 {
		r.RetestCount = d.RetestCount
	}
	if r.MinReadings == 0 {
		r.MinReadings = d.MinReadings
	}
	for _, c := range []struct {
		field string
		v     float64
	}{{"mean_green_ppb", r.MeanGreen}, {"single_red_ppb", r.SingleRed}, {"late_minutes", r.LateMinutes}, {"retest_minutes", r.RetestMinutes},
		{"retest_count", float64(r.RetestCount)}, {"min_readings", float64(r.MinReadings)}, {"head_spread", r.HeadSpread}} {
		if !(c.v > 0 && c.v < 1e6) {
			return r, refuse(c.field, c.v, "is not above zero", "give a number above 0")
		}
	}
	switch {
	case !(r.MeanGreen <= r.MeanBound && r.MeanBound <= r.MeanRed):
		return r, refuse("mean_bound_ppb", r.MeanBound, "does not lie between mean_green_ppb and mean_red_ppb", "let the limits of the mean rise: green, bound, red")
	case r.SingleGreen > r.SingleRed:
		return r, refuse("single_green_ppb", r.SingleGreen, "is above single_red_ppb", "exchange them")
	case !(r.Risk > 0 && r.Risk < 0.5):
		return r, refuse("risk", r.Risk, "is not between 0 and 0.5", "0.05 is usual")
	case !(r.FalseAlarm >= 0.001 && r.FalseAlarm <= 0.2):
		return r, refuse("false_alarm", r.FalseAlarm, "is not between 0.001 and 0.2", "0.05 is usual")
	}
	return r, nil
}

func refuse(field string, v float64, message, mend string) error {
	return &quantity.Error{Field: field, Value: number(v), Message: message, Mend: mend}
}
