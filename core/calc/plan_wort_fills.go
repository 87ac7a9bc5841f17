package calc

import (
	"ullage/core/quantity"
	"ullage/core/way"
	"ullage/core/wort"
)

// WortFillRow is one brew of a tank.
type WortFillRow struct {
	Volume quantity.Volume `json:"wort_ml" need:"yes" help:"wort of it"`
	Gassed *bool           `json:"gassed" help:"false for a brew without gas, as the last one is where the yeast already grows"`
}

// WortFill is the setting for one brew of a tank.
type WortFill struct {
	VolumeHL float64 `json:"volume_hl"`
	Gassed   bool    `json:"gassed"`
	DO       float64 `json:"do_ppb"` // that this brew is given
	Flow     float64 `json:"gas_nl_min"`
	Total    float64 `json:"gas_nl"`
}

// aim is the DO that each gassed brew is given: the target, or, for several
// brews of one tank, what brings the whole of it there (eq. P14).
func (in *wortInput) aim(target, carried quantity.DO) (quantity.DO, error) {
	if len(in.Fills) == 0 {
		return target, nil
	}
	var all, gassed quantity.Volume
	for i, f := range in.Fills {
		if err := bigVolume("wort_ml", f.Volume); err != nil {
			return 0, ofList("fills", inRow(i, err))
		}
		all += f.Volume
		if f.Gassed == nil || *f.Gassed {
			gassed += f.Volume
		}
	}
	if gassed == 0 {
		return 0, &quantity.Error{Field: "fills", Message: "has no brew with gas", Mend: "gas the first brews, the last one little or not at all"}
	}
	return carried + max(0, target-carried)*quantity.DO(all/gassed), nil
}

// fills lists the brews of a tank at a wort flow of L/min.
func (in *wortInput) fills(r *WortResult, aim, carried quantity.DO, flowLMin float64) {
	if len(in.Fills) == 0 {
		return
	}
	all, mixed, total := 0.0, 0.0, 0.0
	for _, f := range in.Fills {
		x := WortFill{VolumeHL: hl(&f.Volume), Gassed: f.Gassed == nil || *f.Gassed, DO: float64(carried)}
		if x.Gassed {
			x.DO, x.Flow = float64(aim), r.Flow
			x.Total = x.Flow * x.VolumeHL * 100 / flowLMin
		}
		all += x.VolumeHL
		mixed += x.VolumeHL * x.DO
		total += x.Total
		r.Fills = append(r.Fills, x)
	}
	mixed /= all
	r.Mixed, r.Total = &mixed, &total
}

// second is the gas of a second dose for the whole tank.
func (in *wortInput) second(r *WortResult, share float64) error {
	if in.Second == nil {
		return nil
	}
	eff, err := fraction("second_efficiency_fraction", in.SecondEff, 0.2)
	if err := first(err, between("second_ppb", float64(*in.Second), 1, 1e5, "check the unit: 4 ppm is 4000 ppb"), between("second_efficiency_fraction", float64(eff), 0.01, 1, "give 0.1 to 0.4")); err != nil {
		return err
	}
	volume := 0.0
	for _, f := range in.Fills {
		volume += hl(&f.Volume)
	}
	if volume == 0 && in.Volume != nil {
		volume = hl(in.Volume)
	}
	if volume == 0 {
		return &quantity.Error{Field: "second_ppb", Value: format(float64(*in.Second), 0), Message: "needs the volume of the tank", Mend: "give wort_ml with knockout_min, or fills"}
	}
	grams := way.Grams(float64(*in.Second), volume) / float64(eff)
	nl := grams * 1000 / (wort.NormalOxygen * share)
	r.SecondGrams, r.SecondNL = &grams, &nl
	return nil
}

// float is what the float meter shows for the flow.
func (in *wortInput) float(r *WortResult, gas string) error {
	if in.FloatFor == "" {
		return nil
	}
	scale, bar, t, err := floatConditions(in.FloatFor, gas, in.FloatGauge, in.FloatT)
	if err != nil {
		return err
	}
	shown := wort.FloatReading(r.Flow, scale, gas, bar, t)
	r.Float = &shown
	return nil
}
