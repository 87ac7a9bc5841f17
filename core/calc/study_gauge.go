package calc

import (
	"fmt"
	"math"
	"slices"

	"ullage/core/stats"
)

// Bands of the gauge's share of the study spread, common practice (AIAG).
const (
	gaugeGood = 10 // percent
	gaugePoor = 30
	limit28   = 2.8 // 1.96·√2: two readings differ by more once in twenty (ISO 5725)
)

// GaugeRow is one reading of a repeatability study.
type GaugeRow struct {
	Package  label    `json:"package" need:"yes" help:"the package, or the set of neighbours that stands for one"`
	Operator label    `json:"operator" need:"yes" help:"who read it"`
	Reading  *float64 `json:"reading" need:"yes" help:"the reading, in one unit throughout"`
}

type studyGaugeInput struct {
	Pool *float64       `json:"pool_above_p" help:"an interaction whose p is above goes into the error; 0.25 when not said (0.05 is used too)"`
	Rows Rows[GaugeRow] `json:"rows" need:"yes" help:"list of readings: package, operator, reading; every operator reads every package equally often, twice or more"`
}

// OperatorMean is one operator against the mean of all.
type OperatorMean struct {
	Operator label   `json:"operator"`
	Mean     float64 `json:"mean"`
	Bias     float64 `json:"bias"`
	N        int     `json:"n"`
}

type studyGaugeResult struct {
	Repeatability      float64           `json:"repeatability_sd"`
	Reproducibility    float64           `json:"reproducibility_sd"` // between operators
	Interaction        float64           `json:"interaction_sd"`
	Gauge              float64           `json:"gauge_sd"`
	PackageSD          float64           `json:"package_sd"`
	Total              float64           `json:"total_sd"`
	RepeatLimit        float64           `json:"repeatability_limit"`
	ReproLimit         float64           `json:"reproducibility_limit"`
	GaugeShare         float64           `json:"gauge_share_percent"` // of the study's standard deviation
	RepeatShare        float64           `json:"repeatability_share_percent"`
	ReproShare         float64           `json:"reproducibility_share_percent"`
	PackageShare       float64           `json:"package_share_percent"`
	Categories         int               `json:"categories"`
	Packages           int               `json:"packages"`
	Operators          int               `json:"operators"`
	Trials             int               `json:"trials"`
	Model              string            `json:"model"`
	Pooled             bool              `json:"pooled"`
	Band               string            `json:"band"` // good, usable, poor
	AnovaPackage       stats.GaugeSource `json:"anova_package"`
	AnovaOperator      stats.GaugeSource `json:"anova_operator"`
	AnovaInteraction   stats.GaugeSource `json:"anova_interaction"`
	AnovaRepeatability stats.GaugeSource `json:"anova_repeatability"`
	Means              []OperatorMean    `json:"operator_means"`
	Sentence           string            `json:"sentence"`
}

// studyGauge is the crossed study by analysis of variance (docs/statistics.md, S42).
func studyGauge(in *studyGaugeInput) (Answer, error) {
	list := make([]stats.GaugeReading, len(in.Rows))
	var names []label
	means := map[label]*OperatorMean{}
	var grand float64
	for i, r := range in.Rows {
		v := valueOr(r.Reading, math.NaN())
		if err := usable("reading", v); err != nil {
			return Answer{}, inRow(i, err)
		}
		list[i] = stats.GaugeReading{Part: string(r.Package), Operator: string(r.Operator), Value: v}
		m := means[r.Operator]
		if m == nil {
			m = &OperatorMean{Operator: r.Operator}
			means[r.Operator], names = m, append(names, r.Operator)
		}
		m.N++
		m.Mean += (v - m.Mean) / float64(m.N)
		grand += (v - grand) / float64(i+1)
	}
	if len(list) > 5000 {
		return Answer{}, refuse("rows", float64(len(list)), "readings are more than 5000", "ten packages, three operators and three readings are usual")
	}
	g, err := stats.Gauge(list, valueOr(in.Pool, 0.25))
	if err != nil {
		return Answer{}, statsError("rows", err)
	}
	out := studyGaugeResult{
		Repeatability: g.Repeatability, Reproducibility: g.Reproducibility, Interaction: g.InteractionSD, Gauge: g.Gauge, PackageSD: g.PartSD, Total: g.Total,
		RepeatLimit: limit28 * g.Repeatability, ReproLimit: limit28 * g.Gauge, GaugeShare: g.GaugeStudy, RepeatShare: 100 * g.Repeatability / g.Total, ReproShare: 100 * g.Reproducibility / g.Total,
		PackageShare: 100 * g.PartSD / g.Total, Categories: g.Categories, Packages: g.Parts, Operators: g.Operators, Trials: g.Trials, Model: g.Model, Pooled: g.Pooled,
		AnovaPackage: g.Part, AnovaOperator: g.Operator, AnovaInteraction: g.Interaction, AnovaRepeatability: g.Error, Band: "usable",
	}
	switch {
	case g.GaugeStudy < gaugeGood:
		out.Band = "good"
	case g.GaugeStudy > gaugePoor:
		out.Band = "poor"
	}
	for _, name := range names {
		m := *means[name]
		m.Bias = m.Mean - grand
		out.Means = append(out.Means, m)
	}
	out.Sentence = fmt.Sprintf("Reading makes %.0f %% of the spread (%s): the same operator again %.3g, operators among each other %.3g. Two readings of one package by different operators differ by more than %.3g once in twenty.", out.GaugeShare, out.Band, out.Repeatability, out.Reproducibility, out.ReproLimit)
	return Answer{Result: out, Warnings: gaugeWarnings(&g, &out)}, nil
}

func gaugeWarnings(g *stats.GaugeResult, out *studyGaugeResult) (w []Warning) {
	if g.Operator.P < 0.05 {
		far := slices.MaxFunc(out.Means, func(a, b OperatorMean) int {
			if math.Abs(a.Bias) < math.Abs(b.Bias) {
				return -1
			}
			return 1
		})
		w = warn(w, "operators_differ", "operator", string(far.Operator), fmt.Sprintf("the operators differ; this one lies %+.3g from the mean of all", far.Bias), "compare how each shakes, flushes and waits")
	}
	if g.Interaction.P < 0.05 {
		w = warn(w, "operators_by_package", "operator", "", "the operators differ more on some packages than on others", "look at the order of reading, and at time between readings")
	}
	if out.Categories < 5 {
		w = warn(w, "few_categories", "package", fmt.Sprint(out.Categories), "the reading tells fewer than five groups of packages apart (common practice: five)", "take packages over the whole range, or read each twice")
	}
	return w
}
