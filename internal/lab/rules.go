package lab

import (
	"context"
	"fmt"
	"reflect"
	"time"

	"ullage/core/verdict"
)

// maxSkew is how far a device's clock may be off before the answer says so.
const maxSkew = 5 * time.Minute

// clock compares the device's clock with the server's. Both stay on record;
// neither is corrected.
func (b *batch) clock(m *Meta, sentAt Time) []Warning {
	if !sentAt.IsZero() {
		skew := sentAt.Sub(b.at)
		m.SkewS = Num(float64(skew.Round(100*time.Millisecond)) / 1e9)
		if skew.Abs() > maxSkew {
			return []Warning{{"sent_at", sentAt.Format(time.RFC3339),
				"this device's clock is " + aheadOrBehind(skew) + " the server's",
				"set the device's clock; its times are kept as sent"}}
		}
		return nil
	}
	m.SkewS = nil
	if m.DeviceAt.IsZero() {
		return nil
	}
	skew := m.DeviceAt.Sub(b.at)
	switch {
	case skew > maxSkew:
		return []Warning{{"device_at", m.DeviceAt.Format(time.RFC3339),
			"this device's clock is " + aheadOrBehind(skew) + " the server's",
			"set the device's clock; its times are kept as sent"}}
	case skew < -maxSkew:
		return []Warning{{"device_at", m.DeviceAt.Format(time.RFC3339),
			"written " + span(-skew) + " before it arrived",
			"nothing to do if the device was offline; else set its clock"}}
	}
	return nil
}

func aheadOrBehind(d time.Duration) string {
	if d < 0 {
		return span(-d) + " behind"
	}
	return span(d) + " ahead of"
}

// span prints a duration in the two units a person would say.
func span(d time.Duration) string {
	d = d.Round(time.Minute)
	switch h := int(d.Hours()); {
	case h >= 48:
		return fmt.Sprintf("%d d %d h", h/24, h%24)
	case h >= 1:
		return fmt.Sprintf("%d h %d min", h, int(d.Minutes())%60)
	}
	return fmt.Sprintf("%d min", int(d.Minutes()))
}

// rules applies what a record alone cannot tell: that what it refers to is
// there, that a correction says why, numbers, snapshots and results.
func (b *batch) rules(ctx context.Context, r, prev Record) ([]Warning, error) {
	if err := b.refsExist(ctx, r, prev); err != nil {
		return nil, err
	}
	switch r := r.(type) {
	case *Run:
		p, _ := prev.(*Run)
		return b.runRules(ctx, r, p)
	case *Sample:
		p, _ := prev.(*Sample)
		return b.sampleRules(ctx, r, p)
	case *MeterCheck:
		return b.checkRules(ctx, r)
	case *Study:
		p, _ := prev.(*Study)
		return b.studyRules(ctx, r, p)
	case *LotDecision:
		return b.decisionRules(ctx, r, prev)
	case *Batch:
		return b.batchRules(ctx, r)
	case *Brew:
		return b.brewRules(ctx, r)
	case *Move:
		return b.moveRules(ctx, r)
	case *Reading:
		p, _ := prev.(*Reading)
		return b.readingRules(ctx, r, p)
	case *Event:
		if p, ok := prev.(*Event); ok && p.RunID != r.RunID {
			return nil, otherRun(r.RunID)
		}
	}
	return nil, nil
}

func otherRun(id string) error {
	return fault(Invalid, "run_id", id, "a record cannot move to another run",
		"archive this one and enter it in the other run")
}

// refsExist looks up every id the record points at, unless the previous
// revision pointed there already: records are never deleted.
func (b *batch) refsExist(ctx context.Context, r, prev Record) error {
	known := map[string]bool{}
	if prev != nil {
		for _, ref := range prev.Refs() {
			known[ref.ID] = true
		}
	}
	c := &checker{}
	for _, ref := range r.Refs() {
		if ref.ID == "" || known[ref.ID] || b.pending[key(ref.Kind, ref.ID)] != nil {
			continue
		}
		_, err := b.get(ctx, ref.Kind, ref.ID)
		if isNotFound(err) {
			c.add(ref.Field, ref.ID, "there is no such record in "+string(ref.Kind), "send that record first, or choose another")
		} else if err != nil {
			return err
		}
	}
	return c.err()
}

func (b *batch) runRules(ctx context.Context, r, prev *Run) ([]Warning, error) {
	if prev == nil {
		if err := b.takeSnapshot(ctx, r); err != nil {
			return nil, err
		}
		n, err := b.svc.Store.NextNumber(ctx, "run")
		if err != nil {
			return nil, err
		}
		r.Number = n
		r.Hold.CheckID, r.Hold.ReopenedAt = "", Time{}
		return snapshotWarnings(r), nil
	}
	r.Number = prev.Number
	r.Hold.CheckID, r.Hold.ReopenedAt = prev.Hold.CheckID, prev.Hold.ReopenedAt
	if err := b.keepSnapshot(ctx, r, prev); err != nil {
		return nil, err
	}
	if !reflect.DeepEqual(r.InForce, prev.InForce) {
		b.changed = append(b.changed, r)
	}
	if r.Hold.State == "released" && prev.Hold.State != "released" || r.Hold.State != "held" && prev.Hold.State == "held" {
		if err := b.svc.May(ctx, DoRelease); err != nil {
			return nil, err
		}
	}
	if r.Hold.State == "released" && prev.Hold.State != "released" {
		return nil, b.mayGo(ctx, r, prev)
	}
	return nil, nil
}

// mayGo refuses to release a lot on a meter that was not proven: a run is set
// free by a signed decision, or where its meter passed before and after. A run
// without readings has nothing that a meter could have got wrong.
func (b *batch) mayGo(ctx context.Context, r, prev *Run) error {
	for _, p := range b.pending {
		if d, ok := p.(*LotDecision); ok && d.RunID == r.ID && d.Decision != verdict.Hold {
			return nil
		}
	}
	decided, err := b.svc.decided(ctx, prev)
	if err != nil || decided == verdict.Release || decided == verdict.Conditional {
		return err
	}
	j, err := b.svc.JudgeRun(ctx, r.ID)
	if err != nil || j.MeterProven() {
		return nil
	}
	return fault(Invalid, "hold.state", r.Hold.State, notProven(&j),
		"check it and record the check, or sign a decision with its conditions")
}

func (b *batch) sampleRules(ctx context.Context, r, prev *Sample) ([]Warning, error) {
	if prev != nil {
		if prev.RunID != r.RunID {
			return nil, otherRun(r.RunID)
		}
		if err := explained(r.Base(), "sample"); err != nil {
			return nil, err
		}
	}
	run, err := b.run(ctx, r.RunID)
	if err != nil {
		return nil, err
	}
	computed := b.compute(r, prev, run)
	return append(notIn(computed, plausible(r, run)), computed...), nil
}

// run gives a sample's run, read once for all samples of a batch.
func (b *batch) run(ctx context.Context, id string) (*Run, error) {
	if r, ok := b.pending[key(KindRuns, id)].(*Run); ok {
		return r, nil
	}
	if r, ok := b.runs[id]; ok {
		return r, nil
	}
	rev, err := b.get(ctx, KindRuns, id)
	if err != nil {
		return nil, err
	}
	r, err := parse[Run](rev)
	if err == nil {
		b.runs[id] = r
	}
	return r, err
}

// get reads a record that others refer to, once for a batch.
func (b *batch) get(ctx context.Context, k Kind, id string) (Revision, error) {
	if rev, ok := b.known[key(k, id)]; ok {
		return rev, nil
	}
	rev, err := b.svc.Store.Get(ctx, k, id)
	if err == nil {
		b.known[key(k, id)] = rev
	}
	return rev, err
}
