package lab

import (
	"context"
	"time"

	"ullage/core/compare"
	"ullage/core/way"
)

// Transfers compares the steps of a kind between two days of the brewery's time
// zone, both included; empty ones bound nothing. The browser gives the core the
// same of the same records.
func (s *Service) Transfers(ctx context.Context, step string, from, to string) (compare.TransferList, error) {
	if err := s.May(ctx, DoJudge); err != nil {
		return compare.TransferList{}, err
	}
	q := compare.Query{Step: step}
	c := &checker{}
	c.oneOf("step", step, compare.TransferSteps...)
	c.date("from", from)
	c.date("to", to)
	if err := c.err(); err != nil {
		return compare.TransferList{}, err
	}
	zone := s.zone(ctx)
	if from != "" {
		q.From, _ = time.ParseInLocation(time.DateOnly, from, zone)
	}
	if to != "" {
		last, _ := time.ParseInLocation(time.DateOnly, to, zone)
		q.Until = last.AddDate(0, 0, 1)
	}
	b, err := s.cellarBook(ctx)
	if err != nil {
		return compare.TransferList{}, err
	}
	readings, err := records[Reading](ctx, s, Query{Kind: KindReadings})
	if err != nil {
		return compare.TransferList{}, err
	}
	for _, r := range readings {
		if r.BrewID == "" && !IsWort(r.Point) {
			q.Readings = append(q.Readings, b.reading(r))
		}
	}
	for _, x := range b.batches {
		q.Batches = append(q.Batches, b.compared(x))
	}
	for _, m := range b.moves {
		q.Moves = append(q.Moves, compare.Move{Move: mapMove(m), By: b.person(m.By), Purge: m.Purge})
	}
	q.Limits = b.ownLimits()
	out, err := compare.Transfers(q)
	out.From, out.To = from, to
	return out, err
}

func (b *cellarBook) compared(x *Batch) compare.Batch {
	out := compare.Batch{Batch: b.batch(x), Beer: x.BeerID, Made: x.MadeAt.Time, Archived: x.Archived}
	if beer := b.beers[x.BeerID]; beer != nil {
		out.BeerName = beer.Name
	}
	return out
}

// ownLimits are the brewery's own limits and budgets, in the order of their making.
func (b *cellarBook) ownLimits() []way.OwnLimit {
	out := make([]way.OwnLimit, len(b.limits))
	for i, l := range b.limits {
		out[i] = way.OwnLimit{Beer: l.BeerID, Point: l.Point, Step: l.Step, Green: l.GreenPpb, Red: l.RedPpb}
	}
	return out
}
