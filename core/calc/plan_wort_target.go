package calc

import (
	"ullage/core/quantity"
	"ullage/core/wort"
)

// WortRule is one rule of a target, by gravity.
type WortRule struct {
	From   quantity.Extract `json:"from_plato" need:"yes" help:"extract from which it holds"`
	Below  quantity.Extract `json:"below_plato" need:"yes" help:"extract below which it holds"`
	Style  string           `json:"style" help:"ale or lager; both when not said"`
	Low    quantity.DO      `json:"low_ppb" need:"yes" help:"DO wanted, from (low_mg_l, low_ppm)"`
	High   quantity.DO      `json:"high_ppb" need:"yes" help:"to (high_mg_l, high_ppm)"`
	Note   string           `json:"note" help:"what else it asks for; \"second dose\" in it asks for one"`
	Source string           `json:"source" help:"where it is from"`
}

// targetRules are the user's own rules, checked; none gives the starting points.
func targetRules(rows Rows[WortRule]) ([]wort.TargetRule, error) {
	if len(rows) == 0 {
		return wort.DefaultTargets(), nil
	}
	list := make([]wort.TargetRule, len(rows))
	for i, r := range rows {
		if r.Style != "" && r.Style != "ale" && r.Style != "lager" {
			return nil, &quantity.Error{Field: cellarField("rules", i, "style"), Value: r.Style, Message: "is neither ale nor lager", Mend: "leave it out for both"}
		}
		if !(r.Low >= 0 && r.High >= r.Low && r.High <= 1e5 && r.Below > r.From) {
			return nil, &quantity.Error{Field: cellarField("rules", i, "high_ppb"), Value: r.High.Format(-1), Message: "is below the lower figure or above 100 mg/L, or the gravities are the wrong way round", Mend: "from_plato < below_plato, low_mg_l ≤ high_mg_l"}
		}
		list[i] = wort.TargetRule{From: float64(r.From), Below: float64(r.Below), Style: r.Style, Low: float64(r.Low) / 1000, High: float64(r.High) / 1000, Note: r.Note, Source: r.Source}
	}
	return list, nil
}

// pitchOf checks a yeast and completes it.
func pitchOf(plato quantity.Extract, style, source string, generation float64, age quantity.Days, million float64) (wort.Pitch, error) {
	if style == "" {
		style = "ale"
	}
	if style != "ale" && style != "lager" {
		return wort.Pitch{}, &quantity.Error{Field: "style", Value: style, Message: "is neither ale nor lager", Mend: "use the one whose yeast it is"}
	}
	switch source {
	case "", "repitch", "propagated", "dry":
	default:
		return wort.Pitch{}, &quantity.Error{Field: "yeast_source", Value: source, Message: "is not known", Mend: "use repitch, propagated or dry"}
	}
	return wort.Pitch{Plato: float64(plato), Style: style, Source: source, Generation: int(generation), AgeDays: float64(age), MillionML: million},
		first(between("extract_plato", plato, 0, 45, "check the unit"), between("generation", generation, 0, 1000, "count from 1"),
			between("slurry_days", age, 0, 1000, "days"), between("pitch_million_ml", million, 0, 1000, "million cells a mL"))
}

// targetFor applies the rules to a wort and its yeast.
func targetFor(p wort.Pitch, rules []wort.TargetRule) (*wort.Target, error) {
	t, ok := wort.TargetFor(p, rules)
	if !ok {
		return nil, &quantity.Error{Field: "extract_plato", Value: format(p.Plato, 1), Message: "has no rule", Mend: "add one for it, or give the DO wanted"}
	}
	return &t, nil
}

// choose settles the DO aimed at and the share of the gas that stays.
func (in *wortInput) choose(r *WortResult) (w []Warning, err error) {
	if in.Target != nil {
		r.Aim = float64(*in.Target)
	} else {
		if in.Extract == nil {
			return nil, &quantity.Error{Field: "target_ppb", Message: "is missing, and so is the extract that it would come from", Mend: "give target_ppb, or extract_plato with the yeast"}
		}
		pitch, err := pitchOf(*in.Extract, in.Style, in.Source, in.Generation, in.Age, in.Pitch)
		if err != nil {
			return nil, err
		}
		if r.Rules, err = targetRules(in.Rules); err != nil {
			return nil, err
		}
		if r.Target, err = targetFor(pitch, r.Rules); err != nil {
			return nil, err
		}
		r.Aim = max(1, r.Target.Proposed*1000)
	}
	switch {
	case in.Efficiency != nil:
		r.Share = float64(*in.Efficiency)
	case len(in.Brews) == 0:
		return nil, &quantity.Error{Field: "efficiency_fraction", Message: "is missing", Mend: "give it, or past brews to learn it from"}
	}
	if len(in.Brews) > 0 {
		a, err := WortTrend(&WortTrendInput{Rows: in.Brews, Cleaned: in.NextCleaned})
		if err != nil {
			return nil, ofList("brews", err)
		}
		t := a.Result.(wort.BrewTrend)
		r.Trend, w = &t, a.Warnings
		if in.Efficiency == nil {
			r.Share = t.Next
		}
	}
	return w, between("efficiency_fraction", r.Share, 0.01, 1, "give 0.1 to 0.95")
}

// learnedBand is the flow by the interval of a learned efficiency, where none was
// typed.
func (in *wortInput) learnedBand(r *WortResult) {
	if in.Efficiency != nil || r.Trend == nil {
		return
	}
	low, high := r.Flow*r.Share/min(1, max(r.Trend.NextHigh, r.Share)), r.Flow*r.Share/max(0.01, min(r.Trend.NextLow, r.Share))
	r.FlowLow, r.FlowHigh = &low, &high
}
