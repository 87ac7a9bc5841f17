package lab

import (
	"context"
	"strings"

	"ullage/core/compare"
)

// BatchChanges lists what changed against the last batches of the same beer in the
// same kind of vessel. The browser gives the core the same of the same records.
func (s *Service) BatchChanges(ctx context.Context, id string) (compare.WhatChanged, error) {
	if err := s.May(ctx, DoJudge); err != nil {
		return compare.WhatChanged{}, err
	}
	x, err := read[Batch](ctx, s.Store, KindBatches, id)
	if err != nil {
		return compare.WhatChanged{}, err
	}
	b, err := s.cellarBook(ctx)
	if err != nil {
		return compare.WhatChanged{}, err
	}
	h := compare.History{Focus: id}
	for _, o := range b.batches {
		if o.ID == id || !o.Archived && o.BeerID == x.BeerID {
			h.Batches = append(h.Batches, b.past(o))
		}
	}
	ids := []string{id}
	if _, err := s.pastOf(ctx, b, &h, id); err != nil {
		return compare.WhatChanged{}, err
	}
	told := 0
	for _, o := range h.Alike() {
		more, err := s.pastOf(ctx, b, &h, o.ID)
		if err != nil {
			return compare.WhatChanged{}, err
		}
		if more {
			ids = append(ids, o.ID)
			told++
		}
		if told == compare.MostCompared {
			break
		}
	}
	if err := s.pastRuns(ctx, &h, ids); err != nil {
		return compare.WhatChanged{}, err
	}
	out, err := compare.Changed(h)
	if err != nil {
		return out, fault(Invalid, "batch", id, err.Error(), "correct the record")
	}
	return out, nil
}

func (b *cellarBook) past(x *Batch) compare.PastBatch {
	out := compare.PastBatch{ID: x.ID, Code: x.Code, Beer: x.BeerID, VolumeHL: x.VolumeHL, MadeAt: x.MadeAt.Time}
	if t := b.tanks[x.TankID]; t != nil {
		out.Vessel, out.Tank = t.TankKind, t.Name
	}
	return out
}

// pastOf adds how one batch was filled and read, and says whether anything was.
func (s *Service) pastOf(ctx context.Context, b *cellarBook, h *compare.History, id string) (bool, error) {
	for _, m := range b.into[id] {
		h.Moves = append(h.Moves, b.pastMove(m))
	}
	readings, err := records[Reading](ctx, s, Query{Kind: KindReadings, RunID: id})
	if err != nil {
		return false, err
	}
	for _, r := range readings {
		out := compare.PastReading{Batch: id, Point: r.Point, By: b.person(r.By), Tubing: r.Tubing, DO: r.DOPpb, TemperatureC: r.TemperatureC, PressureBar: r.PressureBar}
		if m := b.meters[r.MeterID]; m != nil {
			out.Meter = m.Name
		}
		h.Readings = append(h.Readings, out)
	}
	brews, err := records[Brew](ctx, s, Query{Kind: KindBrews, RunID: id})
	for _, r := range brews {
		h.Brews = append(h.Brews, compare.PastBrew{Batch: id, By: b.person(r.By), Yeast: strings.TrimSpace(r.Yeast + " " + r.YeastSource), Gas: r.Gas,
			GasNLMin: r.GasFlowNLMin, FloatReading: r.FloatReading, PitchMillion: r.PitchMillionML})
	}
	return len(b.into[id])+len(readings)+len(brews) > 0, err
}

func (b *cellarBook) pastMove(m *Move) compare.PastMove {
	out := compare.PastMove{To: m.ToBatchID, By: b.person(m.By), Via: m.Via, Purge: m.Purge, FlowHLH: m.FlowHLH, HoseM: m.HoseM, HoseMM: m.HoseMM, Started: m.StartedAt.Time, Ended: m.EndedAt.Time}
	if a := m.Addition; a != nil {
		out.Added, out.AddedKG = a.What, a.AmountKg
	}
	if from := b.batches[m.FromBatchID]; from != nil {
		if t := b.tanks[from.TankID]; t != nil {
			out.FromTank = t.Name
		}
	}
	return out
}

// pastRuns adds the changes of gas on the runs of some batches, and the limits in
// force on them.
func (s *Service) pastRuns(ctx context.Context, h *compare.History, ids []string) error {
	runs, err := s.runsOf(ctx, ids)
	if err != nil {
		return err
	}
	for _, r := range runs {
		events, err := records[Event](ctx, s, Query{Kind: KindEvents, RunID: r.ID})
		if err != nil {
			return err
		}
		h.Runs = append(h.Runs, pastRun(r, events))
	}
	return nil
}

func pastRun(r *Run, events []*Event) compare.PastRun {
	out := compare.PastRun{Batch: r.BatchID, EventsKnown: true}
	for _, e := range events {
		if e.EventKind == "gas_change" && !e.Archived {
			out.GasChanges = append(out.GasChanges, e.Note)
		}
	}
	for _, l := range r.InForce.Limits {
		out.Limits = append(out.Limits, compare.PastLimit{Quantity: l.Quantity, Mean: l.MeanGreenPpb, Single: l.SingleGreenPpb, Red: l.SingleRedPpb})
	}
	return out
}

// person is the name behind a record's by.
func (b *cellarBook) person(by string) string {
	if p := b.people[by]; p != nil {
		return p.Name
	}
	return by
}
