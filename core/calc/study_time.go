package calc

import (
	"fmt"
	"math"

	"ullage/core/quantity"
	"ullage/core/stats"
)

// ShakeRow is one reading of a shake study.
type ShakeRow struct {
	Minutes *quantity.Minutes  `json:"shake_min" need:"yes" help:"time of shaking, of a package of its own"`
	Read    *quantity.ShakenDO `json:"shaken_do_ppb" need:"yes" help:"its reading"`
}

type studyShakeInput struct {
	Initial *quantity.UnshakenDO `json:"unshaken_do_ppb" help:"reading without shaking, where it is known; fitted when not said"`
	Routine *quantity.Minutes    `json:"routine_min" help:"the time you shake for; 5 when not said"`
	Rows    Rows[ShakeRow]       `json:"rows" need:"yes" help:"list of readings: shake_min, shaken_do_ppb, of neighbouring packages"`
}

type studyShakeResult struct {
	Equilibrium     float64  `json:"equilibrium_ppb"`
	EquilibriumU    float64  `json:"equilibrium_u_ppb"`
	EquilibriumLow  float64  `json:"equilibrium_ppb_low95"`
	EquilibriumHigh float64  `json:"equilibrium_ppb_high95"`
	Initial         float64  `json:"initial_ppb"`
	Rate            float64  `json:"rate_per_min"`
	RateU           float64  `json:"rate_u_per_min"`
	RateLow         float64  `json:"rate_per_min_low95"`
	RateHigh        float64  `json:"rate_per_min_high95"`
	To99            float64  `json:"minutes_to_99_percent"`
	To99Low         *float64 `json:"minutes_to_99_percent_low95"`
	To99High        *float64 `json:"minutes_to_99_percent_high95"` // null where the rate may be none
	Enough          float64  `json:"minutes_enough"`               // to within 5 % or 3 ppb of the end
	ErrorAt5        float64  `json:"error_at_5_min_ppb"`
	ErrorAt5Low     *float64 `json:"error_at_5_min_ppb_low95"`
	ErrorAt5High    *float64 `json:"error_at_5_min_ppb_high95"`
	ErrorShare      float64  `json:"error_at_5_min_share"`
	Routine         float64  `json:"routine_min"`
	ErrorRoutine    float64  `json:"error_at_routine_ppb"`
	SD              float64  `json:"residual_sd_ppb"`
	RSS             float64  `json:"residual_sum_of_squares"`
	N               int      `json:"n"`
	DF              int      `json:"degrees_of_freedom"`
	Sentence        string   `json:"sentence"`
}

// studyShake fits a shake study (eq. 31).
func studyShake(in *studyShakeInput) (Answer, error) {
	t, y := make([]float64, len(in.Rows)), make([]float64, len(in.Rows))
	for i, r := range in.Rows {
		t[i], y[i] = valueOr(r.Minutes, -1), valueOr(r.Read, 0)
		if t[i] < 0 || t[i] > 1e5 {
			return Answer{}, inRow(i, refuse("shake_min", t[i], "is no time of shaking", "give minutes from 0 up"))
		}
		if err := usable("shaken_do_ppb", y[i]); err != nil {
			return Answer{}, inRow(i, err)
		}
	}
	routine := valueOr(in.Routine, 5)
	if !(routine > 0 && routine < 1e5) {
		return Answer{}, refuse("routine_min", routine, "is no time of shaking", "give for example 5")
	}
	var initial *float64
	if in.Initial != nil {
		v := float64(*in.Initial)
		initial = &v
	}
	f, err := stats.Approach(t, y, initial, 0.95)
	if err != nil {
		return Answer{}, statsError("rows", err)
	}
	left, leftIn := f.Left(5)
	out := studyShakeResult{
		Equilibrium: f.Equilibrium, EquilibriumU: f.EquilibriumSE, EquilibriumLow: f.EquilibriumInterval.Low, EquilibriumHigh: f.EquilibriumInterval.High,
		Initial: f.Initial, Rate: f.Rate, RateU: f.RateSE, RateLow: f.RateInterval.Low, RateHigh: f.RateInterval.High,
		To99: math.Log(100) / f.Rate, ErrorAt5: left, ErrorAt5Low: finite(leftIn.Low), ErrorAt5High: finite(leftIn.High), Routine: routine, SD: f.SD, RSS: f.RSS, N: f.N, DF: f.DF,
	}
	out.ErrorRoutine, _ = f.Left(routine)
	out.To99Low = finite(math.Log(100) / f.RateInterval.High)
	if f.RateInterval.Low > 0 {
		out.To99High = finite(math.Log(100) / f.RateInterval.Low)
	}
	if f.Equilibrium != 0 {
		out.ErrorShare = left / f.Equilibrium
	}
	if span, near := math.Abs(f.Initial-f.Equilibrium), max(3, 0.05*math.Abs(f.Equilibrium)); span > near {
		out.Enough = math.Log(span/near) / f.Rate
	}
	out.Sentence = fmt.Sprintf("99 %% of the way after %.1f min; at five minutes %s ppb is left. Shaking for %.1f min comes within 5 %% or 3 ppb (common practice).", out.To99, signed(left), out.Enough)
	return Answer{Result: out, Warnings: shakeWarnings(&f, &out)}, nil
}

func shakeWarnings(f *stats.ApproachResult, out *studyShakeResult) (w []Warning) {
	switch {
	case f.AtBound:
		w = warn(w, "no_approach", "rows", "", "the readings show no approach to an end", "add earlier and later times")
	case f.Reach < 1:
		w = warn(w, "end_not_reached", "shake_min", "", "the longest shaking lies far before the end, so the end is a guess", "read after longer shaking too")
	}
	if f.DF < 1 {
		w = warn(w, "no_spare_point", "rows", "", "the curve goes through every point, so nothing shows how good it is", "read at five times or more")
	}
	if out.RateLow <= 0 && f.DF > 0 && !f.AtBound {
		w = warn(w, "rate_not_shown", "rows", "", "the readings scatter too much to say how fast it goes", "take three packages for each time")
	}
	if math.Abs(out.ErrorRoutine) > max(3, 0.05*math.Abs(out.Equilibrium)) {
		w = warn(w, "routine_too_short", "routine_min", format(out.Routine, 1), "your time leaves "+signed(out.ErrorRoutine)+" ppb", fmt.Sprintf("shake for %.1f min", out.Enough))
	}
	return w
}

// DelayRow is one reading of a delay study.
type DelayRow struct {
	Minutes *quantity.Minutes     `json:"delay_min" need:"yes" help:"time from closing to reading, of a package of its own"`
	TPO     *quantity.TPO         `json:"tpo_ppb" help:"its TPO …"`
	Shaken  *quantity.ShakenDO    `json:"shaken_do_ppb" help:"… or its shaken DO: all rows the same"`
	T       *quantity.Temperature `json:"temperature_c" help:"at which it stood"`
}

type studyDelayInput struct {
	Loss float64        `json:"loss_percent" help:"loss that is still accepted; 5 when not said"`
	Rows Rows[DelayRow] `json:"rows" need:"yes" help:"list of readings: delay_min, tpo_ppb or shaken_do_ppb, of neighbouring packages"`
}

type studyDelayResult struct {
	Rate       float64  `json:"rate_per_h"`
	RateU      float64  `json:"rate_u_per_h"`
	RateLow    float64  `json:"rate_per_h_low95"`
	RateHigh   float64  `json:"rate_per_h_high95"`
	P          float64  `json:"rate_p"`
	Shown      bool     `json:"uptake_shown"`
	HalfLife   *float64 `json:"half_life_h"` // null where no uptake was found
	Lost10     float64  `json:"lost_in_10_min_percent"`
	Lost60     float64  `json:"lost_in_1_h_percent"`
	Allowed    *float64 `json:"minutes_allowed"` // until loss_percent is lost, by the faster end of the interval
	Closed     float64  `json:"at_closing_ppb"`
	ClosedLow  float64  `json:"at_closing_ppb_low95"`
	ClosedHigh float64  `json:"at_closing_ppb_high95"`
	SDPercent  float64  `json:"residual_sd_percent"`
	N          int      `json:"n"`
	Of         string   `json:"reading"` // tpo_ppb or shaken_do_ppb
	Sentence   string   `json:"sentence"`
}

// studyDelay finds first-order uptake from readings after different delays, on
// logarithms, for packages differ by a share of their level (eq. 32).
func studyDelay(in *studyDelayInput) (Answer, error) {
	t, y, of, w, err := delayReadings(in.Rows)
	if err != nil {
		return Answer{}, err
	}
	loss := in.Loss
	if loss == 0 {
		loss = 5
	}
	if !(loss > 1e-6 && loss < 100) {
		return Answer{}, refuse("loss_percent", loss, "is no share", "give for example 5")
	}
	r, err := stats.Trend(t, y, stats.Positive, 0.95)
	if err != nil {
		return Answer{}, statsError("rows", err)
	}
	closed, closedIn, err := r.Predict(0, 0.95)
	if err != nil {
		return Answer{}, statsError("rows", err)
	}
	lost := func(minutes float64) float64 { return -100 * math.Expm1(r.Slope*minutes) }
	out := studyDelayResult{
		Rate: -60 * r.Slope, RateU: 60 * r.SlopeSE, RateLow: -60 * r.SlopeInterval.High, RateHigh: -60 * r.SlopeInterval.Low, P: r.P,
		Lost10: lost(10), Lost60: lost(60), Closed: closed, ClosedLow: closedIn.Low, ClosedHigh: closedIn.High, SDPercent: 100 * r.SD, N: r.N, Of: of,
	}
	out.Shown = out.RateLow > 0
	if out.Rate > 0 {
		out.HalfLife = finite(math.Ln2 / out.Rate)
	}
	if out.RateHigh > 0 {
		out.Allowed = finite(-60 * math.Log1p(-loss/100) / out.RateHigh)
	}
	switch {
	case out.Shown:
		out.Sentence = quantity.Minus(fmt.Sprintf("Uptake %.3f per hour (95 %%: %.3f to %.3f): %.1f %% is gone after ten minutes. Read within %.0f min, so that no more than %g %% is lost.", out.Rate, out.RateLow, out.RateHigh, out.Lost10, *out.Allowed, loss))
	case out.RateHigh > 0:
		out.Sentence = fmt.Sprintf("No uptake is shown (95 %%: up to %.3f per hour). It may still be there: with that much, %g %% is lost after %.0f min.", out.RateHigh, loss, *out.Allowed)
		w = warn(w, "uptake_not_shown", "rows", "", "the readings do not show an uptake", "wait longer, or read more packages; never correct by such a rate")
	default:
		out.Sentence = "The readings rise with time: air comes in, or the packages differ."
		w = warn(w, "readings_rise", "rows", "", "oxygen does not grow in beer", "look for a leak, and shuffle the packages over the delays")
	}
	if err := usable("rows", closed); err != nil {
		return Answer{}, err
	}
	return Answer{Result: out, Warnings: w}, nil
}

func delayReadings(rows Rows[DelayRow]) (t, y []float64, of string, w []Warning, err error) {
	low, high := math.Inf(1), math.Inf(-1)
	for i, r := range rows {
		field, v := "tpo_ppb", valueOr(r.TPO, 0)
		switch {
		case r.TPO != nil && r.Shaken != nil:
			return nil, nil, "", nil, inRow(i, &quantity.Error{Field: "tpo_ppb", Message: "is given beside shaken_do_ppb", Mend: "keep one of them"})
		case r.Shaken != nil:
			field, v = "shaken_do_ppb", float64(*r.Shaken)
		case r.TPO == nil:
			return nil, nil, "", nil, inRow(i, missing("tpo_ppb"))
		}
		if of == "" {
			of = field
		}
		m := valueOr(r.Minutes, -1)
		switch {
		case field != of:
			return nil, nil, "", nil, inRow(i, &quantity.Error{Field: field, Message: "stands where the rows before have " + of, Mend: "give the same reading in all rows"})
		case !(v > 0 && v < 1e9):
			return nil, nil, "", nil, inRow(i, refuse(field, v, "ppb is not above zero, so it has no share to lose", "leave the row out"))
		case m < 0 || m > 1e7:
			return nil, nil, "", nil, inRow(i, refuse("delay_min", m, "is no delay", "give minutes from 0 up"))
		}
		if r.T != nil {
			low, high = min(low, float64(*r.T)), max(high, float64(*r.T))
		}
		t, y = append(t, m), append(y, v)
	}
	if len(t) < 4 {
		return nil, nil, "", nil, tooFewRows(len(t), 4)
	}
	if high-low > 2 {
		w = warn(w, "temperatures_differ", "temperature_c", format(low, 1)+" to "+format(high, 1), "uptake goes faster when warm, so one rate does not fit", "make a study for each temperature")
	}
	return t, y, of, w, nil
}
