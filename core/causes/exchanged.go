package causes

import (
	"fmt"
	"math"

	"ullage/core/way"
)

// exchanged tells that both sides of something changed places: what is read
// before it falls as only what comes out can. An offset between two meters is the
// same at every flow and time, so it is not taken for that.
func (t *Test) exchanged(varied bool, level float64) (Finding, bool) {
	turned := t.turned()
	if t.Held || len(turned) < 2 {
		return Finding{}, false
	}
	back := testFlows(turned, level)
	if back.P > level || back.PPB <= 0 {
		return Finding{}, false
	}
	if varied && (back.Kind == FoundLeak || back.Kind == FoundSuction) {
		x := t.Finding(FoundExchanged, -back.PPB, fmt.Sprintf("the readings after lie below those before, and by less or more with the flow as %s would bring; an offset would be the same at every flow; %d pairs, noise alone does this once in %s",
			kindWords[back.Kind], back.N, odds(back.P)))
		x.Fit = map[string]any{"n": back.N, "p": back.P, "turned_kind": back.Kind, "chi2": back.Chi2, "next_best": back.Next, "next_chi2": back.NextChi2}
		return x, true
	}
	return t.washesBefore(&back, level)
}

// turned are the pickups with their sides exchanged.
func (t *Test) turned() []FlowPoint {
	list := []FlowPoint{}
	for _, r := range t.Rows {
		if r.In == nil || r.Out == nil {
			continue
		}
		a, _ := way.Spread(&way.Reading{DO: *r.In, U: r.InU})
		b, _ := way.Spread(&way.Reading{DO: *r.Out, U: r.OutU})
		list = append(list, FlowPoint{math.Max(r.FlowHLH, 1e-3), *r.In - *r.Out, math.Hypot(a, b)})
	}
	return list
}

// washesBefore finds a wash-out in the readings before, and none in those after.
func (t *Test) washesBefore(back *FlowTest, level float64) (Finding, bool) {
	before, after := *t, *t
	before.Rows, after.Rows = nil, nil
	for _, r := range t.Rows {
		if r.In == nil || r.Out == nil {
			return Finding{}, false
		}
		one := r
		one.In, one.Out, one.OutU = nil, r.In, r.InU
		before.Rows = append(before.Rows, one)
		one = r
		one.In = nil
		after.Rows = append(after.Rows, one)
	}
	a, flow, _ := before.trace()
	if len(a) < LeastTrace {
		return Finding{}, false
	}
	in := readTrace(a, flow, level)
	if in.Kind != "decay" {
		return Finding{}, false
	}
	b, _, _ := after.trace()
	if out := readTrace(b, flow, level); in.Start-in.End < 3*math.Abs(out.Start-out.End) {
		return Finding{}, false
	}
	x := t.Finding(FoundExchanged, -back.PPB, fmt.Sprintf("what is read before %s, and what is read after does not: a wash-out shows where the beer comes out; %d readings, noise alone does this once in %s", in.Said, in.N, odds(in.P)))
	x.Fit = map[string]any{"n": in.N, "p": in.P, "turned_kind": FoundWashout, "tau_min": in.Tau, "start_ppb": in.Start, "end_ppb": in.End}
	return x, true
}

// Exchange holds four neighbouring points of a way against each other, where the
// third lies below the second and nothing takes oxygen up: with those two
// exchanged, does the oxygen rise all the way? z is how many standard
// uncertainties the fall is, and z1 and z2 what the outer steps then are.
func Exchange(a, b, c, d *way.Estimate) (z, z1, z2 float64) {
	between := func(from, to *way.Estimate) float64 {
		e := way.Estimate{}
		e.Add(1, to)
		e.Add(-1, from)
		return e.Value / math.Sqrt(math.Max(1e-12, e.Variance()))
	}
	return between(b, c), between(a, c), between(b, d)
}
