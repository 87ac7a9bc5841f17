package lab

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"ullage/core/stats"
)

// History is what is on record of an instrument: its checks in order, what is
// due, its sensors, and how well it reads now.
type History struct {
	Instrument    Instrument     `json:"instrument"`
	Now           Time           `json:"now"`
	Sensor        *SensorAge     `json:"sensor,omitempty"`
	Due           []CheckDue     `json:"due" doc:"next check of each kind that is planned, the first due first"`
	Series        []CheckSeries  `json:"series"`
	SensorChanges []SensorChange `json:"sensor_changes" doc:"the oldest first"`
	U             InstrumentU    `json:"u"`
	LastPassAt    *Time          `json:"last_pass_at"`
	LotsSincePass []LotRef       `json:"lots_since_pass" doc:"a failed check would put these in doubt"`
	Uses          int            `json:"uses" doc:"runs on record that were measured with it"`
}

// SensorAge is how old sensor, cap or membrane is.
type SensorAge struct {
	ReplacedAt Time     `json:"replaced_at"`
	AgeDays    float64  `json:"age_days"`
	LifeDays   *float64 `json:"life_days"`
}

// CheckDue is a check and when it is due again.
type CheckDue struct {
	Against     string  `json:"against,omitempty" doc:"empty: any check"`
	At          Time    `json:"at" doc:"in the past: overdue"`
	EveryDays   float64 `json:"every_days"`
	LastAt      *Time   `json:"last_at"`
	LastOutcome string  `json:"last_outcome,omitempty"`
	Why         string  `json:"why"`
}

// CheckSeries are the checks of an instrument against one thing.
type CheckSeries struct {
	Against string       `json:"against,omitempty"`
	Unit    string       `json:"unit" doc:"of off: ppb, g, °C, kPa, s; air: % of the expected reading"`
	Limit   *float64     `json:"limit" doc:"in force now, of the absolute value; null where none is"`
	Points  []CheckPoint `json:"points" doc:"the oldest first"`
	Drift   *Drift       `json:"drift,omitempty" doc:"since the sensor was last renewed; absent with fewer than four checks"`
}

// CheckPoint is one check. Off is the reading less the expected one; a response
// is its time.
type CheckPoint struct {
	CheckID        string   `json:"check_id"`
	At             Time     `json:"at"`
	Off            *float64 `json:"off" doc:"null where the check gives no reading"`
	U              *float64 `json:"u,omitempty"`
	Outcome        string   `json:"outcome"`
	By             string   `json:"by,omitempty"`
	Note           string   `json:"note,omitempty"`
	Adjusted       bool     `json:"adjusted,omitempty"`
	SensorReplaced bool     `json:"sensor_replaced,omitempty"`
}

// Drift is the straight line through a series.
type Drift struct {
	Per30Days float64 `json:"per_30_days"`
	Low95     float64 `json:"low95"`
	High95    float64 `json:"high95"`
	P         float64 `json:"p" doc:"of so steep a line without any drift"`
	N         int     `json:"n"`
	From      Time    `json:"from"`
}

// SensorChange is a new sensor, cap or membrane.
type SensorChange struct {
	At   Time   `json:"at"`
	Note string `json:"note,omitempty"`
}

// InstrumentU is the standard uncertainty of a reading today, own unit.
type InstrumentU struct {
	Known          bool    `json:"known" doc:"false: the record says nothing, and the usual uncertainty is assumed"`
	Now            float64 `json:"now" doc:"constant part"`
	ResolutionPart float64 `json:"resolution_part"`
	DriftPart      float64 `json:"drift_part"`
	Rel            float64 `json:"rel" doc:"proportional part, a fraction"`
	SinceCheckDays float64 `json:"since_check_days"`
	Text           string  `json:"text"`
}

// LotRef names a run.
type LotRef struct {
	RunID  string `json:"run_id"`
	Number int    `json:"number"`
}

// InstrumentHistory reads all that is on record of an instrument.
func (s *Service) InstrumentHistory(ctx context.Context, id string) (*History, error) {
	if err := s.May(ctx, DoJudge); err != nil {
		return nil, err
	}
	in, err := read[Instrument](ctx, s.Store, KindInstruments, id)
	if err != nil {
		return nil, err
	}
	all, err := records[MeterCheck](ctx, s, Query{Kind: KindMeterChecks})
	if err != nil {
		return nil, err
	}
	checks := slices.DeleteFunc(all, func(c *MeterCheck) bool { return c.InstrumentID != id })
	slices.SortStableFunc(checks, func(a, b *MeterCheck) int { return a.At.Compare(b.At.Time) })
	h := &History{Instrument: *in, Now: At(s.now()), Due: dueOf(in, checks, s.now()), Series: []CheckSeries{}, LotsSincePass: []LotRef{}}
	if h.SensorChanges, err = s.sensorChanges(ctx, in, checks); err != nil {
		return nil, err
	}
	if n := len(h.SensorChanges); n > 0 {
		at := h.SensorChanges[n-1].At
		h.Sensor = &SensorAge{ReplacedAt: at, AgeDays: math.Round(h.Now.Sub(at.Time).Hours()/2.4) / 10, LifeDays: in.SensorLifeDays}
	}
	for _, c := range checks {
		if c.Outcome == "passed" {
			h.LastPassAt = &c.At
		}
	}
	h.series(in, checks)
	h.U = in.uncertainty(checks, h.Now)
	return h, s.usesOf(ctx, h, id)
}

func (s *Service) usesOf(ctx context.Context, h *History, id string) error {
	runs, err := records[Run](ctx, s, Query{Kind: KindRuns})
	if err != nil {
		return err
	}
	for _, r := range runs {
		if !r.uses(id) {
			continue
		}
		h.Uses++
		if h.LastPassAt == nil || r.EndedAt.IsZero() || r.EndedAt.After(h.LastPassAt.Time) {
			h.LotsSincePass = append(h.LotsSincePass, LotRef{r.ID, r.Number})
		}
	}
	return nil
}

// sensorChanges are those that checks and revisions of the record tell of.
func (s *Service) sensorChanges(ctx context.Context, in *Instrument, checks []*MeterCheck) ([]SensorChange, error) {
	list := []SensorChange{}
	add := func(at Time, note string) {
		near := func(x SensorChange) bool { return x.At.Sub(at.Time).Abs() < 24*time.Hour }
		if !at.IsZero() && !slices.ContainsFunc(list, near) {
			list = append(list, SensorChange{at, note})
		}
	}
	for _, c := range checks {
		if c.SensorReplaced {
			add(c.At, c.Note)
		}
	}
	revs, err := s.Store.Revisions(ctx, KindInstruments, in.ID)
	if err != nil {
		return nil, err
	}
	for _, rev := range revs {
		old, err := parse[Instrument](rev)
		if err != nil {
			return nil, err
		}
		add(old.SensorReplacedAt, old.Reason)
	}
	slices.SortStableFunc(list, func(a, b SensorChange) int { return a.At.Compare(b.At.Time) })
	return list, nil
}

// uncertainty of the instrument's readings at a moment.
func (r *Instrument) uncertainty(checks []*MeterCheck, at Time) InstrumentU {
	days := sincePass(checks, r.ID, at)
	u, known := r.constant(days)
	out := InstrumentU{Known: known || r.URel != nil, Now: u, ResolutionPart: numOr(r.Resolution, 0) / math.Sqrt(12), DriftPart: numOr(r.UDrift, 0) * days / daysOfDrift,
		Rel: numOr(r.URel, 0), SinceCheckDays: math.Round(10*days) / 10}
	unit := unitWords[unitOf[r.InstrumentKind]]
	switch {
	case !out.Known:
		out.Text = "nothing is on record: the usual uncertainty is assumed"
	case out.Rel > 0:
		out.Text = fmt.Sprintf("± %.3g %s and %.3g %% of the reading (standard uncertainty)", u, unit, 100*out.Rel)
	default:
		out.Text = fmt.Sprintf("± %.3g %s (standard uncertainty)", u, unit)
	}
	return out
}

func (h *History) series(in *Instrument, checks []*MeterCheck) {
	for _, against := range append([]string{""}, againsts...) {
		c := CheckSeries{Against: against, Unit: unitWords[unitOf[in.InstrumentKind]], Points: []CheckPoint{}}
		switch against {
		case AgainstAir:
			c.Unit = "%"
		case AgainstResponse:
			c.Unit = "s"
		}
		for _, m := range checks {
			if m.Against == against {
				c.Points = append(c.Points, m.point())
			}
		}
		if len(c.Points) == 0 {
			continue
		}
		last := MeterCheck{Against: against, Expected: Num(100)}
		if against != AgainstMeter { // there the limit goes with the reading
			c.Limit = usualLimit(&last, in)
		}
		c.drift(h.SensorChanges)
		h.Series = append(h.Series, c)
	}
}

func (r *MeterCheck) point() CheckPoint {
	p := CheckPoint{CheckID: r.ID, At: r.At, U: r.U, Outcome: r.Outcome, By: r.By, Note: r.Note, Adjusted: r.Adjusted, SensorReplaced: r.SensorReplaced}
	switch {
	case r.Against == AgainstResponse:
		p.Off = r.Read
	case r.Against == AgainstAir:
		p.Off, p.U = r.SlopePct, r.SlopeUPct
	case r.Read != nil && r.Expected != nil:
		p.Off = Num(math.Round((*r.Read-*r.Expected)*1e6) / 1e6)
	case r.OffsetPpb != nil:
		p.Off, p.U = r.OffsetPpb, r.OffsetUPpb
	}
	return p
}

// drift fits the points since the sensor was renewed, and since the instrument
// was last adjusted.
func (c *CheckSeries) drift(changes []SensorChange) {
	from := Time{}
	if n := len(changes); n > 0 {
		from = changes[n-1].At
	}
	for _, p := range c.Points {
		if (p.Adjusted || p.SensorReplaced) && p.At.After(from.Time) {
			from = p.At
		}
	}
	var x, y []float64
	var first Time
	for _, p := range c.Points {
		if p.Off == nil || p.At.Before(from.Time) || p.Adjusted || p.SensorReplaced {
			continue
		}
		if first.IsZero() {
			first = p.At
		}
		x, y = append(x, p.At.Sub(first.Time).Hours()/24), append(y, *p.Off)
	}
	if len(x) < 4 {
		return
	}
	r, err := stats.Regress([][]float64{x}, y, 0.95)
	if err != nil {
		return
	}
	slope := r.Slopes[0]
	low, high := slope.Interval.Low*daysOfDrift, slope.Interval.High*daysOfDrift
	if math.IsNaN(low) || math.IsInf(low, 0) || math.IsNaN(slope.P) {
		return
	}
	c.Drift = &Drift{Per30Days: slope.Value * daysOfDrift, Low95: low, High95: high, P: slope.P, N: len(x), From: first}
}

// dueOf is when each check that is planned is due.
func dueOf(in *Instrument, checks []*MeterCheck, now time.Time) []CheckDue {
	list := []CheckDue{}
	if in.Archived {
		return list
	}
	add := func(against string, every *float64) {
		if numOr(every, 0) == 0 {
			return
		}
		d := CheckDue{Against: against, EveryDays: *every, At: At(now), Why: in.Name + ": no check on record"}
		if against != "" {
			d.Why = fmt.Sprintf("%s, %s: no check on record", in.Name, againstWords[against])
		} else if !in.LastCheckedAt.IsZero() {
			d.LastAt = &in.LastCheckedAt
		}
		for _, c := range checks {
			if (against == "" || c.Against == against) && (d.LastAt == nil || !c.At.Before(d.LastAt.Time)) {
				d.LastAt, d.LastOutcome = &c.At, c.Outcome
			}
		}
		if d.LastAt != nil {
			length := time.Duration(*every * 24 * float64(time.Hour))
			d.At = Time{d.LastAt.Add(length)}
			d.Why = in.Name + ": checked " + d.LastAt.Format(time.DateOnly) + ", every " + span(length)
			if against != "" {
				d.Why = fmt.Sprintf("%s, %s: checked %s, every %s", in.Name, againstWords[against], d.LastAt.Format(time.DateOnly), span(length))
			}
			if d.LastOutcome == "failed" {
				d.At, d.Why = *d.LastAt, d.Why+"; failed: due until it passes"
			}
		}
		list = append(list, d)
	}
	// A planned check that comes as often says the same.
	if !slices.ContainsFunc(in.Checks, func(p CheckPlan) bool {
		return numOr(p.EveryDays, 0) > 0 && *p.EveryDays <= numOr(in.CheckEveryDays, 0)
	}) {
		add("", in.CheckEveryDays)
	}
	for _, p := range in.Checks {
		add(p.Against, p.EveryDays)
	}
	slices.SortStableFunc(list, func(a, b CheckDue) int { return a.At.Compare(b.At.Time) })
	return list
}
