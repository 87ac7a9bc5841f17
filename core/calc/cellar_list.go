package calc

import (
	"fmt"

	"ullage/core/cellar"
	"ullage/core/way"
)

// cellars are the entries of core/cellar; docs/cellar.md works them by hand.
func cellars() []Calculation {
	return []Calculation{
		define("batch-map", "oxygen of a batch from wort to package: pickup of each step, what contradicts, causes", "38–47", BatchMap),
		define("pickup", "the same from a list of readings along one way", "38–47", Pickup),
		define("transfers", "steps of one kind over months, side by side: what is usual for a beer and a way, what is odd, trends", "38–47", Transfers),
		define("what-changed", "what was done otherwise on a batch than on the last of its beer", "docs/cellar.md", WhatChanged),
		define("transfer-test", "flow test or trace of a transfer, or a tank over time: leak, dose, suction, wash-out, tank gas, or nothing resolved", "41, 48, 49", TransferTest),
		define("wort-trend", "oxygen efficiency learned from past brews: fouling, and the next setting", "50–52", WortTrend),
		define("wort-target", "DO for a wort by gravity, yeast and pitch; rules are yours to change", "docs/cellar.md", WortTarget),
	}
}

func cellarField(list string, i int, field string) string {
	return fmt.Sprintf("%s[%d].%s", list, i, field)
}

// mapped is the map with its derivation and warnings.
func mapped(c way.Input, explain bool) (Answer, error) {
	m, err := cellar.Build(c)
	if err != nil {
		return Answer{}, err
	}
	a := Answer{Result: m}
	for _, w := range m.Warnings {
		a.Warnings = append(a.Warnings, Warning{Code: w.Code, Field: w.Where, Message: w.Message, Mend: w.Mend})
	}
	if explain {
		a.Derivation = mapSteps(&m)
	}
	return a, nil
}

// mapSteps is the arithmetic of every step.
func mapSteps(m *cellar.Map) []Step {
	var d working
	at := map[string]*cellar.Node{}
	for i := range m.Nodes {
		at[m.Nodes[i].ID] = &m.Nodes[i]
	}
	for i := range m.Steps {
		s := &m.Steps[i]
		from, to := at[s.From], at[s.To]
		if from == nil || to == nil {
			continue
		}
		before := *to.DO - s.Delta - s.Dosed
		d.line("40", "Δ "+way.StepWord(s.Kind), "c − Σ s_i c_i − dosed", fmt.Sprintf("%.4g − %.4g − %.4g ppb, u %.3g", *to.DO, before, s.Dosed, s.U), s.Delta, "ppb", "mass balance")
		if s.Grams != nil {
			d.line("38", "m", "Δ V", fmt.Sprintf("%.4g µg/L × %.6g L / 10⁶", s.Delta, to.VolumeHL*100), *s.Grams, "g", "mass balance")
		}
		if s.AirMLMin != nil && s.FlowHLH > 0 {
			d.line("39", "q", "Δ Q / (60 a)", fmt.Sprintf("%.4g µg/L × %.6g L/h / (60 × 278.6 µg/mL)", s.Delta, s.FlowHLH*100), *s.AirMLMin, "mL/min air at 20 °C", "ideal gas, eq. 21")
		}
	}
	if r := &m.Reconciliation; r.Needed {
		d.line("46", "χ²", "(c − y)ᵀ Σ⁻¹ (c − y)", fmt.Sprintf("%d steps held at zero, P %.3g", r.DF, r.P), r.Chi2, "", "weighted least squares, Lawson & Hanson 1974")
	}
	return d
}
