package lab

import (
	"context"
	"encoding/json"
	"slices"
	"time"
)

// Today is what needs someone now.
type Today struct {
	Now     Time              `json:"now" doc:"the server's clock"`
	Runs    []json.RawMessage `json:"runs" doc:"runs going on"`
	Held    []json.RawMessage `json:"held" doc:"runs whose lot is on hold"`
	Due     []Due             `json:"due" doc:"what is to be done, the most urgent first"`
	Results []json.RawMessage `json:"results" doc:"the newest samples, newest first"`
}

// Due is one thing to do, when, and why.
type Due struct {
	What         string `json:"what" enum:"sample,temperature,meter_check"`
	At           Time   `json:"at" doc:"when it is due; in the past: overdue"`
	Why          string `json:"why"`
	RunID        string `json:"run_id,omitempty"`
	InstrumentID string `json:"instrument_id,omitempty"`
	Against      string `json:"against,omitempty" doc:"which check of the instrument; empty: any"`
}

const newestShown = 20

// Today gathers the runs going on, lots on hold, what is due, and last results.
func (s *Service) Today(ctx context.Context) (Today, error) {
	t := Today{Now: At(s.now()), Runs: []json.RawMessage{}, Held: []json.RawMessage{}, Due: []Due{}}
	if err := s.May(ctx, DoRead); err != nil {
		return t, err
	}
	revs, err := s.all(ctx, Query{Kind: KindRuns, Open: true})
	if err != nil {
		return t, err
	}
	for _, rev := range revs {
		run, err := parse[Run](rev)
		if err != nil {
			return t, err
		}
		if run.Hold.State == "held" {
			t.Held = append(t.Held, rev.Body)
		}
		if run.Status != "going" {
			continue
		}
		t.Runs = append(t.Runs, rev.Body)
		due, err := s.dueInRun(ctx, run)
		if err != nil {
			return t, err
		}
		t.Due = append(t.Due, due...)
	}
	checks, err := s.dueChecks(ctx)
	if err != nil {
		return t, err
	}
	t.Due = append(t.Due, checks...)
	sortDue(t.Due)
	last, err := s.Store.List(ctx, Query{Kind: KindSamples, Desc: true, Limit: newestShown})
	t.Results = bodies(last)
	return t, err
}

// lookBack is how many of a run's newest samples are searched for the last
// temperature; a carried temperature repeats in each of them.
const lookBack = 50

func (s *Service) dueInRun(ctx context.Context, run *Run) ([]Due, error) {
	revs, err := s.Store.List(ctx, Query{Kind: KindSamples, RunID: run.ID, Desc: true, Limit: lookBack})
	if err != nil {
		return nil, err
	}
	lastSample, lastTemp := run.StartedAt, Time{}
	for _, rev := range revs {
		sample, err := parse[Sample](rev)
		if err != nil {
			return nil, err
		}
		if sample.Archived {
			continue
		}
		if sample.TakenAt.After(lastSample.Time) {
			lastSample = sample.TakenAt
		}
		if sample.Inputs.TemperatureC == nil {
			continue
		}
		read := sample.Inputs.TemperatureAt
		if read.IsZero() {
			read = sample.TakenAt
		}
		if read.After(lastTemp.Time) {
			lastTemp = read
		}
	}
	var due []Due
	if every, err := s.sampleEvery(ctx, run); err != nil {
		return nil, err
	} else if every > 0 {
		due = append(due, Due{What: "sample", RunID: run.ID, At: Time{lastSample.Add(every)},
			Why: "a set every " + span(every) + "; the last at " + lastSample.Format("15:04")})
	}
	if !lastTemp.IsZero() {
		due = append(due, Due{What: "temperature", RunID: run.ID, At: Time{lastTemp.Add(askTempAge)},
			Why: "a temperature is good for " + span(askTempAge) + "; the last at " + lastTemp.Format("15:04")})
	}
	return due, nil
}

func (s *Service) sampleEvery(ctx context.Context, run *Run) (time.Duration, error) {
	minutes := run.SampleEveryMin
	if minutes == nil {
		line, err := read[Line](ctx, s.Store, KindLines, run.LineID)
		if err != nil {
			return 0, err
		}
		minutes = line.SampleEveryMin
	}
	if minutes == nil {
		return 0, nil
	}
	return time.Duration(*minutes * float64(time.Minute)), nil
}

// checkSoon is how long before its date a meter check appears.
const checkSoon = 24 * time.Hour

func (s *Service) dueChecks(ctx context.Context) ([]Due, error) {
	revs, err := s.all(ctx, Query{Kind: KindInstruments})
	if err != nil {
		return nil, err
	}
	checks, err := records[MeterCheck](ctx, s, Query{Kind: KindMeterChecks})
	if err != nil {
		return nil, err
	}
	var due []Due
	for _, rev := range revs {
		in, err := parse[Instrument](rev)
		if err != nil {
			return nil, err
		}
		own := slices.DeleteFunc(slices.Clone(checks), func(c *MeterCheck) bool { return c.InstrumentID != in.ID })
		slices.SortStableFunc(own, func(a, b *MeterCheck) int { return a.At.Compare(b.At.Time) })
		for _, d := range dueOf(in, own, s.now()) {
			if d.At.Before(s.now().Add(checkSoon)) {
				due = append(due, Due{What: "meter_check", InstrumentID: in.ID, Against: d.Against, At: d.At, Why: d.Why})
			}
		}
	}
	return due, nil
}

func sortDue(due []Due) {
	slices.SortStableFunc(due, func(a, b Due) int { return a.At.Compare(b.At.Time) })
}
