package lab

import (
	"context"
	"encoding/json"
	"fmt"
	"math"

	"ullage/core/calc"
)

// Limits of a check where the instrument has no plan of its own: common
// practice, the same as of the calculation check-meter (docs/instruments.md).
const (
	usualZero       = 3.0  // ppb
	usualAir        = 3.0  // % of the expected reading
	usualMeter      = 2.0  // ppb, the larger of this …
	usualMeterShare = 0.05 // … and this share, between two meters
	usualMass       = 0.1  // g
	usualKegMass    = 10.0 // g, of a scale that shows whole grams or less
	usualIce        = 0.3  // K
	usualBarometer  = 0.5  // kPa
)

// What the standard of a check is itself good for, standard uncertainty (common
// practice).
const (
	airU         = 0.55 // % of the expected reading: pressure to 0.3 %, water to 0.2 °C, tables to 0.2 %
	altitudeU    = 1.7  // % more where the altitude stands for the pressure: ±3 %
	zeroU        = 0.5  // ppb, a zero gas that has flowed for five minutes
	iceU         = 0.05 // K, crushed ice in water, stirred
	massU        = 1e-5 // of a reference mass
	referenceU   = 0.1  // K, a reference thermometer in the same bath
	referenceKPa = 0.1  // kPa, a reference barometer
)

var unitOf = map[string]string{DOMeter: "ppb", TPOMeter: "ppb", Scale: "g", Thermometer: "c", Barometer: "kpa"}

// checkRules fills what follows from a check's reading, asks where the outcome
// does not, and notes that lots are to be opened again.
func (b *batch) checkRules(ctx context.Context, r *MeterCheck) ([]Warning, error) {
	in, err := lookup[Instrument](ctx, b, KindInstruments, r.InstrumentID)
	if err != nil {
		return nil, err
	}
	var ws []Warning
	if r.Read != nil {
		if ws, err = b.judgeCheck(ctx, r, in); err != nil {
			return nil, err
		}
	}
	if r.Outcome == "failed" && !r.Archived {
		b.failed = append(b.failed, r)
	}
	return ws, nil
}

func (b *batch) judgeCheck(ctx context.Context, r *MeterCheck, in *Instrument) ([]Warning, error) {
	if r.Unit == "" {
		if r.Unit = unitOf[in.InstrumentKind]; r.Against == AgainstResponse {
			r.Unit = "s"
		}
	}
	var ws []Warning
	if r.Expected == nil {
		w, err := b.expect(ctx, r)
		if err != nil {
			return nil, err
		}
		ws = append(ws, w...)
	}
	if r.Limit == nil {
		r.Limit = usualLimit(r, in)
	}
	passed, judged := r.within()
	if !judged && r.Outcome == "" {
		r.Outcome = "passed"
		ws = append(ws, Warning{Field: "limit", Message: "the reading is noted; without a limit nothing was judged", Mend: "plan a limit for it on the instrument"})
	}
	if r.Expected == nil && r.Against != AgainstResponse {
		return ws, nil
	}
	said := "failed"
	if passed {
		said = "passed"
	}
	switch {
	case !judged:
	case r.Outcome == "":
		r.Outcome = said
	case r.Outcome != said:
		ws = append(ws, Warning{Field: "outcome", Value: r.Outcome, Message: fmt.Sprintf("the reading has %s by its limit of %g", said, *r.Limit), Mend: "the outcome is kept as sent: note why"})
	}
	r.found(in)
	return ws, nil
}

// within tells whether the reading passes, where that can be told.
func (r *MeterCheck) within() (passed, judged bool) {
	switch {
	case r.Limit == nil:
		return false, false
	case r.Against == AgainstResponse:
		return *r.Read <= *r.Limit, true
	case r.Expected == nil:
		return false, false
	}
	expected, read := []float64{*r.Expected}, []float64{*r.Read}
	for _, p := range r.More {
		expected, read = append(expected, p.Expected), append(read, p.Read)
	}
	for i := range read {
		if math.Abs(read[i]-expected[i]) > *r.Limit*(1+1e-9) {
			return false, true
		}
	}
	return true, true
}

// expect finds what the instrument should have read. Where nobody can know, the
// person must say.
func (b *batch) expect(ctx context.Context, r *MeterCheck) ([]Warning, error) {
	switch r.Against {
	case AgainstResponse:
		return nil, nil
	case AgainstIce:
		r.Expected = Num(0)
		return nil, nil
	case AgainstZero, AgainstAir:
		return b.expectOxygen(ctx, r)
	}
	return nil, fault(Invalid, "expected", nil, "is missing, so the reading cannot be judged", "give the reference mass, the reference's or the other meter's reading")
}

func (b *batch) expectOxygen(ctx context.Context, r *MeterCheck) ([]Warning, error) {
	input := map[string]any{"zero_do_ppb": r.Read, "zero_gas_ppm": numOr(r.ZeroGasPpm, 0)}
	if r.TemperatureC != nil {
		input["temperature_c"] = *r.TemperatureC
	}
	if r.Against == AgainstAir {
		if r.TemperatureC == nil {
			return nil, fault(Invalid, "temperature_c", nil, "is missing: what air-saturated water reads depends on it", "give the temperature of the water")
		}
		altitude, err := b.altitude(ctx, r)
		if err != nil {
			return nil, err
		}
		input = map[string]any{"air_do_ppb": r.Read, "temperature_c": *r.TemperatureC}
		if r.PressureKPa != nil {
			input["pressure_kpa"] = *r.PressureKPa
		}
		if altitude != nil {
			input["altitude_m"] = *altitude
			if r.PressureKPa == nil {
				r.AltitudeM = altitude
			}
		}
	}
	text, err := json.Marshal(input)
	if err != nil {
		return nil, err
	}
	a, err := calc.Do("check-meter", text)
	if err != nil {
		return nil, ofCalculation(err)
	}
	r.Expected = Num(math.Round(*a.Result.(calc.CheckMeterResult).Checks[0].Expected*100) / 100)
	var ws []Warning
	for _, w := range a.Warnings {
		if w.Code == "package_assumed" || w.Code == "no_line" {
			continue
		}
		ws = append(ws, Warning{Field: checkFields[w.Field], Value: orNil(w.Value), Message: w.Message, Mend: w.Mend})
	}
	return ws, nil
}

// checkFields names the field of a check behind one of the calculation.
var checkFields = map[string]string{"air_do_ppb": "read", "zero_do_ppb": "read", "pressure_kpa": "pressure_kpa", "altitude_m": "altitude_m",
	"temperature_c": "temperature_c", "zero_gas_ppm": "zero_gas_ppm"}

// altitude is that of the check, else of the brewery.
func (b *batch) altitude(ctx context.Context, r *MeterCheck) (*float64, error) {
	if r.AltitudeM != nil {
		return r.AltitudeM, nil
	}
	home, err := lookup[Brewery](ctx, b, KindBrewery, BreweryID)
	if isNotFound(err) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return home.AltitudeM, nil
}

// usualLimit is the limit planned for the instrument, else common practice.
func usualLimit(r *MeterCheck, in *Instrument) *float64 {
	limit := in.plan(r.Against).Limit
	expected := math.Abs(numOr(r.Expected, 0))
	switch r.Against {
	case AgainstAir:
		return Num(math.Round(numOr(limit, usualAir)*expected) / 100)
	case AgainstZero:
		return Num(numOr(limit, usualZero))
	case AgainstMeter:
		return Num(numOr(limit, max(usualMeter, usualMeterShare*expected)))
	case AgainstMass:
		usual := usualMass
		if numOr(in.Resolution, 0) >= 1 {
			usual = usualKegMass
		}
		return Num(numOr(limit, usual))
	case AgainstIce, AgainstReference:
		usual := usualIce
		if in.InstrumentKind == Barometer {
			usual = usualBarometer
		}
		return Num(numOr(limit, usual))
	}
	return limit
}

// found sets what the check says of the instrument's error: offset near zero,
// slope in air, and how well that is known.
func (r *MeterCheck) found(in *Instrument) {
	if r.Expected == nil {
		return
	}
	step := numOr(in.Resolution, 0) / math.Sqrt(12)
	standard := 0.0
	switch r.Against {
	case AgainstZero:
		standard = zeroU
	case AgainstAir:
		share := airU
		if r.PressureKPa == nil {
			share = math.Hypot(airU, altitudeU)
		}
		standard = share / 100 * *r.Expected
	case AgainstIce:
		standard = iceU
	case AgainstMass:
		standard = massU * *r.Expected
	case AgainstReference:
		standard = referenceU
		if in.InstrumentKind == Barometer {
			standard = referenceKPa
		}
	}
	if r.U == nil {
		r.U = Num(math.Round(math.Hypot(step, standard)*1e4) / 1e4)
	}
	off := *r.Read - *r.Expected
	switch {
	case r.Against == AgainstZero && r.OffsetPpb == nil:
		r.OffsetPpb, r.OffsetUPpb = Num(round2(off)), r.U
	case r.Against == AgainstAir && r.SlopePct == nil && *r.Expected > 0:
		r.SlopePct, r.SlopeUPct = Num(round2(100*off / *r.Expected)), Num(round2(100**r.U / *r.Expected))
	}
}

func round2(x float64) float64 { return math.Round(x*100) / 100 }

func round3(x float64) float64 { return math.Round(x*1000) / 1000 }
