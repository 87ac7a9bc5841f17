package lab

import (
	"context"
	"errors"
	"fmt"
	"math"
)

// compute gives a package the server's result, keeps every older one and the
// device's where it differs. Only shaken DO makes a TPO, and only a direct
// reading is one.
func (b *batch) compute(s, prev *Sample, run *Run) []Warning {
	device := s.Result
	s.ResultsBefore = nil
	if prev != nil {
		s.ResultsBefore = prev.ResultsBefore
	}
	s.Result, s.OtherResult = nil, nil
	if s.IsPackage() {
		s.Result = device
		if device != nil {
			device.ComputedBy = "device"
			if prev != nil && prev.Result != nil && prev.Result.ComputedBy == "server" && sameResult(device, prev.Result) {
				device = nil // the stored result, sent back
			}
		}
		if b.svc.Calc != nil && s.Measured() {
			s.Result, s.OtherResult = b.results(s, run)
		}
	}
	if prev != nil && prev.Result != nil && !sameResult(prev.Result, s.Result) {
		s.ResultsBefore = append(s.ResultsBefore, *prev.Result)
	}
	return append(append(resultWarnings(s.Result), resultWarnings(s.OtherResult)...), s.keepDevice(device)...)
}

// keepDevice keeps a device's result that the server does not confirm.
func (s *Sample) keepDevice(device *Result) []Warning {
	if device == nil || s.Result == nil || s.Result.ComputedBy != "server" || sameResult(device, s.Result) {
		return nil
	}
	s.ResultsBefore = append(s.ResultsBefore, *device)
	return []Warning{{"result.tpo_ppb", device.TPOPpb,
		fmt.Sprintf("the device computed %s, the server %s", ppb(device.TPOPpb), ppb(s.Result.TPOPpb)),
		"reload the page on the device; both results are kept"}}
}

func ppb(v *float64) string {
	if v == nil {
		return "no TPO"
	}
	return fmt.Sprintf("%.1f ppb", *v)
}

// sameResult compares as recorded: by method, path and to 0.1 ppb (native and
// browser arithmetic differ in the last digits).
func sameResult(a, b *Result) bool {
	if a == nil || b == nil {
		return a == b
	}
	if a.IsDirect() != b.IsDirect() || a.Method != b.Method || a.Path != b.Path || (a.TPOPpb == nil) != (b.TPOPpb == nil) {
		return false
	}
	return a.TPOPpb == nil || math.Abs(*a.TPOPpb-*b.TPOPpb) < 0.1
}

// sameU compares uncertainties, to 1 %: another instrument changes them where it
// changes no TPO.
func sameU(a, b *Result) bool {
	if a == nil || b == nil || a.TPOUPpb == nil || b.TPOUPpb == nil {
		return a == b || a != nil && b != nil && a.TPOUPpb == b.TPOUPpb
	}
	return math.Abs(*a.TPOUPpb-*b.TPOUPpb) <= 0.01*math.Abs(*b.TPOUPpb)
}

func (b *batch) result(s *Sample, run *Run) *Result {
	res, err := b.svc.Calc(s, run)
	if err != nil {
		res.TPOPpb = nil
		res.Warnings = append(res.Warnings, asWarnings(err)...)
	}
	res.ComputedAt, res.ComputedBy = At(b.at), "server"
	return &res
}

// results are the TPO of a package that counts, and the other one where it was
// read both ways.
func (b *batch) results(s *Sample, run *Run) (counts, other *Result) {
	var calculated, direct *Result
	if s.SampleKind == "shaken" && s.Inputs.DOPpb != nil {
		calculated = b.result(s, run)
	}
	if s.Inputs.DirectPpb != nil {
		direct = directResult(s, run)
		direct.ComputedAt, direct.ComputedBy = At(b.at), "server"
	}
	return choose(calculated, direct, run.InForce.TPOBy)
}

func asWarnings(err error) []Warning {
	e, ok := errors.AsType[*Error](err)
	if !ok || len(e.Faults) == 0 {
		return []Warning{{Field: "result", Message: err.Error()}}
	}
	var ws []Warning
	for _, f := range e.Faults {
		ws = append(ws, Warning(f))
	}
	return ws
}

func resultWarnings(r *Result) []Warning {
	if r == nil {
		return nil
	}
	var ws []Warning
	for _, w := range r.Warnings {
		w.Field = "result." + w.Field
		ws = append(ws, w)
	}
	return ws
}

// followUp recomputes the samples of runs whose snapshot was corrected.
func (b *batch) followUp(ctx context.Context, outs []Outcome) {
	for _, run := range b.changed {
		for _, o := range outs {
			if o.Current.ID == run.ID && o.Status == Updated {
				// The correction is stored; a failure here leaves older results
				// in place, and Recompute can be asked for again.
				_, _ = b.svc.recompute(ctx, run.ID, run.By)
			}
		}
	}
}

// Recompute computes every package of a run again, with today's method
// and the run's snapshot, and stores those whose result changed as new
// revisions. It tells how many.
func (s *Service) Recompute(ctx context.Context, runID, by string) (int, error) {
	if err := s.May(ctx, DoRecompute); err != nil {
		return 0, err
	}
	m := Meta{By: by}
	stamp(ctx, &m)
	return s.recompute(ctx, runID, m.By)
}

func (s *Service) recompute(ctx context.Context, runID, by string) (int, error) {
	run, err := read[Run](ctx, s.Store, KindRuns, runID)
	if err != nil || s.Calc == nil {
		return 0, err
	}
	revs, err := s.all(ctx, Query{Kind: KindSamples, RunID: runID})
	if err != nil {
		return 0, err
	}
	b := &batch{svc: s, at: s.now()}
	var changed []Revision
	for _, rev := range revs {
		sample, err := parse[Sample](rev)
		if err != nil {
			return 0, err
		}
		if !sample.IsPackage() || !sample.Measured() {
			continue
		}
		res, other := b.results(sample, run)
		if sameResult(res, sample.Result) && sameU(res, sample.Result) && sameResult(other, sample.OtherResult) && sameU(other, sample.OtherResult) {
			continue
		}
		if sample.Result != nil {
			sample.ResultsBefore = append(sample.ResultsBefore, *sample.Result)
		}
		sample.Result, sample.OtherResult = res, other
		sample.Rev, sample.By, sample.ServerAt = sample.Rev+1, by, At(b.at)
		sample.DeviceAt, sample.DeviceID, sample.SkewS = Time{}, "", nil
		sample.Reason = "result computed again: " + res.Method
		next, err := s.revision(ctx, sample, rev.Hash)
		if err != nil {
			return 0, err
		}
		changed = append(changed, next)
	}
	if len(changed) == 0 {
		return 0, nil
	}
	outs, err := s.Store.Append(ctx, changed)
	n := 0
	for _, o := range outs {
		if o.Status == Updated {
			n++
		}
	}
	return n, err
}
