package lab

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"ullage/core/calc"
)

// Found is the error of an instrument as a check found it: reading less true.
type Found struct {
	OffsetPpb  *float64 `json:"offset_ppb,omitempty"`
	OffsetUPpb *float64 `json:"offset_u_ppb,omitempty"`
	SlopePct   *float64 `json:"slope_pct,omitempty" doc:"of the reading; of a scale: of the weight, from two reference masses on"`
	SlopeUPct  *float64 `json:"slope_u_pct,omitempty"`
	Offset     *float64 `json:"offset,omitempty" doc:"of a scale, thermometer or direct TPO instrument, in unit"`
	OffsetU    *float64 `json:"offset_u,omitempty"`
	Unit       string   `json:"unit,omitempty"`
	Points     int      `json:"points,omitempty" doc:"references that the line goes through"`
	Assumed    string   `json:"assumed,omitempty" enum:"offset" doc:"one reference cannot tell an offset from a slope: taken as the same amount at every reading"`
	OtherPct   *float64 `json:"other_slope_pct,omitempty" doc:"the same error, taken as a share of the reading instead"`
	From       string   `json:"from,omitempty" doc:"where a part comes from another check of the same day"`
}

// known tells whether there is an error to correct for.
func (f *Found) known() bool { return f.OffsetPpb != nil || f.SlopePct != nil || f.Offset != nil }

// other is the same error under the other assumption; nil where the references
// told which it is.
func (f *Found) other() *Found {
	if f.OtherPct == nil {
		return nil
	}
	return &Found{Offset: Num(0), SlopePct: f.OtherPct, Unit: f.Unit}
}

// right takes the error off a reading in the instrument's own unit.
func (f *Found) right(v *float64) *float64 {
	if v == nil {
		return nil
	}
	return Num((*v - numOr(f.Offset, 0)) / (1 + numOr(f.SlopePct, 0)/100))
}

// sameSession is how far apart two checks may lie whose errors make one line.
const sameSession = 12 * time.Hour

// session are the other checks of an instrument that tell of the same error as
// check: near it in time, with no adjustment between. checks may hold others.
func session(check *MeterCheck, checks []*MeterCheck) (out []*MeterCheck) {
	for _, c := range checks {
		if c.ID == check.ID || c.Archived || c.InstrumentID != check.InstrumentID || c.At.Sub(check.At.Time).Abs() > sameSession {
			continue
		}
		first := check
		if c.At.Before(check.At.Time) {
			first = c
		}
		if first.Adjusted || first.SensorReplaced {
			continue
		}
		out = append(out, c)
	}
	slices.SortStableFunc(out, func(a, b *MeterCheck) int { return a.At.Compare(b.At.Time) })
	return out
}

// foundBy is the error that a check found; what is missing of it is taken from
// another check of the same session.
func (s *Service) foundBy(ctx context.Context, check *MeterCheck, in *Instrument) (Found, error) {
	checks, err := records[MeterCheck](ctx, s, Query{Kind: KindMeterChecks})
	if err != nil {
		return Found{}, err
	}
	near := session(check, checks)
	if in.InstrumentKind != DOMeter {
		return foundLine(check, near), nil
	}
	f := Found{OffsetPpb: check.OffsetPpb, OffsetUPpb: check.OffsetUPpb, SlopePct: check.SlopePct, SlopeUPct: check.SlopeUPct}
	for _, c := range near {
		if f.OffsetPpb == nil && c.OffsetPpb != nil {
			f.OffsetPpb, f.OffsetUPpb, f.From = c.OffsetPpb, c.OffsetUPpb, "offset by the check of "+c.At.Format("15:04")
		}
		if f.SlopePct == nil && c.SlopePct != nil {
			f.SlopePct, f.SlopeUPct, f.From = c.SlopePct, c.SlopeUPct, "slope by the check of "+c.At.Format("15:04")
		}
	}
	return f, nil
}

// foundLine is the error of a scale, a thermometer or a direct TPO instrument: a
// line through its references where there are two apart, else the offset of one.
func foundLine(check *MeterCheck, near []*MeterCheck) Found {
	f := Found{Unit: check.Unit}
	expected, read := check.references()
	own := len(read)
	if own == 0 {
		return f
	}
	for _, c := range near {
		if c.Unit == check.Unit {
			x, y := c.references()
			expected, read = append(expected, x...), append(read, y...)
		}
	}
	if l, ok := calc.FitErrors(expected, read, numOr(check.U, 0)); ok {
		f.Offset, f.OffsetU = Num(round4(l.Offset)), Num(round4(l.OffsetU))
		f.SlopePct, f.SlopeUPct, f.Points = Num(round4(l.Slope)), Num(round4(l.SlopeU)), l.N
		if len(read) > own {
			f.From = fmt.Sprintf("with %d references of other checks of the same day", len(read)-own)
		}
		return f
	}
	sum := 0.0
	for i := range own {
		sum += (read[i] - expected[i]) / float64(own)
	}
	f.Offset, f.OffsetU, f.Points = Num(sum), check.U, own
	if check.Unit == "g" && expected[0] > 0 {
		f.Assumed, f.OtherPct = "offset", Num(round4(100*sum/expected[0]))
	}
	return f
}

// references are what an instrument was held against, and what it read there.
func (r *MeterCheck) references() (expected, read []float64) {
	if r.Read == nil || r.Expected == nil || r.Against == AgainstAir || r.Against == AgainstResponse {
		return nil, nil
	}
	expected, read = []float64{*r.Expected}, []float64{*r.Read}
	for _, p := range r.More {
		expected, read = append(expected, p.Expected), append(read, p.Read)
	}
	return expected, read
}

func round4(x float64) float64 { return math.Round(x*1e4) / 1e4 }
