package calc

import (
	"fmt"
	"math"
	"strconv"

	"ullage/core/process"
	"ullage/core/quantity"
)

// AgeStay is some time at one temperature.
type AgeStay struct {
	Days        quantity.Days        `json:"days" need:"yes" help:"days at this temperature"`
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
	History   AgeHistory            `json:"history" help:"stays, each days and temperature_c; or a logger, or both"`
	Logger    string                `json:"logger" help:"text of a logger's CSV file: a column of time (or hours, days) and one of temperature; from row to row the mean of the two counts"`
	DateOrder string                `json:"date_order" help:"dmy or mdy, where the dates of the file can be read two ways"`
	Reference *quantity.Temperature `json:"reference_c" help:"temperature of the equivalent age; 4 °C when not said"`
	Q10       *float64              `json:"q10" help:"ageing with 10 K; 3 when not said"`
	Code      *quantity.Days        `json:"code_days" help:"code life at the reference temperature: gives the share used"`
	Explain   bool                  `json:"explain" help:"give the derivation"`
}

// AgeResult is the age of a package as days at one temperature.
type AgeResult struct {
	Days      float64     `json:"equivalent_days"`
	Low       float64     `json:"low_days"` // over the Q10 band
	High      float64     `json:"high_days"`
	Reference float64     `json:"reference_c" floor:"none"`
	Real      float64     `json:"real_days"`
	Hottest   float64     `json:"hottest_c" floor:"none"`
	Mnemonic  float64     `json:"mnemonic_used"` // share of the 3, 30, 300 days
	Used      *float64    `json:"code_used,omitempty"`
	UsedLow   *float64    `json:"code_used_low,omitempty"`
	UsedHigh  *float64    `json:"code_used_high,omitempty"`
	Rate      float64     `json:"mean_speed"` // age over real days
	Shares    []AgeShare  `json:"shares"`     // for the picture: at most 200
	Course    []AgePoint  `json:"course"`     // at most 120
	Read      *LoggerRead `json:"read,omitempty"`
}

// AgePoint is a stretch of the history: its end, its coldest and hottest, and
// the age by then.
type AgePoint struct {
	Days float64 `json:"days"`
	Cold float64 `json:"cold_c"`
	Hot  float64 `json:"hot_c"`
	Age  float64 `json:"age_days"`
	Low  float64 `json:"low_days"` // over the Q10 band
	High float64 `json:"high_days"`
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
	history, read, err := in.stays()
	if err != nil {
		return Answer{}, err
	}
	r := AgeResult{Reference: float64(ref), Hottest: math.Inf(-1), Read: read}
	for _, s := range history {
		r.Real += s.Days
		r.Hottest = math.Max(r.Hottest, float64(s.Temperature))
	}
	r.Days = process.EquivalentAge(history, q10, ref)
	r.Low, r.High = r.Days, r.Days
	for _, q := range []float64{process.Q10Low, process.Q10High} {
		d := process.EquivalentAge(history, q, ref)
		r.Low, r.High = math.Min(r.Low, d), math.Max(r.High, d)
	}
	r.Mnemonic = process.Mnemonic(history)
	if r.Real > 0 {
		r.Rate = r.Days / r.Real
	}
	if in.Code != nil {
		used, low, high := r.Days/float64(*in.Code), r.Low/float64(*in.Code), r.High/float64(*in.Code)
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
	w = read.warnings(w)
	w = warn(w, "no_promise", "history", "", "a guide within a band of Q10 2–4.5, never a promised shelf life", "taste retained samples")
	if in.lean {
		return Answer{Result: r}, nil
	}
	r.Course = ageCourse(history, q10, ref)
	var d working
	d.line("P21", "age", "Σ d Q10^((t − t_ref)/10)", fmt.Sprintf("%d stays, Q10 = %.3g, t_ref = %.4g °C", len(history), q10, float64(ref)), r.Days, "d", "Q10 rule; default 3, band 2–4.5")
	return Answer{Result: r, Warnings: w, Derivation: d.when(in.Explain)}, nil
}

// stays are those that were typed, then those of the logger.
func (in *ageInput) stays() ([]process.Stay, *LoggerRead, error) {
	if len(in.History) == 0 && in.Logger == "" {
		return nil, nil, missing("history")
	}
	list := make([]process.Stay, 0, len(in.History))
	for i, s := range in.History {
		if err := first(between("days", s.Days, 0, 36500, "give days from 0 up"), between("temperature_c", float64(s.Temperature), -30, 70, "check the unit")); err != nil {
			return nil, nil, quantity.In("history", within(err, i))
		}
		list = append(list, process.Stay{Days: float64(s.Days), Temperature: s.Temperature})
	}
	if in.Logger == "" {
		return list, nil, nil
	}
	points, read, err := readLogger(in.Logger, in.DateOrder)
	if err != nil {
		if e, ok := err.(*quantity.Error); ok && e.Field != "" {
			return nil, nil, err
		}
		return nil, nil, quantity.In("logger", err)
	}
	for i := 1; i < len(points); i++ {
		list = append(list, process.Stay{Days: points[i].days - points[i-1].days, Temperature: (points[i].c + points[i-1].c) / 2})
	}
	return list, read, nil
}

// warnings says what a logger's file leaves open.
func (r *LoggerRead) warnings(w []Warning) []Warning {
	if r == nil {
		return w
	}
	if r.Refused > 0 {
		w = warn(w, "rows_refused", "logger", "", strconv.Itoa(r.Refused)+" "+fmt.Sprintf("of %d rows left out; between their neighbours the mean counts", r.Rows), "mend the lines named")
	}
	if r.Longest > 1.0/24 && r.Longest > 6*r.typical {
		w = warn(w, "gap", "logger", "", fmt.Sprintf("%.3g h without a row before line %d: taken as the mean of its two ends", 24*r.Longest, r.gapLine), "look whether the logger stood still, and where the beer was")
	}
	if r.guessed {
		w = warn(w, "unit_taken", "logger", "°C", "the column of temperature names no unit", "name it temperature_c or temperature_f")
	}
	return w
}

// ageCourse cuts the history into at most 120 stretches of equal time.
func ageCourse(history []process.Stay, q10 float64, ref quantity.Temperature) []AgePoint {
	const most = 120
	total := 0.0
	for _, s := range history {
		total += s.Days
	}
	if total <= 0 {
		return nil
	}
	var list []AgePoint
	var now AgePoint
	fresh := true
	for i, s := range history {
		t := float64(s.Temperature)
		if fresh {
			now.Cold, now.Hot, fresh = t, t, false
		}
		now.Cold, now.Hot = math.Min(now.Cold, t), math.Max(now.Hot, t)
		now.Days += s.Days
		now.Age += s.Days * process.Speed(q10, s.Temperature, ref)
		a, b := s.Days*process.Speed(process.Q10Low, s.Temperature, ref), s.Days*process.Speed(process.Q10High, s.Temperature, ref)
		now.Low, now.High = now.Low+a, now.High+b
		if len(history) <= most || now.Days >= total*float64(len(list)+1)/most || i == len(history)-1 {
			p := now
			p.Low, p.High = math.Min(math.Min(now.Low, now.High), now.Age), math.Max(math.Max(now.Low, now.High), now.Age)
			list, fresh = append(list, p), true
		}
	}
	return list
}
