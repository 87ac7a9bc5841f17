package calc

import (
	"fmt"
	"math"

	"ullage/core/process"
	"ullage/core/quantity"
)

type afterInput struct {
	numbers
	TPO         quantity.TPO         `json:"tpo_ppb" need:"yes" help:"TPO at closing"`
	Beer        quantity.Volume      `json:"beer_ml" need:"yes" help:"volume of the beer"`
	Temperature quantity.Temperature `json:"temperature_c" need:"yes" help:"temperature of the store"`
	Days        *float64             `json:"days" help:"days to look ahead; 180 when not said"`
	Closure     string               `json:"closure" help:"can, crown_scavenger, crown_low, crown_pvc, pet_barrier or pet"`
	Ingress     *float64             `json:"ingress_ml_day" help:"instead: oxygen that comes in, mL a day at 20 °C"`
	IngressQ10  *float64             `json:"ingress_q10" help:"its growth with 10 K; 1.7 when not said (from memory)"`
	HalfLife    *float64             `json:"half_life_days" help:"half-life of oxygen in this beer at this temperature, from a study; none when not said"`
	Q10         *float64             `json:"q10" help:"ageing with 10 K; 3 when not said, band 2–4.5"`
	Style       *float64             `json:"style_factor" help:"keeping of this beer over that of a pale beer: 0.5 hop-forward, 1.5–2 dark or strong; 1 when not said"`
	Explain     bool                 `json:"explain" help:"give the derivation"`
}

// AfterResult is a package in store. No figure promises a shelf life.
type AfterResult struct {
	IngressPPB float64         `json:"ingress_ppb_day"` // at the temperature of the store
	Present    float64         `json:"present_ppb"`     // at the end, what a meter would find
	Supplied   float64         `json:"supplied_ppb"`    // TPO and all ingress
	Consumed   float64         `json:"consumed_ppb"`
	Days       float64         `json:"days"`
	SameAsTPO  *float64        `json:"ingress_equals_tpo_days,omitempty"`
	KeepLow    float64         `json:"keeping_low_days"` // with the Q10 that shortens
	KeepMid    float64         `json:"keeping_days"`     // middle of the band at the Q10 given
	KeepHigh   float64         `json:"keeping_high_days"`
	Speed      float64         `json:"ageing_speed"` // over 20 °C
	Course     []CoursePoint   `json:"course"`
	Closures   []ClosureOption `json:"closures"`
	Stores     []StoreOption   `json:"stores"`
	Assumes    []string        `json:"assumptions"`
}

// CoursePoint is one day of the picture.
type CoursePoint struct {
	Days     float64 `json:"days"`
	Present  float64 `json:"present_ppb"`
	Supplied float64 `json:"supplied_ppb"`
}

// ClosureOption is the same package with another closure.
type ClosureOption struct {
	Key      string  `json:"key"`
	Name     string  `json:"name"`
	PPBLow   float64 `json:"ingress_low_ppb_day"`
	PPBHigh  float64 `json:"ingress_high_ppb_day"`
	Supplied float64 `json:"supplied_ppb"` // at the end, with the higher rate
	KeepLow  float64 `json:"keeping_low_days"`
	KeepHigh float64 `json:"keeping_high_days"`
	Source   string  `json:"source"`
}

// StoreOption is the same package at another temperature.
type StoreOption struct {
	Temperature float64 `json:"temperature_c"`
	Speed       float64 `json:"ageing_speed"`
	KeepLow     float64 `json:"keeping_low_days"`
	KeepHigh    float64 `json:"keeping_high_days"`
}

// store is what keeping in one place depends on.
type store struct {
	tpo                    quantity.TPO
	beer                   quantity.Volume
	q10, ingressQ10, style float64
}

// keeping is the band of days at a temperature, over the whole Q10 band.
func (s store) keeping(mlDay float64, t quantity.Temperature) (low, mid, high float64) {
	at := func(q10 float64) (a, b float64) {
		speed := process.Speed(q10, t, 20)
		a, b = process.Keeping(s.tpo, s.ingress(mlDay, t)/speed)
		return s.style * a / speed, s.style * b / speed
	}
	a, b := at(s.q10)
	low, mid, high = a, (a+b)/2, b
	for _, q := range []float64{process.Q10Low, process.Q10High} {
		a, b := at(q)
		low, high = math.Min(low, a), math.Max(high, b)
	}
	return low, mid, high
}

func (s store) ingress(mlDay float64, t quantity.Temperature) float64 {
	return process.IngressPPB(mlDay*process.Speed(s.ingressQ10, t, 20), s.beer)
}

// After computes oxygen over time and the band of keeping.
func After(in *afterInput) (Answer, error) {
	days := or(in.Days, 180)
	s := store{in.TPO, in.Beer, or(in.Q10, process.Q10), or(in.IngressQ10, process.IngressQ10), or(in.Style, 1)}
	half := or(in.HalfLife, math.Inf(1))
	if err := first(between("tpo_ppb", float64(in.TPO), 0, 1e5, "check the unit"), bigVolume("beer_ml", in.Beer), between("temperature_c", float64(in.Temperature), -5, 60, "check the unit"),
		between("days", days, 0.01, 3650, "give days up to ten years"), between("q10", s.q10, 1, 10, "give 2 to 4.5"), between("ingress_q10", s.ingressQ10, 1, 10, "give 1.5 to 2.5"),
		between("style_factor", s.style, 0.1, 5, "give 0.5 to 2"), optional("half_life_days", in.HalfLife, 1e-3, 1e5), optional("ingress_ml_day", in.Ingress, 0, 100)); err != nil {
		return Answer{}, err
	}
	ml, assumed, w, err := in.rate()
	if err != nil {
		return Answer{}, err
	}
	t, uptake := in.Temperature, math.Ln2/half
	r := AfterResult{Days: days, IngressPPB: s.ingress(ml, t), Speed: process.Speed(s.q10, t, 20)}
	end := process.After(in.TPO, r.IngressPPB, uptake, days)
	r.Present, r.Supplied, r.Consumed = float64(end.Present), float64(end.Supplied), float64(end.Consumed)
	if r.IngressPPB > 0 {
		same := float64(in.TPO) / r.IngressPPB
		r.SameAsTPO = &same
	}
	r.KeepLow, r.KeepMid, r.KeepHigh = s.keeping(ml, t)
	if in.lean {
		return Answer{Result: r}, nil
	}
	const points = 30
	for i := range points + 1 {
		c := process.After(in.TPO, r.IngressPPB, uptake, days*float64(i)/points)
		r.Course = append(r.Course, CoursePoint{c.Days, float64(c.Present), float64(c.Supplied)})
	}
	r.options(s, t, ml, days)
	r.Assumes = append([]string{
		"keeping of a pale beer at 20 °C by oxygen supplied: below 50 ppb 120–180 days, 50–100 90–120, 100–200 42–70, 200–400 21–42, above 7–14 (common practice)",
		fmt.Sprintf("ageing with 10 K: × %.3g, band 2 to 4.5 (published)", s.q10),
		fmt.Sprintf("ingress with 10 K: × %.3g (from memory)", s.ingressQ10),
		assumed,
		"flavour, light, shaking, yeast and metals are not in it: your own tastings decide",
	}, uptakeAssumption(in.HalfLife)...)
	w = warn(w, "no_promise", "days", "", "a band of experience, never a promised shelf life", "keep retained samples and build your own table")
	var d working
	d.line("P20", "r", "r_20 Q^((t − 20)/10) / V_b", fmt.Sprintf("%.4g mL/d × %.4g^((%.4g − 20)/10) / %.5g L", ml, s.ingressQ10, float64(t), float64(in.Beer)/1000), r.IngressPPB, "ppb/d", assumed)
	d.line("P19", "present", "TPO e^(−k d) + r (1 − e^(−k d)) / k", fmt.Sprintf("TPO %.4g, k = %.4g/d, d = %.4g", float64(in.TPO), uptake, days), r.Present, "ppb", "first-order uptake, steady ingress")
	d.line("P22", "keeping", "band(TPO + r d) / Q10^((t − 20)/10)", fmt.Sprintf("speed %.4g", r.Speed), r.KeepMid, "d", "common practice")
	return Answer{Result: r, Warnings: w, Derivation: d.when(in.Explain)}, nil
}

func uptakeAssumption(half *float64) []string {
	if half == nil {
		return []string{"no uptake by the beer is known, so present equals supplied: a meter will find less"}
	}
	return []string{fmt.Sprintf("uptake first-order, half-life %.3g days (typed)", *half)}
}

// rate is the ingress at 20 °C, mL a day, and where it is from.
func (in *afterInput) rate() (ml float64, assumed string, w []Warning, err error) {
	switch {
	case in.Ingress != nil && in.Closure != "":
		return 0, "", nil, &quantity.Error{Field: "closure", Value: in.Closure, Message: "stands beside ingress_ml_day", Mend: "keep one of them"}
	case in.Ingress != nil:
		return *in.Ingress, fmt.Sprintf("ingress %.3g mL O2 a day at 20 °C (typed)", *in.Ingress), nil, nil
	case in.Closure == "":
		return 0, "no ingress (no closure given)", warn(nil, "no_closure", "closure", "", "without a closure no oxygen is taken to come in", "name the closure, or give its ingress"), nil
	}
	known := ""
	for _, c := range process.Closures {
		if c.Key == in.Closure {
			return (c.Low + c.High) / 2, fmt.Sprintf("%s: %.3g–%.3g mL O2 a day at 20 °C (%s)", c.Name, c.Low, c.High, c.Source), nil, nil
		}
		known += " " + c.Key
	}
	return 0, "", nil, &quantity.Error{Field: "closure", Value: in.Closure, Message: "is not known", Mend: "use" + known + ", or ingress_ml_day"}
}

// options compares closures at this store, and stores with this closure.
func (r *AfterResult) options(s store, t quantity.Temperature, ml, days float64) {
	for _, c := range process.Closures {
		o := ClosureOption{Key: c.Key, Name: c.Name, PPBLow: s.ingress(c.Low, t), PPBHigh: s.ingress(c.High, t), Source: c.Source}
		o.Supplied = float64(s.tpo) + o.PPBHigh*days
		o.KeepLow, _, _ = s.keeping(c.High, t)
		_, _, o.KeepHigh = s.keeping(c.Low, t)
		r.Closures = append(r.Closures, o)
	}
	for _, t := range []quantity.Temperature{4, 12, 20, 30} {
		low, _, high := s.keeping(ml, t)
		r.Stores = append(r.Stores, StoreOption{float64(t), process.Speed(s.q10, t, 20), low, high})
	}
}

// AgeStay is some time at one temperature.
type AgeStay struct {
	Days        float64              `json:"days" need:"yes" help:"days at this temperature"`
	Temperature quantity.Temperature `json:"temperature_c" need:"yes" help:"the temperature"`
}

// AgeHistory is where a package was.
type AgeHistory []AgeStay

// UnmarshalJSON reads the stays with the rules of an input.
func (h *AgeHistory) UnmarshalJSON(text []byte) (err error) {
	*h, err = decodeList[AgeStay](text, `[{"days": 14, "temperature_c": 20}]`)
	return err
}

type ageInput struct {
	numbers
	History   AgeHistory            `json:"history" need:"yes" help:"stays, each days and temperature_c"`
	Reference *quantity.Temperature `json:"reference_c" help:"temperature of the equivalent age; 4 °C when not said"`
	Q10       *float64              `json:"q10" help:"ageing with 10 K; 3 when not said"`
	Code      *float64              `json:"code_days" help:"code life at the reference temperature: gives the share used"`
	Explain   bool                  `json:"explain" help:"give the derivation"`
}

// AgeResult is the age of a package as days at one temperature.
type AgeResult struct {
	Days      float64    `json:"equivalent_days"`
	Low       float64    `json:"low_days"` // over the Q10 band
	High      float64    `json:"high_days"`
	Reference float64    `json:"reference_c"`
	Real      float64    `json:"real_days"`
	Hottest   float64    `json:"hottest_c"`
	Mnemonic  float64    `json:"mnemonic_used"` // share of the 3, 30, 300 days
	Used      *float64   `json:"code_used,omitempty"`
	UsedLow   *float64   `json:"code_used_low,omitempty"`
	UsedHigh  *float64   `json:"code_used_high,omitempty"`
	Shares    []AgeShare `json:"shares"` // for the picture: at most 200
}

// AgeShare is what one stay did.
type AgeShare struct {
	Days        float64 `json:"days"`
	Temperature float64 `json:"temperature_c"`
	Share       float64 `json:"share"` // of the equivalent age
}

// Age computes the equivalent age.
func Age(in *ageInput) (Answer, error) {
	ref, q10 := or(in.Reference, 4), or(in.Q10, process.Q10)
	if err := first(between("reference_c", float64(ref), -5, 60, "check the unit"), between("q10", q10, 1, 10, "give 2 to 4.5"), optional("code_days", in.Code, 0.1, 36500)); err != nil {
		return Answer{}, err
	}
	r := AgeResult{Reference: float64(ref), Hottest: math.Inf(-1)}
	history := make([]process.Stay, len(in.History))
	for i, s := range in.History {
		if err := first(between("days", s.Days, 0, 36500, "give days from 0 up"), between("temperature_c", float64(s.Temperature), -30, 70, "check the unit")); err != nil {
			return Answer{}, quantity.In("history", within(err, i))
		}
		history[i] = process.Stay{Days: s.Days, Temperature: s.Temperature}
		r.Real += s.Days
		r.Hottest = math.Max(r.Hottest, float64(s.Temperature))
	}
	if len(history) == 0 {
		return Answer{}, missing("history")
	}
	r.Days = process.EquivalentAge(history, q10, ref)
	r.Low, r.High = r.Days, r.Days
	for _, q := range []float64{process.Q10Low, process.Q10High} {
		d := process.EquivalentAge(history, q, ref)
		r.Low, r.High = math.Min(r.Low, d), math.Max(r.High, d)
	}
	r.Mnemonic = process.Mnemonic(history)
	if in.Code != nil {
		used, low, high := r.Days / *in.Code, r.Low / *in.Code, r.High / *in.Code
		r.Used, r.UsedLow, r.UsedHigh = &used, &low, &high
	}
	if len(history) <= 200 && r.Days > 0 {
		for _, s := range history {
			r.Shares = append(r.Shares, AgeShare{s.Days, float64(s.Temperature), s.Days * process.Speed(q10, s.Temperature, ref) / r.Days})
		}
	}
	var w []Warning
	if r.Hottest > 45 {
		w = warn(w, "hot", "history", format(r.Hottest, 0)+" °C", "above 45 °C no published figure for beer holds", "check the logger")
	}
	w = warn(w, "no_promise", "history", "", "a guide within a band of Q10 2–4.5, never a promised shelf life", "taste retained samples")
	if in.lean {
		return Answer{Result: r}, nil
	}
	var d working
	d.line("P21", "age", "Σ d Q10^((t − t_ref)/10)", fmt.Sprintf("%d stays, Q10 = %.3g, t_ref = %.4g °C", len(history), q10, float64(ref)), r.Days, "d", "Q10 rule; default 3, band 2–4.5")
	return Answer{Result: r, Warnings: w, Derivation: d.when(in.Explain)}, nil
}
