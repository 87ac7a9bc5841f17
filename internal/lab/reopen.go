package lab

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"ullage/core/quantity"
	"ullage/core/verdict"
)

// reopen opens the lots again that a failed check of this batch puts in doubt,
// once it is stored. It says which; a failure here is said too, and the
// judgement of those lots says hold all the same.
func (b *batch) reopen(ctx context.Context, o Outcome) []Warning {
	i := slices.IndexFunc(b.failed, func(c *MeterCheck) bool { return c.ID == o.Current.ID && c.Rev == o.Current.Rev })
	if i < 0 || o.Status != Created && o.Status != Updated {
		return nil
	}
	check := b.failed[i]
	doubt, err := b.svc.inDoubt(ctx, check)
	if err != nil {
		return []Warning{{Field: "outcome", Value: check.Outcome, Message: "the lots since the last pass could not be read: " + err.Error(), Mend: "look at the consequences of this check"}}
	}
	var opened, failed []string
	for _, run := range doubt.runs {
		done, err := b.svc.reopenRun(ctx, run.ID, check, doubt)
		switch name := fmt.Sprintf("run %d", run.Number); {
		case err != nil:
			failed = append(failed, name)
		case done:
			opened = append(opened, name)
		}
	}
	var ws []Warning
	if len(opened) > 0 {
		ws = append(ws, Warning{Field: "outcome", Value: check.Outcome, Message: "these lots were released and are open again: " + strings.Join(opened, ", "),
			Mend: "look at what the found error changes, and decide anew"})
	}
	if len(failed) > 0 {
		ws = append(ws, Warning{Field: "outcome", Value: check.Outcome, Message: "these lots could not be opened again: " + strings.Join(failed, ", "), Mend: "put them on hold by hand"})
	}
	return ws
}

// doubt is what a failed check puts in doubt.
type doubt struct {
	instrument *Instrument
	last       *MeterCheck // the pass before it; nil when none is on record
	runs       []*Run      // measured with the instrument since, the oldest first
}

// inDoubt finds the runs with a reading of the instrument between its last pass
// of the same check and this one.
func (s *Service) inDoubt(ctx context.Context, check *MeterCheck) (doubt, error) {
	var d doubt
	var err error
	if d.instrument, err = read[Instrument](ctx, s.Store, KindInstruments, check.InstrumentID); err != nil {
		return d, err
	}
	checks, err := records[MeterCheck](ctx, s, Query{Kind: KindMeterChecks})
	if err != nil {
		return d, err
	}
	for _, c := range checks {
		if c.ID != check.ID && c.InstrumentID == check.InstrumentID && c.Outcome == "passed" && sameAgainst(c, check) && c.At.Before(check.At.Time) && (d.last == nil || c.At.After(d.last.At.Time)) {
			d.last = c
		}
	}
	var since time.Time
	if d.last != nil {
		since = d.last.At.Time
	}
	runs, err := records[Run](ctx, s, Query{Kind: KindRuns})
	if err != nil {
		return d, err
	}
	for _, r := range runs {
		if !r.uses(check.InstrumentID) || r.StartedAt.After(check.At.Time) || !r.EndedAt.IsZero() && r.EndedAt.Before(since.Add(-readWithin)) {
			continue
		}
		used, err := s.readBetween(ctx, r.ID, since, check.At.Time)
		if err != nil {
			return d, err
		}
		if used {
			d.runs = append(d.runs, r)
		}
	}
	slices.SortStableFunc(d.runs, func(a, b *Run) int { return a.StartedAt.Compare(b.StartedAt.Time) })
	return d, nil
}

// readWithin is how long after the end of a run its packages may still be read.
const readWithin = 7 * 24 * time.Hour

// sameAgainst tells that a pass of c answers the question that d asked. A check
// that does not say against what counts for any.
func sameAgainst(c, d *MeterCheck) bool {
	return c.Against == d.Against || c.Against == "" || d.Against == ""
}

func (r *Run) uses(instrument string) bool {
	return instrument != "" && (r.DOMeterID == instrument || r.ScaleID == instrument || r.ThermometerID == instrument || r.TPOMeterID == instrument)
}

func (s *Service) readBetween(ctx context.Context, run string, from, to time.Time) (bool, error) {
	samples, err := records[Sample](ctx, s, Query{Kind: KindSamples, RunID: run})
	return slices.ContainsFunc(samples, func(x *Sample) bool { return !x.TakenAt.Before(from) && !x.TakenAt.After(to) }), err
}

// reopenRun puts the lot of a run on hold again, if it had been let go: a new
// revision of the run, with the reason. The decision stays as it was made.
func (s *Service) reopenRun(ctx context.Context, id string, check *MeterCheck, d doubt) (bool, error) {
	for range 5 {
		rev, err := s.Store.Get(ctx, KindRuns, id)
		if err != nil {
			return false, err
		}
		run, err := parse[Run](rev)
		if err != nil {
			return false, err
		}
		word, err := s.decided(ctx, run)
		if err != nil || word != verdict.Release && word != verdict.Conditional && run.Hold.State != "released" || run.Hold.CheckID == check.ID {
			return false, err
		}
		at := At(s.now())
		run.Hold = Hold{State: "held", Reason: reopenReason(check, d), CheckID: check.ID, ReopenedAt: at}
		run.Rev, run.By, run.ServerAt = rev.Rev+1, check.By, at
		run.DeviceAt, run.DeviceID, run.SkewS = Time{}, "", nil
		run.Reason = "opened again by a failed check"
		next, err := revision(run, contentHash(run))
		if err != nil {
			return false, err
		}
		outs, err := s.Store.Append(ctx, []Revision{next})
		if err != nil {
			return false, err
		}
		if outs[0].Status == Updated {
			return true, nil
		}
	}
	return false, fault(Busy, "run", id, "is being written by others", "try again")
}

func reopenReason(check *MeterCheck, d doubt) string {
	text := fmt.Sprintf("open again: %s failed its check of %s%s", d.instrument.Name, check.At.Format("2006-01-02 15:04"), check.sayFound())
	if d.last == nil {
		return text + "; no pass is on record before it"
	}
	return text + "; last passed " + d.last.At.Format("2006-01-02 15:04")
}

var againstWords = map[string]string{AgainstZero: "zero", AgainstAir: "air", AgainstResponse: "response", AgainstMeter: "another meter", AgainstMass: "reference mass",
	AgainstIce: "ice point", AgainstReference: "reference", AgainstOther: "other"}

// sayFound is what a check found, in words, with its against.
func (r *MeterCheck) sayFound() string {
	text := ""
	if w := againstWords[r.Against]; w != "" {
		text = " (" + w + ")"
	}
	switch {
	case r.Against == AgainstAir && r.SlopePct != nil:
		return text + quantity.Minus(fmt.Sprintf(": reads %+.1f %% in air", *r.SlopePct))
	case r.OffsetPpb != nil:
		return text + quantity.Minus(fmt.Sprintf(": reads %+.1f ppb at zero", *r.OffsetPpb))
	case len(r.More) > 0 && r.Read != nil && r.Expected != nil:
		f := foundLine(r, nil)
		text += fmt.Sprintf(": off by %+.3g %s", *f.Offset, unitWords[r.Unit])
		if f.SlopePct != nil {
			text += fmt.Sprintf(" and %+.3g %% of the reading", *f.SlopePct)
		}
		return quantity.Minus(text)
	case r.Read != nil && r.Expected != nil:
		return text + quantity.Minus(fmt.Sprintf(": reads %+.3g %s", *r.Read-*r.Expected, unitWords[r.Unit]))
	}
	return text
}

var unitWords = map[string]string{"ppb": "ppb", "g": "g", "c": "°C", "kpa": "kPa", "s": "s"}
