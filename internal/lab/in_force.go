package lab

import (
	"context"
	"math"
	"slices"
	"strings"

	"ullage/core/calc"
)

// ErrorsInForce are the instruments of a run with their errors as they stood at
// its start. One that the run does not name, or whose record says nothing of
// its error, is absent: then the usual uncertainty is assumed.
type ErrorsInForce struct {
	DOMeter     *ErrorInForce `json:"do_meter,omitempty"`
	Scale       *ErrorInForce `json:"scale,omitempty"`
	Thermometer *ErrorInForce `json:"thermometer,omitempty"`
	TPOMeter    *ErrorInForce `json:"tpo_meter,omitempty"`
}

// ErrorInForce is the standard uncertainty of one instrument: the root of the
// sum of the squares of both parts, the second times the reading.
type ErrorInForce struct {
	ID   string   `json:"id" format:"uuid"`
	Name string   `json:"name"`
	UAbs *float64 `json:"u_abs,omitempty" doc:"constant part with resolution/√12 and the drift since the last passed check: ppb, g or °C"`
	URel *float64 `json:"u_rel,omitempty" doc:"proportional part, as a fraction"`
}

// At is the standard uncertainty of a reading.
func (e *ErrorInForce) At(reading float64) float64 {
	return math.Hypot(numOr(e.UAbs, 0), numOr(e.URel, 0)*reading)
}

// UFrom says that the uncertainty of one effect of a result is an instrument's.
type UFrom struct {
	Effect       string  `json:"effect" enum:"meter,scale_gross,scale_tare,scale_adjustment,temperature,direct"`
	InstrumentID string  `json:"instrument_id" format:"uuid"`
	Name         string  `json:"name"`
	U            float64 `json:"u" doc:"standard uncertainty: ppb, g, °C; scale_adjustment: a share of every weight"`
}

// StandIn is the agreement study by which calculated figures stand in for direct
// ones, as it stood. A difference is calculated − direct.
type StandIn struct {
	StudyID     string  `json:"study_id" format:"uuid"`
	Name        string  `json:"name"`
	At          Time    `json:"at"`
	N           int     `json:"n"`
	BiasPpb     float64 `json:"bias_ppb"`
	BiasLowPpb  float64 `json:"bias_low95_ppb"`
	BiasHighPpb float64 `json:"bias_high95_ppb"`
	LoaLowPpb   float64 `json:"loa_low_ppb" doc:"95 % of differences lie above"`
	LoaHighPpb  float64 `json:"loa_high_ppb"`
	MarginPpb   float64 `json:"margin_ppb"`
	LowestPpb   float64 `json:"lowest_ppb" doc:"of the direct readings of the study: it holds between these"`
	HighestPpb  float64 `json:"highest_ppb"`
	InForceFrom Time    `json:"in_force_from"`
}

func (f *ErrorsInForce) check(c *checker) {
	for _, x := range []struct {
		field string
		e     *ErrorInForce
	}{{"do_meter", f.DOMeter}, {"scale", f.Scale}, {"thermometer", f.Thermometer}, {"tpo_meter", f.TPOMeter}} {
		if x.e == nil {
			continue
		}
		c.id("in_force.instruments."+x.field+".id", x.e.ID, true)
		c.length("in_force.instruments."+x.field+".name", x.e.Name, maxName)
		c.within("in_force.instruments."+x.field+".u_abs", x.e.UAbs, 0, 10000, "")
		c.within("in_force.instruments."+x.field+".u_rel", x.e.URel, 0, 1, "(a fraction)")
	}
}

// instrumentsInForce fills what the client left empty of the instruments.
func (b *batch) instrumentsInForce(ctx context.Context, r *Run) error {
	f := &r.InForce.Instruments
	for _, x := range []struct {
		into *(*ErrorInForce)
		id   string
	}{{&f.DOMeter, r.DOMeterID}, {&f.Scale, r.ScaleID}, {&f.Thermometer, r.ThermometerID}, {&f.TPOMeter, r.TPOMeterID}} {
		if *x.into != nil || x.id == "" {
			continue
		}
		in, err := lookup[Instrument](ctx, b, KindInstruments, x.id)
		if err != nil {
			return err
		}
		days, err := b.daysSincePass(ctx, in, r.StartedAt)
		if err != nil {
			return err
		}
		u, known := in.constant(days)
		if !known && in.URel == nil {
			continue
		}
		e := &ErrorInForce{ID: in.ID, Name: in.Name, URel: in.URel}
		if known {
			e.UAbs = Num(math.Round(u*1e6) / 1e6)
		}
		*x.into = e
	}
	return nil
}

// forget drops what was kept of an instrument that is no longer the run's, and
// tells whether there was one.
func (f *ErrorsInForce) forget(r *Run) bool {
	changed := false
	for _, x := range []struct {
		of *(*ErrorInForce)
		id string
	}{{&f.DOMeter, r.DOMeterID}, {&f.Scale, r.ScaleID}, {&f.Thermometer, r.ThermometerID}, {&f.TPOMeter, r.TPOMeterID}} {
		if *x.of != nil && (*x.of).ID != x.id {
			*x.of, changed = nil, true
		}
	}
	return changed
}

// daysSincePass is how long before at the instrument last passed a check, 0
// where its drift is not known or no pass is on record.
func (b *batch) daysSincePass(ctx context.Context, in *Instrument, at Time) (float64, error) {
	if numOr(in.UDrift, 0) == 0 {
		return 0, nil
	}
	checks, err := everything[MeterCheck](ctx, b, KindMeterChecks)
	if err != nil {
		return 0, err
	}
	return sincePass(checks, in.ID, at), nil
}

func sincePass(checks []*MeterCheck, instrument string, at Time) float64 {
	var last Time
	for _, c := range checks {
		if c.InstrumentID == instrument && c.Outcome == "passed" && !c.Archived && !c.At.After(at.Time) && c.At.After(last.Time) {
			last = c.At
		}
	}
	if last.IsZero() {
		return 0
	}
	return at.Sub(last.Time).Hours() / 24
}

// packageUneven is the standard uncertainty, K, of the temperature of a package
// beside that of the thermometer: it is not quite even (common practice). The
// usual 0.2 K of docs/method.md holds both.
const packageUneven = 0.1

// from are the uncertainties that instruments brought into an input of tpo.
type from []UFrom

// of puts the errors of the run's instruments into an input of tpo, under the
// names of its effects. What no record says keeps its usual uncertainty.
func (f *ErrorsInForce) of(in *calc.TPOInput) from {
	var list from
	add := func(effect string, e *ErrorInForce, u float64) {
		if in.U == nil {
			in.U, in.UNames = make(map[string]float64, 5), make(map[string]string, 5)
		}
		in.U[effect], in.UNames[effect] = u, e.Name
		list = append(list, UFrom{Effect: effect, InstrumentID: e.ID, Name: e.Name, U: math.Round(u*1e6) / 1e6})
	}
	if e := f.DOMeter; e != nil && in.ShakenDO != nil {
		add("meter", e, e.At(float64(*in.ShakenDO)))
	}
	if e := f.Scale; e != nil {
		if e.UAbs != nil {
			add("scale_gross", e, *e.UAbs)
			if in.TareSource == "own" {
				add("scale_tare", e, *e.UAbs)
			}
		}
		if e.URel != nil {
			add("scale_adjustment", e, *e.URel)
		}
	}
	if e := f.Thermometer; e != nil && in.Temperature != nil {
		add("temperature", e, math.Hypot(e.At(float64(*in.Temperature)), packageUneven))
	}
	return list
}

// used leaves out the scale where nothing was weighed.
func (f from) used(path string) []UFrom {
	return slices.DeleteFunc(f, func(u UFrom) bool { return path != calc.PathWeighed && strings.HasPrefix(u.Effect, "scale") })
}
