package lab

import (
	"fmt"
	"slices"
	"time"
)

// Bands outside which an entry is questioned, never refused (common practice).
const (
	askTempLowC, askTempHighC = -2, 35
	askDOLowPpb, askDOHighPpb = 1, 500
	askShakeLow, askShakeHigh = 1, 10 // minutes
	askDelay                  = 2 * time.Hour
	askDelayYeast             = 15 * time.Minute
	askTempAge                = 3 * time.Hour
	askFill                   = 0.08 // net weight against nominal, as a fraction
)

// plausible questions what is possible but odd in a sample.
func plausible(s *Sample, run *Run) []Warning {
	var ws []Warning
	warn := func(field string, value any, message, mend string) {
		ws = append(ws, Warning{"inputs." + field, value, message, mend})
	}
	in := &s.Inputs
	if v := in.TemperatureC; v != nil && (*v < askTempLowC || *v > askTempHighC) {
		warn("temperature_c", *v, "unusual for beer in a package, in °C", "check the unit: is it °F?")
	}
	if v := in.DOPpb; v != nil && (*v < askDOLowPpb || *v > askDOHighPpb) {
		mend := "check the unit: is it ppm?"
		if *v > askDOHighPpb {
			mend = "check the unit and the reading"
		}
		warn("do_ppb", *v, fmt.Sprintf("readings here are usually %d to %d ppb", askDOLowPpb, askDOHighPpb), mend)
	}
	if message, mend, odd := askDirect(in.DirectPpb); odd {
		warn("direct_ppb", *in.DirectPpb, message, mend)
	}
	if s.SampleKind == "shaken" {
		if v := in.ShakeMin; v != nil && (*v < askShakeLow || *v > askShakeHigh) {
			warn("shake_min", *v, "unusual; five minutes is common practice", "check, or note why")
		}
	} else if in.ShakeMin != nil && *in.ShakeMin > 0 {
		warn("shake_min", *in.ShakeMin, "a shake time on a reading that is not of a shaken package",
			"choose shaken, if it was shaken")
	}
	if in.GrossG != nil && run.InForce.NominalML != nil && run.InForce.SG != nil {
		tare := in.TareG
		if tare == nil {
			tare = run.InForce.TareG
		}
		if tare != nil {
			net, want := *in.GrossG-*tare, *run.InForce.NominalML**run.InForce.SG
			if net < want*(1-askFill) || net > want*(1+askFill) {
				warn("gross_g", *in.GrossG, fmt.Sprintf("leaves %.0f g of beer where about %.0f g is expected", net, want),
					"check the package, the tare and the unit; a true low fill is a finding of its own")
			}
		}
	}
	return append(ws, plausibleTimes(s, run)...)
}

func plausibleTimes(s *Sample, run *Run) []Warning {
	var ws []Warning
	if !s.Inputs.TemperatureAt.IsZero() {
		if age := s.TakenAt.Sub(s.Inputs.TemperatureAt.Time); age > askTempAge {
			ws = append(ws, Warning{"inputs.temperature_at", s.Inputs.TemperatureAt.Format(time.RFC3339),
				"the temperature is " + span(age) + " old", "read the temperature again"})
		}
	}
	if s.SampleKind != "inlet" && !s.ClosedAt.IsZero() {
		limit := askDelay
		if run.InForce.YeastInPackage {
			limit = askDelayYeast
		}
		if d := s.TakenAt.Sub(s.ClosedAt.Time); d > limit {
			ws = append(ws, Warning{"taken_at", s.TakenAt.Format(time.RFC3339),
				"read " + span(d) + " after closing: oxygen has already been consumed", "read sooner; a late low value proves nothing"})
		}
	}
	if !s.TakenAt.IsZero() && s.TakenAt.Before(run.StartedAt.Add(-maxSkew)) {
		ws = append(ws, Warning{"taken_at", s.TakenAt.Format(time.RFC3339), "is before the run started",
			"check the device's clock and the run"})
	}
	if !run.EndedAt.IsZero() && !s.ClosedAt.IsZero() && s.ClosedAt.After(run.EndedAt.Add(maxSkew)) {
		ws = append(ws, Warning{"closed_at", s.ClosedAt.Format(time.RFC3339), "is after the run ended",
			"check the device's clock and the run"})
	}
	return ws
}

// calcFields names a sample's input behind a field of the calculation.
var calcFields = map[string]string{
	"result.temperature_c": "inputs.temperature_c", "result.shaken_do_ppb": "inputs.do_ppb",
	"result.gross_g": "inputs.gross_g", "result.minutes_since_closing_min": "taken_at",
}

// notIn drops what the calculation already questions.
func notIn(computed, ws []Warning) []Warning {
	said := map[string]bool{}
	for _, w := range computed {
		said[calcFields[w.Field]] = true
	}
	return slices.DeleteFunc(ws, func(w Warning) bool { return said[w.Field] })
}
