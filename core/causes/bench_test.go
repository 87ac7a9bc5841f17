package causes_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"ullage/core/causes"
)

var morning = time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)

func after(min float64) time.Time { return morning.Add(time.Duration(min * float64(time.Minute))) }

// sigma is what one reading scatters by: 1 ppb of the meter's own and 1.5 of
// sampling, less half the meter's variance, which all its readings share.
const sigma = 1.66

// bench makes tests with readings that scatter.
type bench struct{ r *rand.Rand }

// trace reads one point n times, every gap minutes.
func (b bench) trace(n int, gap, scatter float64, at func(min float64) float64) causes.Test {
	rows := make([]causes.TestRow, n)
	for i := range rows {
		min := gap * float64(i)
		v := at(min) + scatter*b.r.NormFloat64()
		rows[i] = causes.TestRow{At: after(min), FlowHLH: 60, Out: &v}
	}
	return causes.Test{Rows: rows}
}

// pairs reads both sides every five minutes, at these flows in turn.
func (b bench) pairs(n int, flows []float64, in, out func(flow, min float64) float64) causes.Test {
	rows := make([]causes.TestRow, n)
	for i := range rows {
		min, flow := 5*float64(i), flows[i%len(flows)]
		x, y := in(flow, min)+sigma*b.r.NormFloat64(), out(flow, min)+sigma*b.r.NormFloat64()
		rows[i] = causes.TestRow{At: after(min), FlowHLH: flow, In: &x, Out: &y, MeterIn: "A", MeterOut: "B"}
	}
	return causes.Test{Rows: rows}
}

func level(v float64) func(float64) float64 { return func(float64) float64 { return v } }

func even(v float64) func(flow, min float64) float64 {
	return func(float64, float64) float64 { return v }
}

// share of n tests that name what; "" for anything.
func (b bench) share(n int, what string, test func() causes.Test) float64 {
	named := 0
	for range n {
		for _, f := range causes.Diagnose(test()).Findings {
			if what == "" || f.Kind == what {
				named++
				break
			}
		}
	}
	return float64(named) / float64(n)
}

// Pure noise names something in one of twenty tests at most.
func TestNoiseNamesNothing(t *testing.T) {
	b := bench{rand.New(rand.NewPCG(6, 1))}
	uneven := func() causes.Test {
		x := b.trace(20, 3, sigma, level(20))
		for i := range x.Rows {
			x.Rows[i].At = x.Rows[i].At.Add(time.Duration(90*b.r.Float64()) * time.Second)
		}
		return x
	}
	for _, c := range []struct {
		name string
		test func() causes.Test
	}{
		{"flow test of 6", func() causes.Test { return b.pairs(6, []float64{60, 30}, even(20), even(20)) }},
		{"pairs at one flow, 8", func() causes.Test { return b.pairs(8, []float64{60}, even(20), even(20)) }},
		{"trace of 10", func() causes.Test { return b.trace(10, 3, sigma, level(20)) }},
		{"trace of 10, three times the scatter", func() causes.Test { return b.trace(10, 3, 5, level(20)) }},
		{"trace of 24", func() causes.Test { return b.trace(24, 1, sigma, level(20)) }},
		{"trace of 24, three times the scatter", func() causes.Test { return b.trace(24, 1, 5, level(20)) }},
		{"trace of 60", func() causes.Test { return b.trace(60, 1, sigma, level(20)) }},
		{"trace of 20, uneven in time", uneven},
		{"tank read twice", func() causes.Test {
			x := b.trace(2, 300, sigma, level(20))
			x.Held = true
			return x
		}},
	} {
		p := b.share(600, "", c.test)
		t.Logf("%-38s %.1f %% named", c.name, 100*p)
		if p > 0.05 {
			t.Errorf("%s: %.1f %% of tests of noise name something", c.name, 100*p)
		}
	}
}

// What is there is named, in nine of ten tests.
func TestNamedWhereItIs(t *testing.T) {
	b := bench{rand.New(rand.NewPCG(8, 1))}
	wave := func(half, period float64) func(float64) float64 {
		return func(min float64) float64 { return 20 + half*math.Sin(2*math.Pi*min/period+1) }
	}
	valve := func(open, of float64) func(float64) float64 { // ten ppb more while it is open
		return func(min float64) float64 {
			if math.Mod(min+1.3, of) < open {
				return 30
			}
			return 20
		}
	}
	leak := func(flow, _ float64) float64 { return 6 + 1200/flow }
	washes := func(_, min float64) float64 { return 30 + 400*math.Exp(-min/8) }
	for _, c := range []struct {
		name, kind string
		test       func() causes.Test
	}{
		{"swing of ±5 ppb every 7 min, read each minute for half an hour", causes.FoundCycle, func() causes.Test { return b.trace(30, 1, sigma, wave(5, 7)) }},
		{"swing of ±3 ppb every 7 min, read each minute for half an hour", causes.FoundCycle, func() causes.Test { return b.trace(30, 1, sigma, wave(3, 7)) }},
		{"swing of ±4 ppb every 20 min, read each 3 min for an hour", causes.FoundCycle, func() causes.Test { return b.trace(20, 3, sigma, wave(5, 20)) }},
		{"valve open 4 of 10 min, read each minute for 40", causes.FoundCycle, func() causes.Test { return b.trace(40, 1, sigma, valve(4, 10)) }},
		{"a leak with both sides exchanged", causes.FoundExchanged, func() causes.Test { return b.pairs(6, []float64{60, 30}, leak, even(6)) }},
		{"a wash-out with both sides exchanged", causes.FoundExchanged, func() causes.Test { return b.pairs(8, []float64{60}, washes, even(12)) }},
		{"a leak", causes.FoundLeak, func() causes.Test { return b.pairs(6, []float64{60, 30}, even(6), leak) }},
		{"a wash-out", causes.FoundWashout, func() causes.Test { return b.trace(10, 4, sigma, func(m float64) float64 { return washes(0, m) }) }},
		{"a rise of 20 ppb an hour", causes.FoundRise, func() causes.Test { return b.trace(20, 3, sigma, func(m float64) float64 { return 20 + m/3 }) }},
		{"a step of 12 ppb", causes.FoundStep, func() causes.Test {
			return b.trace(20, 3, sigma, func(m float64) float64 { return 20 + 12*math.Floor(m/31) })
		}},
	} {
		p := b.share(200, c.kind, c.test)
		t.Logf("%-64s %-10s %.0f %%", c.name, c.kind, 100*p)
		if p < 0.9 {
			t.Errorf("%s: named %s in %.0f %%", c.name, c.kind, 100*p)
		}
	}
}

// What is something else is not named a cycle, or exchanged, in more than one of
// twenty.
func TestNamedNothingElse(t *testing.T) {
	b := bench{rand.New(rand.NewPCG(9, 1))}
	for _, c := range []struct {
		name, not string
		test      func() causes.Test
	}{
		{"an offset of 8 ppb between the meters", causes.FoundExchanged, func() causes.Test { return b.pairs(6, []float64{60, 30}, even(20), even(12)) }},
		{"the same at one flow", causes.FoundExchanged, func() causes.Test { return b.pairs(8, []float64{60}, even(20), even(12)) }},
		{"a leak", causes.FoundExchanged, func() causes.Test {
			return b.pairs(6, []float64{60, 30}, even(6), func(q, _ float64) float64 { return 6 + 1200/q })
		}},
		{"a wash-out", causes.FoundCycle, func() causes.Test {
			return b.trace(24, 2, sigma, func(m float64) float64 { return 30 + 300*math.Exp(-m/5) })
		}},
		{"a rise", causes.FoundCycle, func() causes.Test { return b.trace(24, 2, sigma, func(m float64) float64 { return 20 + m/3 }) }},
		{"a step", causes.FoundCycle, func() causes.Test {
			return b.trace(24, 2, sigma, func(m float64) float64 { return 20 + 12*math.Floor(m/25) })
		}},
	} {
		p := b.share(300, c.not, c.test)
		t.Logf("%-40s named %s: %.1f %%", c.name, c.not, 100*p)
		if p > 0.05 {
			t.Errorf("%s: named %s in %.1f %%", c.name, c.not, 100*p)
		}
	}
}
