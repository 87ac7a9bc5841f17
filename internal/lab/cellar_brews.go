package lab

import (
	"context"
	"fmt"
	"slices"

	"ullage/core/oxygen"
	"ullage/core/wort"
)

// BrewTrend is the oxygenation of the brews in order of time, and what they say
// of the next one.
type BrewTrend struct {
	Brews []BrewRow      `json:"brews"`
	Trend wort.BrewTrend `json:"trend"`
}

// BrewRow is one brew with what follows from its figures.
type BrewRow struct {
	ID         string   `json:"id"`
	Code       string   `json:"code"`
	BatchID    string   `json:"batch_id"`
	Batch      string   `json:"batch"`
	Beer       string   `json:"beer,omitempty"`
	At         Time     `json:"at"`
	TargetMgL  *float64 `json:"target_mg_l,omitempty"`
	DOMgL      *float64 `json:"do_mg_l,omitempty"`
	FlowNLMin  *float64 `json:"gas_nl_min,omitempty" doc:"true flow, L/min at 0 °C and 1.01325 bar: as recorded, else from the float meter"`
	DosedMgL   *float64 `json:"dosed_mg_l,omitempty" doc:"oxygen given, over the wort"`
	Efficiency *float64 `json:"efficiency_fraction,omitempty" doc:"share of the oxygen given that was found dissolved"`
	Cleaned    bool     `json:"stone_cleaned,omitempty"`
	Hours      *float64 `json:"hours_to_drop,omitempty"`
	LeftOut    string   `json:"left_out,omitempty" doc:"why it is not in the trend"`
}

// Efficiencies outside these are slips of a figure, not of a stone.
const leastEfficiency, mostEfficiency = 0.02, 1.1

// BrewTrend follows the oxygenation of all brews on record.
func (s *Service) BrewTrend(ctx context.Context) (BrewTrend, error) {
	out := BrewTrend{Brews: []BrewRow{}}
	if err := s.May(ctx, DoJudge); err != nil {
		return out, err
	}
	brews, err := records[Brew](ctx, s, Query{Kind: KindBrews})
	if err != nil {
		return out, err
	}
	b := &cellarBook{}
	if b.batches, err = byID[Batch](ctx, s, KindBatches); err != nil {
		return out, err
	}
	if b.beers, err = byID[Beer](ctx, s, KindBeers); err != nil {
		return out, err
	}
	slices.SortFunc(brews, func(p, q *Brew) int { return byAt(p.At, q.At, p.ID, q.ID) })
	var past []wort.BrewEfficiency
	cleaned := false
	for _, r := range brews {
		row := brewRow(r)
		if x := b.batches[r.BatchID]; x != nil {
			row.Batch = x.Code
			if beer := b.beers[x.BeerID]; beer != nil {
				row.Beer = beer.Name
			}
		}
		cleaned = cleaned || r.StoneCleaned
		if row.Efficiency != nil && row.LeftOut == "" {
			past = append(past, wort.BrewEfficiency{ID: r.ID, At: r.At.Time, Efficiency: *row.Efficiency, Cleaned: cleaned})
			cleaned = false
		}
		out.Brews = append(out.Brews, row)
	}
	out.Trend = wort.TrendOf(past, cleaned)
	return out, nil
}

// brewRow computes flow, dose and efficiency of one brew.
func brewRow(r *Brew) BrewRow {
	row := BrewRow{ID: r.ID, Code: r.Code, BatchID: r.BatchID, At: r.At, TargetMgL: r.TargetMgL, DOMgL: r.DOMgL, FlowNLMin: r.GasFlowNLMin,
		Cleaned: r.StoneCleaned, Hours: r.HoursToDrop}
	gas, share := "oxygen", 1.0
	if r.Gas == "air" {
		gas, share = "air", oxygen.DryAirO2
	}
	if row.FlowNLMin == nil && r.FloatReading != nil {
		scale := r.FloatFor
		if scale == "" {
			scale = gas
		}
		row.FlowNLMin = Num(wort.FloatFlow(*r.FloatReading, scale, gas, numOr(r.FloatBar, 0), numOr(r.FloatTemperatureC, 20)))
	}
	switch {
	case row.FlowNLMin == nil:
		row.LeftOut = "no gas flow and no reading of the float meter"
	case *row.FlowNLMin <= 0:
		row.LeftOut = "no gas flowed"
	case numOr(r.VolumeHL, 0) <= 0:
		row.LeftOut = "no volume"
	case numOr(r.Minutes, 0) <= 0:
		row.LeftOut = "no time of the knock-out"
	}
	if row.LeftOut != "" {
		return row
	}
	row.DosedMgL = Num(*row.FlowNLMin * *r.Minutes * wort.NormalOxygen * share / (*r.VolumeHL * 100))
	if r.DOMgL == nil {
		row.LeftOut = "no DO read in the wort"
		return row
	}
	e := wort.Efficiency(*r.DOMgL*1000, numOr(r.CarryOverMgL, 0)*1000, *r.VolumeHL, *row.FlowNLMin, *r.Minutes, share)
	row.Efficiency = &e
	if e < leastEfficiency || e > mostEfficiency {
		row.LeftOut = fmt.Sprintf("%.0f %% of its gas dissolved, which is unlikely: check flow, scale of the float meter and unit of the DO", 100*e)
	}
	return row
}
