package lab

import (
	"cmp"
	"context"
	"slices"
	"strconv"
	"time"

	"ullage/core/verdict"
)

// RunRecords are the records a run is judged from.
type RunRecords struct {
	Run     *Run
	Line    *Line
	Meter   *Instrument // nil when the run names none
	Samples []*Sample
	Events  []*Event
	Checks  []*MeterCheck // of that meter
	// Direct is the instrument that reads TPO directly, with its checks.
	Direct       *Instrument
	DirectChecks []*MeterCheck
	Rules        RuleSet // in force, empty fields at their starting points
	// Readings of the batch that the run packages: of its tank, and of the inlet.
	Readings []*Reading
}

// JudgeRun judges a run from its records as they stand.
func (s *Service) JudgeRun(ctx context.Context, runID string) (verdict.Report, error) {
	d, err := s.RunRecords(ctx, runID)
	if err != nil {
		return verdict.Report{}, err
	}
	in := d.Input()
	if len(in.Samples) == 0 {
		return verdict.Report{}, fault(Invalid, "run", d.Run.Number, "has no reading yet", "a run is judged from its first reading on")
	}
	r, err := verdict.JudgeRun(in)
	if err != nil {
		return r, fault(Invalid, "run", d.Run.Number, err.Error(), "correct the record")
	}
	r.Notes = append(d.Notes(), r.Notes...)
	return r, nil
}

// RunRecords reads what a run is judged from.
func (s *Service) RunRecords(ctx context.Context, runID string) (*RunRecords, error) {
	if err := s.May(ctx, DoJudge); err != nil {
		return nil, err
	}
	d := &RunRecords{}
	var err error
	if d.Run, err = read[Run](ctx, s.Store, KindRuns, runID); err != nil {
		return nil, err
	}
	if d.Line, err = read[Line](ctx, s.Store, KindLines, d.Run.LineID); err != nil {
		return nil, err
	}
	if d.Samples, err = records[Sample](ctx, s, Query{Kind: KindSamples, RunID: runID}); err != nil {
		return nil, err
	}
	if d.Events, err = records[Event](ctx, s, Query{Kind: KindEvents, RunID: runID}); err != nil {
		return nil, err
	}
	if d.Run.BatchID != "" {
		if d.Readings, err = records[Reading](ctx, s, Query{Kind: KindReadings, RunID: d.Run.BatchID}); err != nil {
			return nil, err
		}
	}
	sets, err := records[RuleSet](ctx, s, Query{Kind: KindRules})
	if err != nil {
		return nil, err
	}
	d.Rules = ruleSetFor(sets, d.Run.BeerID, d.Run.FormatID)
	if d.Meter, d.Checks, err = s.meterOf(ctx, d.Run.DOMeterID); err != nil {
		return nil, err
	}
	d.Direct, d.DirectChecks, err = s.meterOf(ctx, d.Run.TPOMeterID)
	return d, err
}

// meterOf reads an instrument and its checks; nothing where no id is given.
func (s *Service) meterOf(ctx context.Context, id string) (*Instrument, []*MeterCheck, error) {
	if id == "" {
		return nil, nil, nil
	}
	in, err := read[Instrument](ctx, s.Store, KindInstruments, id)
	if err != nil {
		return nil, nil, err
	}
	checks, err := records[MeterCheck](ctx, s, Query{Kind: KindMeterChecks})
	return in, slices.DeleteFunc(checks, func(c *MeterCheck) bool { return c.InstrumentID != id }), err
}

// records reads every current record of a query that is not archived.
func records[T any, P interface {
	*T
	Record
}](ctx context.Context, s *Service, q Query) ([]*T, error) {
	revs, err := s.all(ctx, q)
	if err != nil {
		return nil, err
	}
	out := make([]*T, 0, len(revs))
	for _, rev := range revs {
		v, err := parse[T](rev)
		if err != nil {
			return nil, err
		}
		if !P(v).Base().Archived {
			out = append(out, v)
		}
	}
	return out, nil
}

// ruleSetFor is the narrowest rule set that fits: beer and format, beer, format, all.
func ruleSetFor(sets []*RuleSet, beer, format string) RuleSet {
	var best *RuleSet
	rank := func(r *RuleSet) int {
		n := 0
		if r.BeerID != "" {
			n += 2
		}
		if r.FormatID != "" {
			n++
		}
		return n
	}
	for _, r := range sets {
		if r.BeerID != "" && r.BeerID != beer || r.FormatID != "" && r.FormatID != format {
			continue
		}
		if best == nil || rank(r) > rank(best) || rank(r) == rank(best) && r.ID > best.ID {
			best = r
		}
	}
	if best == nil {
		return RuleSet{}
	}
	return *best
}

// Input is the run as core/verdict judges it. The browser makes the same of the
// same records (web/src/core/judgement.ts).
func (d *RunRecords) Input() verdict.Input {
	in := verdict.Input{Samples: []verdict.Sample{}, Events: []verdict.Event{}, Rules: d.verdictRules()}
	var first, last time.Time
	for _, s := range d.Samples {
		if !s.Measured() {
			continue
		}
		in.Samples = append(in.Samples, d.sample(s))
		if first.IsZero() || s.TakenAt.Before(first) {
			first = s.TakenAt.Time
		}
		if s.TakenAt.After(last) {
			last = s.TakenAt.Time
		}
	}
	d.joinTank(&in)
	for _, e := range d.Events {
		if e.EventKind != "note" {
			in.Events = append(in.Events, verdict.Event{Kind: e.EventKind, At: e.At.Time})
		}
	}
	if d.Line != nil {
		in.Line = verdict.Line{Heads: d.Line.Heads, PerMinute: numOr(d.Line.PackagesPerMin, 0), PerPallet: intOr(d.Rules.PerPallet)}
	}
	if d.Meter != nil {
		in.Meter = d.Meter.proven(d.Checks, first, last)
	}
	if slices.ContainsFunc(in.Samples, func(s verdict.Sample) bool { return s.Direct }) {
		m := verdict.Meter{}
		if d.Direct != nil {
			m = d.Direct.proven(d.DirectChecks, first, last)
		}
		in.DirectMeter = &m
	}
	return in
}

// proven is what the checks of an instrument say of readings between two times.
func (r *Instrument) proven(checks []*MeterCheck, first, last time.Time) verdict.Meter {
	list := make([]verdict.MeterCheck, len(checks))
	for i, c := range checks {
		list[i] = verdict.MeterCheck{At: c.At.Time, Outcome: verdict.Check(c.Outcome), Against: c.Against, Offset: numOr(c.OffsetPpb, 0), OffsetU: numOr(c.OffsetUPpb, 0)}
	}
	m := verdict.MeterOf(list, numOr(r.CheckEveryDays, 0), first, last)
	m.URel = numOr(r.URel, 0)
	return m
}

func (d *RunRecords) sample(s *Sample) verdict.Sample {
	out := verdict.Sample{ID: s.ID, Taken: s.TakenAt.Time, Closed: s.ClosedAt.Time, Yeast: d.Run.InForce.YeastInPackage}
	if s.Head > 0 {
		out.Head = strconv.Itoa(s.Head)
	}
	if s.Station > 0 {
		out.Station = strconv.Itoa(s.Station)
	}
	switch s.SampleKind {
	case "inlet":
		out.Inlet = s.Inputs.DOPpb
	case "unshaken":
		out.Unshaken = s.Inputs.DOPpb
	default:
		out.Shaken = s.Inputs.DOPpb
		if r := s.Result; r != nil {
			out.TPO, out.U, out.Direct = numOr(r.TPOPpb, 0), numOr(r.TPOUPpb, 0), r.IsDirect()
		}
		if r := s.OtherResult; r != nil {
			out.Beside = numOr(r.TPOPpb, 0)
		}
		if r := s.Volumes(); r != nil {
			out.Beer, out.FillKnown = numOr(r.BeerML, 0), r.BeerML != nil && r.Path != "assumed"
		}
		if v := numOr(s.Inputs.DOPpb, 0); v > 0 && !out.Direct {
			out.Factor = out.TPO / v
		}
	}
	return out
}

// verdictRules joins the limits in force at the start with the rules in force now.
func (d *RunRecords) verdictRules() verdict.Rules {
	var r verdict.Rules
	for _, l := range d.Run.InForce.Limits {
		if l.Quantity == "tpo" {
			r.MeanGreen, r.SingleGreen, r.SingleRed = numOr(l.MeanGreenPpb, 0), numOr(l.SingleGreenPpb, 0), numOr(l.SingleRedPpb, 0)
			// A limit that says one of the two only is both.
			r.MeanGreen = cmp.Or(r.MeanGreen, r.SingleGreen)
		}
	}
	s := &d.Rules
	r.MeanBound, r.MeanRed = numOr(s.MeanBoundPpb, 0), numOr(s.MeanRedPpb, 0)
	r.LateMinutes, r.YeastMinutes, r.RetestMinutes = numOr(s.LateMinutes, 0), numOr(s.YeastMinutes, 0), numOr(s.RetestMinutes, 0)
	r.RetestCount, r.MinReadings = intOr(s.RetestCount), intOr(s.MinReadings)
	r.Risk, r.FalseAlarm = numOr(s.Risk, 0), numOr(s.FalseAlarm, 0)
	return r
}

func numOr(p *float64, or float64) float64 {
	if p == nil {
		return or
	}
	return *p
}

func intOr(p *int) int {
	if p == nil {
		return 0
	}
	return *p
}

// decisionRules keep decisions as they were made, and never let a lot go on a
// meter that was not proven.
func (b *batch) decisionRules(ctx context.Context, r *LotDecision, prev Record) ([]Warning, error) {
	if prev != nil {
		return nil, fault(Invalid, "base_rev", prev.Base().Rev, "a decision stands as it was made", "write a new one; the newest counts")
	}
	head, err := b.svc.Store.ChainHead(ctx)
	if err != nil {
		return nil, err
	}
	r.Chain = &head
	if _, waiting := b.pending[key(KindRuns, r.RunID)]; waiting {
		return nil, nil
	}
	j, err := b.svc.JudgeRun(ctx, r.RunID)
	if err != nil {
		return []Warning{{Field: "proposed", Message: "the run cannot be judged: " + err.Error(), Mend: "the decision is kept as sent"}}, nil
	}
	if r.Decision == verdict.Release && !j.MeterProven() {
		return nil, fault(Invalid, "decision", r.Decision, notProven(&j),
			"check it and record the check, or hold the lot")
	}
	var ws []Warning
	if r.InputHash != "" && r.InputHash != j.InputHash {
		ws = append(ws, Warning{Field: "input_hash", Value: r.InputHash, Message: "records, limits or checks have changed since this judgement",
			Mend: "look at the judgement again"})
	}
	if r.Decision != j.Verdict {
		ws = append(ws, Warning{Field: "decision", Value: r.Decision, Message: "the judgement proposes " + j.Verdict + " (" + j.Rule + ")", Mend: "the person decides; the reason is kept"})
	}
	return ws, nil
}

// notProven says which instrument of a run has no passed check before and after it.
func notProven(j *verdict.Report) string {
	if w := j.Ways; w != nil && w.Direct > 0 && (w.Calculated == 0 || j.Meter.Before == verdict.Passed && j.Meter.After == verdict.Passed) {
		return "the direct TPO instrument has no passed check before and after the run"
	}
	return "the DO meter has no passed check before and after the run"
}
