package lab

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"ullage/core/verdict"
)

// Consequences are what the readings since an instrument's last pass would have
// been, had it read right: for a person to decide by. Nothing of it is stored.
type Consequences struct {
	CheckID      string     `json:"check_id"`
	InstrumentID string     `json:"instrument_id"`
	Instrument   string     `json:"instrument"`
	Against      string     `json:"against,omitempty"`
	At           Time       `json:"at"`
	Outcome      string     `json:"outcome"`
	Since        *Time      `json:"since" doc:"last pass of the same check; null: none is on record"`
	Found        Found      `json:"found"`
	Runs         []DoubtRun `json:"runs" doc:"measured with it since, the oldest first; empty for a check that passed"`
	Changing     int        `json:"changing" doc:"runs whose verdict the found error changes"`
	Reopened     int        `json:"reopened" doc:"runs that this check opened again"`
	Sentence     string     `json:"sentence"`
}

// DoubtRun is a run measured with an instrument in doubt. AsRead and Corrected
// both take the meter as proven, so that the found error alone makes the
// difference.
type DoubtRun struct {
	RunID      string     `json:"run_id"`
	Number     int        `json:"number"`
	Code       string     `json:"code,omitempty"`
	Beer       string     `json:"beer"`
	Format     string     `json:"format"`
	StartedAt  Time       `json:"started_at"`
	EndedAt    Time       `json:"ended_at,omitzero"`
	Readings   int        `json:"readings" doc:"packages with TPO"`
	Hold       string     `json:"hold,omitempty"`
	Decision   *DoubtWord `json:"decision,omitempty" doc:"of then: the newest before this check opened the lot again, else the newest; whether it still counts or not"`
	Reopened   bool       `json:"reopened" doc:"this check opened it again"`
	AsRead     *DoubtWord `json:"as_read,omitempty"`
	Corrected  *DoubtWord `json:"corrected,omitempty"`
	Otherwise  *DoubtWord `json:"otherwise,omitempty" doc:"corrected with the error taken as a share of the reading; only where one reference cannot tell, and the verdict differs"`
	MeanChange float64    `json:"mean_change_ppb" doc:"mean TPO corrected, less as read"`
	Changes    bool       `json:"changes" doc:"the verdict would be another"`
	Why        string     `json:"why"`
}

// DoubtWord is a verdict or a decision.
type DoubtWord struct {
	Verdict string   `json:"verdict"`
	Rule    string   `json:"rule,omitempty" doc:"that decided"`
	Mean    *float64 `json:"mean_ppb,omitempty"`
	By      string   `json:"by,omitempty"`
	At      Time     `json:"at,omitzero"`
	Counts  bool     `json:"counts,omitempty" doc:"a decision that still has force"`
}

// Consequences lists what a check puts in doubt, and judges it again under the
// error that was found.
func (s *Service) Consequences(ctx context.Context, id string) (*Consequences, error) {
	if err := s.May(ctx, DoJudge); err != nil {
		return nil, err
	}
	check, err := read[MeterCheck](ctx, s.Store, KindMeterChecks, id)
	if err != nil {
		return nil, err
	}
	d, err := s.inDoubt(ctx, check)
	if err != nil {
		return nil, err
	}
	out := &Consequences{CheckID: check.ID, InstrumentID: check.InstrumentID, Instrument: d.instrument.Name, Against: check.Against, At: check.At, Outcome: check.Outcome, Runs: []DoubtRun{}}
	if d.last != nil {
		out.Since = &d.last.At
	}
	if out.Found, err = s.foundBy(ctx, check, d.instrument); err != nil {
		return nil, err
	}
	if check.Outcome == "failed" {
		for _, run := range d.runs {
			r, err := s.doubtRun(ctx, run, check, &out.Found)
			if err != nil {
				return nil, err
			}
			out.Runs = append(out.Runs, r)
			if r.Changes {
				out.Changing++
			}
			if r.Reopened {
				out.Reopened++
			}
		}
	}
	out.say()
	return out, nil
}

func (s *Service) doubtRun(ctx context.Context, run *Run, check *MeterCheck, f *Found) (DoubtRun, error) {
	r := DoubtRun{RunID: run.ID, Number: run.Number, Code: run.Code, StartedAt: run.StartedAt, EndedAt: run.EndedAt, Hold: run.Hold.State}
	beer, err := read[Beer](ctx, s.Store, KindBeers, run.BeerID)
	if err != nil {
		return r, err
	}
	format, err := read[Format](ctx, s.Store, KindFormats, run.FormatID)
	if err != nil {
		return r, err
	}
	r.Beer, r.Format = beer.Name, format.Name
	if err := s.doubtDecision(ctx, run, check, &r); err != nil {
		return r, err
	}
	d, err := s.RunRecords(ctx, run.ID)
	if err != nil {
		return r, err
	}
	r.AsRead, r.Readings = d.asProven()
	if !f.known() {
		r.Why = "the check says not by how much the instrument was off"
		return r, nil
	}
	asRead := slices.Clone(d.Samples)
	s.correct(d, check.InstrumentID, f)
	r.Corrected, _ = d.asProven()
	if o := f.other(); o != nil {
		d.Samples = asRead
		s.correct(d, check.InstrumentID, o)
		if x, _ := d.asProven(); x != nil && r.Corrected != nil && x.Verdict != r.Corrected.Verdict {
			r.Otherwise = x
		}
	}
	r.compare()
	return r, nil
}

// doubtDecision finds the newest decision, and whether this check opened the lot again.
func (s *Service) doubtDecision(ctx context.Context, run *Run, check *MeterCheck, r *DoubtRun) error {
	list, err := records[LotDecision](ctx, s, Query{Kind: KindDecisions, RunID: run.ID})
	if err != nil {
		return err
	}
	if r.Reopened, err = s.reopenedBy(ctx, run, check); err != nil {
		return err
	}
	then := slices.Clone(list)
	if r.Reopened {
		then = slices.DeleteFunc(then, func(d *LotDecision) bool { return !run.Hold.reopens(d) })
	}
	if len(then) == 0 {
		then = list
	}
	if len(then) > 0 {
		d := slices.MaxFunc(then, func(a, b *LotDecision) int { return a.ServerAt.Compare(b.ServerAt.Time) })
		r.Decision = &DoubtWord{Verdict: d.Decision, By: d.By, At: d.ServerAt, Counts: !run.Hold.reopens(d)}
	}
	return nil
}

// reopenedBy tells that a check opened the lot of a run again, at any time.
func (s *Service) reopenedBy(ctx context.Context, run *Run, check *MeterCheck) (bool, error) {
	if run.Hold.CheckID == check.ID || run.Rev == 1 {
		return run.Hold.CheckID == check.ID, nil
	}
	// A later check may have opened it again: look at its history.
	revs, err := s.Store.Revisions(ctx, KindRuns, run.ID)
	if err != nil {
		return false, err
	}
	for _, rev := range revs {
		old, err := parse[Run](rev)
		if err != nil {
			return false, err
		}
		if old.Hold.CheckID == check.ID {
			return true, nil
		}
	}
	return false, nil
}

// asProven judges a run as if its meter had been proven.
func (d *RunRecords) asProven() (*DoubtWord, int) {
	in := d.Input()
	in.Prove()
	sum, n := 0.0, 0
	for _, x := range in.Samples {
		if x.TPO > 0 {
			sum, n = sum+x.TPO, n+1
		}
	}
	if n == 0 {
		return nil, 0
	}
	j, err := verdict.Judge(in)
	if err != nil {
		return nil, n
	}
	return &DoubtWord{Verdict: j.Verdict, Rule: j.Rule, Mean: Num(round2(sum / float64(n)))}, n
}

// correct puts the readings of a copy of a run's records right, and computes
// their results again. The records stay as they are.
func (s *Service) correct(d *RunRecords, instrument string, f *Found) {
	run := d.Run
	for i, x := range d.Samples {
		c := *x
		if run.DOMeterID == instrument && c.Inputs.DOPpb != nil {
			c.Inputs.DOPpb = Num(max(0, (*c.Inputs.DOPpb-numOr(f.OffsetPpb, 0))/(1+numOr(f.SlopePct, 0)/100)))
		}
		if f.Offset != nil && run.TPOMeterID == instrument && c.Inputs.DirectPpb != nil {
			c.Inputs.DirectPpb = Num(max(0, *f.right(c.Inputs.DirectPpb)))
		}
		if f.Offset != nil && run.ScaleID == instrument {
			c.Inputs.GrossG, c.Inputs.TareG = f.right(c.Inputs.GrossG), f.right(c.Inputs.TareG)
		}
		if f.Offset != nil && run.ThermometerID == instrument {
			c.Inputs.TemperatureC = f.right(c.Inputs.TemperatureC)
		}
		if c.IsPackage() && s.Calc != nil && c.Measured() {
			c.Result, c.OtherResult = (&batch{svc: s, at: s.now()}).results(&c, run)
		}
		d.Samples[i] = &c
	}
}

var verdictWords = map[string]string{verdict.Release: "release", verdict.Conditional: "release with conditions", verdict.Hold: "hold"}

func (r *DoubtRun) compare() {
	if r.AsRead == nil || r.Corrected == nil {
		r.Why = "no package with TPO can be judged"
		return
	}
	r.MeanChange = round2(*r.Corrected.Mean - *r.AsRead.Mean)
	r.Changes = r.AsRead.Verdict != r.Corrected.Verdict || r.Otherwise != nil
	was, is := verdictWords[r.AsRead.Verdict], verdictWords[r.Corrected.Verdict]
	switch {
	case r.Otherwise != nil:
		r.Why = fmt.Sprintf("one reference mass cannot tell how the error goes with the weight: as the same amount at every weight the proposal is %s (mean TPO %.0f ppb), as a share of the weight %s (%.0f ppb); as read it is %s",
			is, *r.Corrected.Mean, verdictWords[r.Otherwise.Verdict], *r.Otherwise.Mean, was)
	case r.Changes:
		r.Why = fmt.Sprintf("corrected, the mean TPO is %.0f ppb instead of %.0f, and the proposal %s instead of %s", *r.Corrected.Mean, *r.AsRead.Mean, is, was)
	case math.Abs(r.MeanChange) < 0.05:
		r.Why = "the found error does not reach its TPO"
	default:
		r.Why = fmt.Sprintf("corrected, the mean TPO is %.0f ppb instead of %.0f; by its readings it stays %s", *r.Corrected.Mean, *r.AsRead.Mean, is)
	}
}

func (c *Consequences) say() {
	n := len(c.Runs)
	switch {
	case c.Outcome == "passed":
		c.Sentence = "The check passed: it puts nothing in doubt."
	case n == 0:
		c.Sentence = "Nothing on record was measured with it since its last pass."
	default:
		changing := cmp.Or(map[int]string{0: "none would be judged otherwise", 1: "one would be judged otherwise"}[c.Changing], fmt.Sprintf("%d would be judged otherwise", c.Changing))
		lots := fmt.Sprintf("%d lots were", n)
		if n == 1 {
			lots = "One lot was"
		}
		c.Sentence = fmt.Sprintf("%s measured with it since its last pass; under the error found %s. A person decides.", lots, changing)
		if c.Found.Assumed != "" {
			c.Sentence += " One reference mass was used: the error is taken as the same amount at every weight; where taking it as a share of the weight gives another verdict, both are shown. Two masses tell."
		}
		if !c.Found.known() {
			c.Sentence = fmt.Sprintf("%s measured with it since its last pass. The check does not say by how much it was off, so nothing could be judged again.", lots)
		}
	}
}
