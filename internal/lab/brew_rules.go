package lab

import (
	"context"
	"fmt"
	"time"

	"ullage/core/oxygen"
	"ullage/core/process"
	"ullage/core/quantity"
)

// askCeiling is how far above the equilibrium with its gas a wort may be read
// before the reading is asked about: sources differ by some per cent (core/calc,
// wort-oxygen), and so do meters.
const askCeiling = 1.1

// brewRules ask about what is possible but odd in a brew.
func (b *batch) brewRules(ctx context.Context, r *Brew) ([]Warning, error) {
	var ws []Warning
	if top := ceilingMgL(r); r.DOMgL != nil && top > 0 && *r.DOMgL > askCeiling*top {
		ws = append(ws, Warning{"do_mg_l", *r.DOMgL, fmt.Sprintf("under %s this wort holds about %.1f mg/L", r.Gas, top),
			"check the gas, the pressure and the unit; bubbles in the meter read high"})
	}
	x, err := b.liquid(ctx, r.BatchID)
	if err != nil {
		return ws, err
	}
	if !x.MadeAt.IsZero() && r.At.Before(x.MadeAt.Add(-time.Hour)) {
		ws = append(ws, Warning{"at", r.At.Format(time.RFC3339), "is before " + x.Code + " was made", "check the time and the batch"})
	}
	if t := x.TankID; t != "" && r.VolumeHL != nil {
		tank, err := lookup[Tank](ctx, b, KindTanks, t)
		if err != nil {
			return ws, err
		}
		if tank.VolumeHL != nil && *r.VolumeHL > *tank.VolumeHL*(1+volumeSlack) {
			ws = append(ws, Warning{"volume_hl", *r.VolumeHL, fmt.Sprintf("%s takes %.4g hL", tank.Name, *tank.VolumeHL), "check the volume and its unit"})
		}
	}
	return ws, nil
}

// ceilingMgL is the equilibrium of a brew's wort with its gas at the pressure of
// the line, mg/L; 0 where the record does not say enough.
func ceilingMgL(r *Brew) float64 {
	if r.TemperatureC == nil || r.Gas == "" {
		return 0
	}
	share := quantity.Fraction(1)
	if r.Gas == "air" {
		share = oxygen.DryAirO2
	}
	t := quantity.Temperature(*r.TemperatureC)
	p := oxygen.Atmosphere + quantity.Pressure(100*numOr(r.LineBar, 0)) - oxygen.VapourPressure(t)
	ppb := float64(process.Contact(share, max(0, p), t))
	if r.SG != nil {
		ppb *= oxygen.SolubilityInWort(max(0, quantity.Plato(quantity.SpecificGravity(*r.SG))))
	}
	return ppb / 1000
}
