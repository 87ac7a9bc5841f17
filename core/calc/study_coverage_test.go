package calc_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"ullage/core/calc"
	"ullage/core/quantity"
)

const coverageRepeats = 10_000

// BenchmarkIntervalsCover counts, in 10,000 repeats, how often the 95 %
// intervals of the studies hold the truth they were drawn from, and how often
// two methods just at the margin are called equivalent (5 % is allowed). It is
// a measure to read, not a test: go test ./core/calc -bench IntervalsCover -benchtime 1x
func BenchmarkIntervalsCover(b *testing.B) {
	for b.Loop() {
		rng := rand.New(rand.NewPCG(7, 95))
		hits := map[string]int{}
		for range coverageRepeats {
			agreeOnce(b, rng, hits)
			shakeOnce(b, rng, hits)
			delayOnce(b, rng, hits)
			tareOnce(b, rng, hits)
		}
		for name, n := range hits {
			b.ReportMetric(100*float64(n)/coverageRepeats, name+"-%")
		}
	}
}

// BenchmarkVerdicts counts the verdicts on 20 pairs whose stated uncertainties are
// right (2.5 ppb a pair and more at higher levels), where the two are alike,
// where the calculated figure is 10 ppb high, and where it is 12 % high:
// go test ./core/calc -bench Verdicts -benchtime 1x
func BenchmarkVerdicts(b *testing.B) {
	for b.Loop() {
		rng := rand.New(rand.NewPCG(7, 96))
		for _, c := range []struct {
			name         string
			offset, part float64
			because      string
		}{{"alike", 0, 0, ""}, {"offset", 10, 0, calc.ByOffset}, {"proportional", 0, 0.12, calc.ByRatio}} {
			verdicts, right := map[string]int{}, 0
			for range coverageRepeats {
				v, because := verdictOnce(b, rng, c.offset, c.part)
				verdicts[v]++
				if because == c.because {
					right++
				}
			}
			for v, n := range verdicts {
				b.ReportMetric(100*float64(n)/coverageRepeats, c.name+":"+strings.ReplaceAll(v, " ", "_")+"-%")
			}
			b.ReportMetric(100*float64(right)/coverageRepeats, c.name+":cause-right-%")
		}
	}
}

func verdictOnce(b *testing.B, rng *rand.Rand, offset, part float64) (verdict, because string) {
	in := calc.AgreeInput{Rows: make(calc.Rows[calc.AgreePair], 20)}
	for i := range in.Rows {
		truth := 40 + 110*rng.Float64()
		uc, ud := math.Max(2, 0.03*truth), math.Max(1, 0.015*truth)
		c, d := quantity.TPO(truth*(1+part)+offset+uc*rng.NormFloat64()), quantity.TPO(truth+ud*rng.NormFloat64())
		cu, du := quantity.TPO(uc), quantity.TPO(ud)
		in.Rows[i] = calc.AgreePair{Calculated: &c, Direct: &d, CalculatedU: &cu, DirectU: &du}
	}
	answer, err := calc.Agree(&in)
	if err != nil {
		b.Fatal(err)
	}
	r := answer.Result.(calc.AgreeResult)
	if len(r.Because) > 0 {
		because = r.Because[0].Kind
	}
	return r.Verdict, because
}

// count notes whether an interval of a result holds the truth.
func count(hits map[string]int, name string, r object, low, high string, truth float64) {
	l, ok := r[low].(float64)
	h, also := r[high].(float64)
	if ok && also && l <= truth && truth <= h {
		hits[name]++
	}
}

func done(b *testing.B, name string, in any) object {
	b.Helper()
	text, err := json.Marshal(in)
	if err != nil {
		b.Fatal(err)
	}
	answer, err := calc.Do(name, text)
	if err != nil {
		b.Fatal(err)
	}
	out, err := json.Marshal(answer.Result)
	if err != nil {
		b.Fatal(err)
	}
	var r object
	if err := json.Unmarshal(out, &r); err != nil {
		b.Fatal(err)
	}
	return r
}

// agreeOnce is 40 pairs at levels of 95 ± 30 ppb, normal as the concordance's
// interval has it, 2.5 ppb of scatter in each method, the calculated figure 5 ppb
// high: just at the margin.
func agreeOnce(b *testing.B, rng *rand.Rand, hits map[string]int) {
	const n, sd, bias, spread = 40, 2.5, 5.0, 30.0
	in := calc.AgreeInput{Rows: make(calc.Rows[calc.AgreePair], n)}
	for i := range n {
		truth := 95 + spread*rng.NormFloat64()
		x, y := quantity.TPO(truth+sd*rng.NormFloat64()), quantity.TPO(truth+bias+sd*rng.NormFloat64())
		in.Rows[i] = calc.AgreePair{Direct: &x, Calculated: &y}
	}
	concordance := 2 * spread * spread / (2*(spread*spread+sd*sd) + bias*bias)
	answer, err := calc.Agree(&in)
	if err != nil {
		b.Fatal(err)
	}
	text, err := json.Marshal(answer.Result)
	if err != nil {
		b.Fatal(err)
	}
	var r object
	if err := json.Unmarshal(text, &r); err != nil {
		b.Fatal(err)
	}
	reach := 1.959963984540054 * sd * math.Sqrt2
	for _, c := range []struct {
		field string
		truth float64
	}{
		{"bias_ppb", bias}, {"loa_low_ppb", bias - reach}, {"loa_high_ppb", bias + reach}, {"deming_slope", 1}, {"deming_intercept", bias},
		{"passing_bablok_slope", 1}, {"passing_bablok_intercept", bias}, {"concordance", concordance},
	} {
		count(hits, c.field, r, c.field+"_low95", c.field+"_high95", c.truth)
	}
	count(hits, "passing_bablok_intercept_joined", r, "passing_bablok_intercept_joined_low95", "passing_bablok_intercept_joined_high95", bias)
	count(hits, "loa_low_approximate", r, "loa_low_ppb_approximate_low95", "loa_low_ppb_approximate_high95", bias-reach)
	if r["equivalent"] == true {
		hits["wrongly_equivalent"]++
	}
}

func shakeOnce(b *testing.B, rng *rand.Rand, hits map[string]int) {
	var rows []object
	for _, m := range []float64{0.5, 1, 2, 3, 5, 8} {
		for range 3 {
			rows = append(rows, object{"shake_min": m, "shaken_do_ppb": 44 - 22*math.Exp(-0.75*m) + rng.NormFloat64()})
		}
	}
	r := done(b, "study-shake", object{"rows": rows})
	count(hits, "shake_rate", r, "rate_per_min_low95", "rate_per_min_high95", 0.75)
	count(hits, "shake_end", r, "equilibrium_ppb_low95", "equilibrium_ppb_high95", 44)
	count(hits, "shake_left_at_5", r, "error_at_5_min_ppb_low95", "error_at_5_min_ppb_high95", -22*math.Exp(-3.75))
}

func delayOnce(b *testing.B, rng *rand.Rand, hits map[string]int) {
	var rows []object
	for _, m := range []float64{5, 5, 15, 15, 30, 30, 60, 60, 120, 120} {
		rows = append(rows, object{"delay_min": m, "tpo_ppb": 132 * math.Exp(-0.15*m/60+0.03*rng.NormFloat64())})
	}
	r := done(b, "study-delay", object{"rows": rows})
	count(hits, "delay_rate", r, "rate_per_h_low95", "rate_per_h_high95", 0.15)
	count(hits, "delay_at_closing", r, "at_closing_ppb_low95", "at_closing_ppb_high95", 132)
}

func tareOnce(b *testing.B, rng *rand.Rand, hits map[string]int) {
	var rows []object
	for range 10 {
		rows = append(rows, object{"empty_g": 13.4 + 0.12*rng.NormFloat64()})
	}
	r := done(b, "study-tare", object{"rows": rows})
	count(hits, "tare_mean", r, "mean_low95", "mean_high95", 13.4)
	count(hits, "tare_spread", r, "sd_low95", "sd_high95", 0.12)
}
