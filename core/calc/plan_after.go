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
	Days        *quantity.Days       `json:"days" help:"days to look ahead; 180 when not said"`
	Closure     string               `json:"closure" help:"can, crown_scavenger, crown_low, crown_pvc, pet_barrier or pet"`
	Ingress     *quantity.Ingress    `json:"ingress_ml_day" help:"instead: oxygen that comes in, mL a day at 20 °C"`
	IngressQ10  *float64             `json:"ingress_q10" help:"its growth with 10 K; 1.7 when not said (from memory)"`
	Uptake      string               `json:"uptake" help:"kind of beer that takes up oxygen: bright, unfiltered or yeast (bands from memory); none when not said"`
	HalfLife    *quantity.Days       `json:"half_life_days" help:"instead: half-life of oxygen in this beer at this temperature, from a study"`
	Q10         *float64             `json:"q10" help:"ageing with 10 K; 3 when not said, band 2–4.5"`
	Style       *float64             `json:"style_factor" help:"keeping of this beer over that of a pale beer: 0.5 hop-forward, 1.5–2 dark or strong; 1 when not said"`
	Keep        *quantity.Days       `json:"keep_days" help:"days it should keep by the short end of the guide: gives the TPO that allows it"`
	Explain     bool                 `json:"explain" help:"give the derivation"`
}

// AfterResult is a package in store. No figure promises a shelf life.
type AfterResult struct {
	IngressPPB float64 `json:"ingress_ppb_day"` // at the temperature of the store
	Present    float64 `json:"present_ppb"`     // at the end, what a meter would find
	Supplied   float64 `json:"supplied_ppb"`    // TPO and all ingress
	Consumed   float64 `json:"consumed_ppb"`
	// What is not known of ingress and uptake moves the same figures so far.
	PresentLow   float64         `json:"present_low_ppb"`
	PresentHigh  float64         `json:"present_high_ppb"`
	SuppliedLow  float64         `json:"supplied_low_ppb"`
	SuppliedHigh float64         `json:"supplied_high_ppb"`
	HalfLow      *float64        `json:"half_life_low_days,omitempty"`
	HalfHigh     *float64        `json:"half_life_high_days,omitempty"`
	Days         float64         `json:"days"`
	SameAsTPO    *float64        `json:"ingress_equals_tpo_days,omitempty"`
	KeepLow      float64         `json:"keeping_low_days"` // with the Q10 that shortens
	KeepMid      float64         `json:"keeping_days"`     // middle of the band at the Q10 given
	KeepHigh     float64         `json:"keeping_high_days"`
	Speed        float64         `json:"ageing_speed"`              // over 20 °C
	Allowed      *float64        `json:"allowed_tpo_ppb,omitempty"` // for keep_days; none where no TPO does
	Course       []CoursePoint   `json:"course"`
	Closures     []ClosureOption `json:"closures"`
	Stores       []StoreOption   `json:"stores"`
	Assumes      []string        `json:"assumptions"`
}

// CoursePoint is one day of the picture.
type CoursePoint struct {
	Days         float64 `json:"days"`
	Present      float64 `json:"present_ppb"`
	PresentLow   float64 `json:"present_low_ppb"`
	PresentHigh  float64 `json:"present_high_ppb"`
	Supplied     float64 `json:"supplied_ppb"`
	SuppliedLow  float64 `json:"supplied_low_ppb"`
	SuppliedHigh float64 `json:"supplied_high_ppb"`
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

func (in *afterInput) course(b ingressBand, k uptake, ingress, days float64) (list []CoursePoint) {
	const points = 30
	for i := range points + 1 {
		p := b.at(in.TPO, k, days*float64(i)/points)
		c := process.After(in.TPO, ingress, k.mid, p.Days)
		p.Present, p.Supplied = float64(c.Present), float64(c.Supplied)
		list = append(list, p)
	}
	return list
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

// allowed is the highest TPO, to 2,000 ppb, that keeps so many days by the short
// end of the band; nil where none does. Keeping never grows with TPO.
func (s store) allowed(days, mlDay float64, t quantity.Temperature) *float64 {
	keeps := func(tpo float64) bool {
		s.tpo = quantity.TPO(tpo)
		low, _, _ := s.keeping(mlDay, t)
		return low >= days
	}
	if !keeps(0) {
		return nil
	}
	low, high := 0.0, 2000.0
	for range 50 {
		if mid := (low + high) / 2; keeps(mid) {
			low = mid
		} else {
			high = mid
		}
	}
	return &low
}

func (s store) ingress(mlDay float64, t quantity.Temperature) float64 {
	return process.IngressPPB(mlDay*process.Speed(s.ingressQ10, t, 20), s.beer)
}

// After computes oxygen over time and the band of keeping.
func After(in *afterInput) (Answer, error) {
	days := float64(or(in.Days, 180))
	s := store{in.TPO, in.Beer, or(in.Q10, process.Q10), or(in.IngressQ10, process.IngressQ10), or(in.Style, 1)}
	half := float64(or(in.HalfLife, quantity.Days(math.Inf(1))))
	if err := first(between("tpo_ppb", float64(in.TPO), 0, 1e5, "check the unit"), bigVolume("beer_ml", in.Beer), between("temperature_c", float64(in.Temperature), -5, 60, "check the unit"),
		between("days", days, 0.01, 3650, "give days up to ten years"), between("q10", s.q10, 1, 10, "give 2 to 4.5"), between("ingress_q10", s.ingressQ10, 1, 10, "give 1.5 to 2.5"),
		between("style_factor", s.style, 0.1, 5, "give 0.5 to 2"), optional("half_life_days", in.HalfLife, 1e-3, 1e5), optional("ingress_ml_day", in.Ingress, 0, 100), optional("keep_days", in.Keep, 0.01, 3650)); err != nil {
		return Answer{}, err
	}
	ml, assumed, w, err := in.rate()
	if err != nil {
		return Answer{}, err
	}
	k, err := in.uptakes(half)
	if err != nil {
		return Answer{}, err
	}
	t, uptake := in.Temperature, k.mid
	r := AfterResult{Days: days, IngressPPB: s.ingress(ml, t), Speed: process.Speed(s.q10, t, 20)}
	end := process.After(in.TPO, r.IngressPPB, uptake, days)
	r.Present, r.Supplied, r.Consumed = float64(end.Present), float64(end.Supplied), float64(end.Consumed)
	span := in.spread(s, ml)
	edge := span.at(in.TPO, k, days)
	r.PresentLow, r.PresentHigh, r.SuppliedLow, r.SuppliedHigh = edge.PresentLow, edge.PresentHigh, edge.SuppliedLow, edge.SuppliedHigh
	if in.Uptake != "" {
		slow, fast := math.Ln2/k.slow, math.Ln2/k.fast
		r.HalfLow, r.HalfHigh = &fast, &slow
	}
	if r.IngressPPB > 0 {
		same := float64(in.TPO) / r.IngressPPB
		r.SameAsTPO = &same
	}
	r.KeepLow, r.KeepMid, r.KeepHigh = s.keeping(ml, t)
	if in.Keep != nil {
		if r.Allowed = s.allowed(float64(*in.Keep), ml, t); r.Allowed == nil {
			w = warn(w, "keeps_shorter", "keep_days", format(float64(*in.Keep), 0)+" days", "longer than the short end of the guide gives to any TPO with this closure and store", "a tighter closure, a colder store, or fewer days")
		}
	}
	if in.lean {
		return Answer{Result: r}, nil
	}
	r.Course = in.course(span, k, r.IngressPPB, days)
	r.options(s, t, ml, days)
	r.Assumes = append([]string{
		"keeping of a pale beer at 20 °C by oxygen supplied: below 50 ppb 120–180 days, 50–100 90–120, 100–200 42–70, 200–400 21–42, above 7–14 (common practice)",
		fmt.Sprintf("ageing with 10 K: × %.3g, band 2 to 4.5 (published)", s.q10),
		fmt.Sprintf("ingress with 10 K: × %.3g, band 1.5 to 2 (from memory)", s.ingressQ10),
		assumed,
		"flavour, light, shaking, yeast and metals are not in it: your own tastings decide",
	}, in.uptakeAssumption(r.HalfLow, r.HalfHigh)...)
	w = warn(w, "no_promise", "days", "", "a band of experience, never a promised shelf life", "keep retained samples and build your own table")
	var d working
	d.line("P20", "r", "r_20 Q^((t − 20)/10) / V_b", fmt.Sprintf("%.4g mL/d × %.4g^((%.4g − 20)/10) / %.5g L", ml, s.ingressQ10, float64(t), float64(in.Beer)/1000), r.IngressPPB, "ppb/d", assumed)
	d.line("P19", "present", "TPO e^(−k d) + r (1 − e^(−k d)) / k", fmt.Sprintf("TPO %.4g, k = %.4g/d, d = %.4g", float64(in.TPO), uptake, days), r.Present, "ppb", "first-order uptake, steady ingress")
	d.line("P22", "keeping", "band(TPO + r d) / Q10^((t − 20)/10)", fmt.Sprintf("speed %.4g", r.Speed), r.KeepMid, "d", "common practice")
	return Answer{Result: r, Warnings: w, Derivation: d.when(in.Explain)}, nil
}

func (in *afterInput) uptakeAssumption(low, high *float64) []string {
	switch {
	case in.Uptake != "":
		return []string{fmt.Sprintf("uptake first-order, half-life %.3g to %.3g days at this temperature for this kind of beer (common practice, from memory); a study of the beer replaces it", *low, *high)}
	case in.HalfLife == nil:
		return []string{"no uptake by the beer is known, so present equals supplied: a meter will find less"}
	}
	return []string{fmt.Sprintf("uptake first-order, half-life %.3g days (typed)", *in.HalfLife)}
}

// uptake is how fast the beer takes up oxygen, 1/day, with its band.
type uptake struct{ slow, mid, fast float64 }

func (in *afterInput) uptakes(half float64) (uptake, error) {
	if in.Uptake == "" {
		return uptake{math.Ln2 / half, math.Ln2 / half, math.Ln2 / half}, nil
	}
	if in.HalfLife != nil {
		return uptake{}, &quantity.Error{Field: "uptake", Value: in.Uptake, Message: "stands beside half_life_days", Mend: "keep one of them"}
	}
	known := ""
	for _, u := range process.Uptakes {
		if u.Key == in.Uptake {
			low, high := u.HalfLife(in.Temperature)
			return uptake{math.Ln2 / high, math.Ln2 / math.Sqrt(low*high), math.Ln2 / low}, nil
		}
		known += " " + u.Key
	}
	return uptake{}, &quantity.Error{Field: "uptake", Value: in.Uptake, Message: "is no kind of beer here", Mend: "use" + known + ", or half_life_days"}
}

// ingressBand is the least and the most that comes in, ppb a day.
type ingressBand struct{ low, high float64 }

// spread is the band of a closure's table, over the band of its temperature law;
// a typed ingress has the latter alone.
func (in *afterInput) spread(s store, ml float64) ingressBand {
	low, high := ml, ml
	for _, c := range process.Closures {
		if c.Key == in.Closure {
			low, high = c.Low, c.High
		}
	}
	b := ingressBand{math.Inf(1), math.Inf(-1)}
	for _, q := range []float64{process.IngressQ10Low, s.ingressQ10, process.IngressQ10High} {
		other := s
		other.ingressQ10 = q
		b.low, b.high = math.Min(b.low, other.ingress(low, in.Temperature)), math.Max(b.high, other.ingress(high, in.Temperature))
	}
	return b
}

// at is a day of the course at its edges.
func (b ingressBand) at(tpo quantity.TPO, k uptake, days float64) CoursePoint {
	low, high := process.After(tpo, b.low, k.fast, days), process.After(tpo, b.high, k.slow, days)
	return CoursePoint{Days: days, PresentLow: float64(low.Present), PresentHigh: float64(high.Present), SuppliedLow: float64(low.Supplied), SuppliedHigh: float64(high.Supplied)}
}

// rate is the ingress at 20 °C, mL a day, and where it is from.
func (in *afterInput) rate() (ml float64, assumed string, w []Warning, err error) {
	switch {
	case in.Ingress != nil && in.Closure != "":
		return 0, "", nil, &quantity.Error{Field: "closure", Value: in.Closure, Message: "stands beside ingress_ml_day", Mend: "keep one of them"}
	case in.Ingress != nil:
		return float64(*in.Ingress), fmt.Sprintf("ingress %.3g mL O2 a day at 20 °C (typed)", *in.Ingress), nil, nil
	case in.Closure == "":
		return 0, "no ingress (no closure given)", warn(nil, "no_closure", "closure", "", "without a closure no oxygen is taken to come in", "name the closure, or give its ingress"), nil
	}
	known := ""
	for _, c := range process.Closures {
		if c.Key == in.Closure {
			band := fmt.Sprintf("%.3g–%.3g", c.Low, c.High)
			if c.Low == c.High {
				band = fmt.Sprintf("%.3g", c.Low)
			}
			return (c.Low + c.High) / 2, fmt.Sprintf("%s: %s mL O2 a day at 20 °C (%s)", c.Name, band, c.Source), nil, nil
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
