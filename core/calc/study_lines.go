package calc

import (
	"fmt"
	"math"

	"ullage/core/quantity"
	"ullage/core/stats"
)

// NeckRow is one height of a bottle and the headspace there.
type NeckRow struct {
	Gap       *quantity.Length `json:"gap_mm" need:"yes" help:"height from the rim down to the liquid"`
	Headspace *quantity.Volume `json:"headspace_ml" help:"the volume above it …"`
	Full      *quantity.Mass   `json:"to_brim_g" help:"… or the water that fills it to the brim, by weight (0.998 g/mL)"`
}

type studyNeckInput struct {
	Rows Rows[NeckRow] `json:"rows" need:"yes" help:"list of heights: gap_mm, and headspace_ml or to_brim_g"`
}

type studyNeckResult struct {
	PerMM        float64 `json:"neck_ml_per_mm"`
	PerMMLow     float64 `json:"neck_ml_per_mm_low95"`
	PerMMHigh    float64 `json:"neck_ml_per_mm_high95"`
	Gap          float64 `json:"neck_gap_mm"`
	Headspace    float64 `json:"neck_headspace_ml"`
	HeadspaceLow float64 `json:"neck_headspace_ml_low95"`
	HeadspaceUp  float64 `json:"neck_headspace_ml_high95"`
	SD           float64 `json:"residual_sd_ml"`
	N            int     `json:"n"`
	Sentence     string  `json:"sentence"`
}

// studyNeck is the line from fill height to headspace that tpo takes (eq. 15).
func studyNeck(in *studyNeckInput) (Answer, error) {
	x, y := make([]float64, len(in.Rows)), make([]float64, len(in.Rows))
	var mean float64
	for i, r := range in.Rows {
		x[i] = valueOr(r.Gap, -1)
		switch {
		case r.Headspace != nil && r.Full != nil:
			return Answer{}, inRow(i, &quantity.Error{Field: "to_brim_g", Message: "is given beside headspace_ml", Mend: "keep one of them"})
		case r.Headspace != nil:
			y[i] = float64(*r.Headspace)
		case r.Full != nil:
			y[i] = float64(*r.Full) / 0.9972 // water at 20 °C weighed in air
		default:
			return Answer{}, inRow(i, missing("headspace_ml"))
		}
		if !(x[i] >= 0 && x[i] < 1e4) {
			return Answer{}, inRow(i, refuse("gap_mm", x[i], "is no height from the rim down", "give mm"))
		}
		if !(y[i] > 0 && y[i] < 1e6) {
			return Answer{}, inRow(i, refuse("headspace_ml", y[i], "mL is no headspace", "check the unit"))
		}
		mean += x[i] / float64(len(x))
	}
	if len(x) < 4 {
		return Answer{}, tooFewRows(len(x), 4)
	}
	r, err := stats.Trend(x, y, stats.Symmetric, 0.95)
	if err != nil {
		return Answer{}, statsError("rows", err)
	}
	if r.Slope <= 0 {
		return Answer{}, refuse("gap_mm", r.Slope, "mL per mm: the headspace does not grow with the height", "measure from the rim down")
	}
	v, at, err := r.Predict(mean, 0.95)
	if err != nil {
		return Answer{}, statsError("rows", err)
	}
	out := studyNeckResult{PerMM: r.Slope, PerMMLow: r.SlopeInterval.Low, PerMMHigh: r.SlopeInterval.High, Gap: mean, Headspace: v, HeadspaceLow: at.Low, HeadspaceUp: at.High, SD: r.SD, N: r.N}
	out.Sentence = fmt.Sprintf("At %.1f mm the headspace is %.2f mL; each mm more adds %.3f mL. One height tells it to ±%.2f mL (one standard deviation).", mean, v, r.Slope, r.SD)
	var w []Warning
	if r.SD > 0.5 {
		w = warn(w, "neck_scatters", "rows", format(r.SD, 2), "the points lie far from a line: the shoulder of the bottle, or bottles that differ", "stay within the straight neck, and read to 0.5 mm")
	}
	return Answer{Result: out, Warnings: w}, nil
}

// LineRow is one reading of a flow test.
type LineRow struct {
	Flow *float64     `json:"flow_ml_min" need:"yes" help:"flow through the sample line"`
	DO   *quantity.DO `json:"do_ppb" need:"yes" help:"steady reading at that flow"`
}

type studyLineInput struct {
	Flow float64       `json:"routine_flow_ml_min" help:"the flow you read at; 150 when not said"`
	Rows Rows[LineRow] `json:"rows" need:"yes" help:"list of readings of one beer at different flows: flow_ml_min, do_ppb"`
}

type studyLineResult struct {
	True        float64 `json:"do_without_line_ppb"`
	TrueLow     float64 `json:"do_without_line_ppb_low95"`
	TrueHigh    float64 `json:"do_without_line_ppb_high95"`
	Ingress     float64 `json:"ingress_ug_min"`
	IngressLow  float64 `json:"ingress_ug_min_low95"`
	IngressHigh float64 `json:"ingress_ug_min_high95"`
	P           float64 `json:"ingress_p"`
	Shown       bool    `json:"ingress_shown"`
	Routine     float64 `json:"routine_flow_ml_min"`
	Adds        float64 `json:"adds_at_routine_flow_ppb"`
	SD          float64 `json:"residual_sd_ppb"`
	N           int     `json:"n"`
	Sentence    string  `json:"sentence"`
}

// studyLine is the flow test of a sample line: what comes in through its wall a
// minute, q, is the same at any flow F, so the reading is DO + q/F.
func studyLine(in *studyLineInput) (Answer, error) {
	flow := in.Flow
	if flow == 0 {
		flow = 150
	}
	if !(flow > 1e-3 && flow < 1e6) {
		return Answer{}, refuse("routine_flow_ml_min", flow, "is no flow", "give mL/min, such as 150")
	}
	x, y := make([]float64, len(in.Rows)), make([]float64, len(in.Rows))
	for i, r := range in.Rows {
		f := valueOr(r.Flow, 0)
		if !(f > 1e-3 && f < 1e6) {
			return Answer{}, inRow(i, refuse("flow_ml_min", f, "is no flow", "give mL/min, such as 150"))
		}
		x[i], y[i] = 1000/f, valueOr(r.DO, 0) // min/L, so that the slope is µg/min
		if err := usable("do_ppb", y[i]); err != nil {
			return Answer{}, inRow(i, err)
		}
	}
	if len(x) < 3 {
		return Answer{}, tooFewRows(len(x), 3)
	}
	r, err := stats.Trend(x, y, stats.Symmetric, 0.95)
	if err != nil {
		return Answer{}, statsError("rows", err)
	}
	v, at, err := r.Predict(0, 0.95)
	if err != nil {
		return Answer{}, statsError("rows", err)
	}
	out := studyLineResult{True: v, TrueLow: at.Low, TrueHigh: at.High, Ingress: r.Slope, IngressLow: r.SlopeInterval.Low, IngressHigh: r.SlopeInterval.High, P: r.P, Routine: flow, Adds: r.Slope * 1000 / flow, SD: r.SD, N: r.N}
	out.Shown = out.IngressLow > 0
	var w []Warning
	switch {
	case out.Shown:
		out.Sentence = quantity.Minus(fmt.Sprintf("The line lets in %.2f µg of oxygen a minute: %.1f ppb at %g mL/min. Without it the beer would read %.1f ppb (95 %%: %.1f to %.1f).", out.Ingress, out.Adds, flow, v, at.Low, at.High))
		if out.Adds > 2 {
			w = warn(w, "line_leaks", "flow_ml_min", format(flow, 0), "the line adds more than 2 ppb at your flow", "shorten it, change it for one that lets less through, look for a loose fitting")
		}
	case r.Slope < 0:
		out.Sentence = "The reading rises with the flow, which no leak through the wall does: look at a steady reading, bubbles, and the pressure in the cell."
	default:
		out.Sentence = fmt.Sprintf("No ingress is shown (95 %%: up to %.1f ppb at %g mL/min).", math.Max(0, out.IngressHigh)*1000/flow, flow)
	}
	return Answer{Result: out, Warnings: w}, nil
}
