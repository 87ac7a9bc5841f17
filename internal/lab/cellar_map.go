package lab

import (
	"bytes"
	"cmp"
	"context"
	"maps"
	"math"
	"slices"
	"strings"

	"ullage/core/cellar"
	"ullage/core/way"
)

// BatchMap is the way of a batch from wort to package, and what it was computed
// from: anyone may compute it again.
type BatchMap struct {
	Map   cellar.Map `json:"map"`
	Input way.Input  `json:"input"`
}

// BatchMap draws the oxygen map of a batch from the records as they stand.
func (s *Service) BatchMap(ctx context.Context, id string) (BatchMap, error) {
	if err := s.May(ctx, DoJudge); err != nil {
		return BatchMap{}, err
	}
	in, err := s.mapInput(ctx, id)
	if err != nil {
		return BatchMap{}, err
	}
	m, err := cellar.Build(in)
	if err != nil {
		return BatchMap{Input: in}, fault(Invalid, "batch", id, err.Error(), "correct the record")
	}
	return BatchMap{m, in}, nil
}

// cellarBook is the set-up that the cellar's use cases share.
type cellarBook struct {
	batches map[string]*Batch
	tanks   map[string]*Tank
	beers   map[string]*Beer
	meters  map[string]*Instrument
	people  map[string]*Person
	limits  []*CellarLimit
	moves   []*Move
	into    map[string][]*Move // by the batch they went into
}

// cellarBook reads batches, moves, and what they refer to. Of each there are at
// most some hundreds a year.
func (s *Service) cellarBook(ctx context.Context) (*cellarBook, error) {
	b := &cellarBook{}
	var err error
	if b.batches, err = byID[Batch](ctx, s, KindBatches); err != nil {
		return nil, err
	}
	if b.tanks, err = byID[Tank](ctx, s, KindTanks); err != nil {
		return nil, err
	}
	if b.beers, err = byID[Beer](ctx, s, KindBeers); err != nil {
		return nil, err
	}
	if b.meters, err = byID[Instrument](ctx, s, KindInstruments); err != nil {
		return nil, err
	}
	if b.people, err = byID[Person](ctx, s, KindPeople); err != nil {
		return nil, err
	}
	if b.limits, err = records[CellarLimit](ctx, s, Query{Kind: KindCellarLimits}); err != nil {
		return nil, err
	}
	b.moves, err = records[Move](ctx, s, Query{Kind: KindMoves})
	b.into = map[string][]*Move{}
	for _, m := range b.moves {
		b.into[m.ToBatchID] = append(b.into[m.ToBatchID], m)
	}
	return b, err
}

// byID reads all records of a kind, archived ones too: old records refer to them.
func byID[T any, P interface {
	*T
	Record
}](ctx context.Context, s *Service, k Kind) (map[string]*T, error) {
	revs, err := s.all(ctx, Query{Kind: k})
	if err != nil {
		return nil, err
	}
	out := make(map[string]*T, len(revs))
	for _, rev := range revs {
		v, err := parse[T](rev)
		if err != nil {
			return nil, err
		}
		out[P(v).Base().ID] = v
	}
	return out, nil
}

// connected are the batches a map shows: what the focus flowed into, and all
// that those came from, in order of id.
func (b *cellarBook) connected(focus string) []string {
	return slices.Sorted(maps.Keys(way.Connected(focus, func(move func(from, to string) bool) {
		for _, m := range b.moves {
			if !move(m.FromBatchID, m.ToBatchID) {
				return
			}
		}
	})))
}

// mapInput gathers what a map of the batch is computed from. The browser makes
// the same of the same records.
func (s *Service) mapInput(ctx context.Context, focus string) (way.Input, error) {
	if _, err := read[Batch](ctx, s.Store, KindBatches, focus); err != nil {
		return way.Input{}, err
	}
	b, err := s.cellarBook(ctx)
	if err != nil {
		return way.Input{}, err
	}
	ids := b.connected(focus)
	in := b.input(ids)
	in.Focus = focus
	in.Limits, in.Budgets = way.LimitsFor(b.ownLimits(), b.batches[focus].BeerID)
	for _, id := range ids {
		if err := s.readInto(ctx, b, &in, id); err != nil {
			return in, err
		}
	}
	in.Runs, err = s.mapRuns(ctx, b, ids)
	return in, err
}

// readInto adds what was read of one batch.
func (s *Service) readInto(ctx context.Context, b *cellarBook, in *way.Input, id string) error {
	brews, err := records[Brew](ctx, s, Query{Kind: KindBrews, RunID: id})
	if err != nil {
		return err
	}
	for _, r := range brews {
		in.Brews = append(in.Brews, mapBrew(r))
	}
	readings, err := records[Reading](ctx, s, Query{Kind: KindReadings, RunID: id})
	for _, r := range readings {
		x := b.reading(r)
		if x.Move != "" && !slices.ContainsFunc(in.Moves, func(m way.Move) bool { return m.ID == x.Move }) {
			x.Move = "" // the move was archived; the reading stays
		}
		in.Readings = append(in.Readings, x)
	}
	return err
}

// input has some batches, every move in or out of them, and where those went or
// came from; no readings.
func (b *cellarBook) input(ids []string) way.Input {
	in := way.Input{Batches: []way.Batch{}}
	shown, added := map[string]bool{}, map[string]bool{"": true}
	for _, id := range ids {
		shown[id] = true
	}
	add := func(id string) {
		if x := b.batches[id]; x != nil && !added[id] {
			added[id] = true
			in.Batches = append(in.Batches, b.batch(x))
		}
	}
	for _, id := range ids {
		add(id)
	}
	for _, m := range b.moves {
		if shown[m.FromBatchID] || shown[m.ToBatchID] {
			add(m.FromBatchID)
			add(m.ToBatchID)
			in.Moves = append(in.Moves, mapMove(m))
		}
	}
	return in
}

func (b *cellarBook) batch(x *Batch) way.Batch {
	out := way.Batch{ID: x.ID, Code: x.Code, VolumeHL: numOr(x.VolumeHL, 0)}
	if beer := b.beers[x.BeerID]; beer != nil && beer.YeastInPackage {
		out.Yeast = "yes"
	}
	if t := b.tanks[x.TankID]; t != nil {
		out.Tank, out.Vessel, out.HeadspaceBar = t.Name, t.TankKind, numOr(t.HeadspaceBar, 0)
		if t.VolumeHL != nil && x.VolumeHL != nil {
			out.GasHL = max(0, *t.VolumeHL-*x.VolumeHL)
		}
	}
	return out
}

func mapBrew(r *Brew) way.Brew {
	out := way.Brew{ID: r.ID, Code: r.Code, Batch: r.BatchID, At: r.At.Time, VolumeHL: numOr(r.VolumeHL, 0)}
	if r.DOMgL != nil {
		out.DO = Num(*r.DOMgL * 1000)
	}
	return out
}

func mapMove(m *Move) way.Move {
	out := way.Move{ID: m.ID, Kind: m.MoveKind, From: m.FromBatchID, To: m.ToBatchID, Started: m.StartedAt.Time, Ended: m.EndedAt.Time,
		VolumeHL: numOr(m.VolumeHL, 0), FlowHLH: numOr(m.FlowHLH, 0), Via: m.Via}
	if a := m.Addition; a != nil {
		out.Addition = &way.Addition{What: a.What, AmountKG: numOr(a.AmountKg, 0), DO: a.DOPpb, AirML: numOr(a.AirML, 0)}
	}
	return out
}

func (b *cellarBook) reading(r *Reading) way.Reading {
	out := way.Reading{ID: r.ID, Batch: r.BatchID, Move: r.MoveID, Brew: r.BrewID, Point: r.Point, At: r.At.Time, DO: numOr(r.DOPpb, 0), Meter: r.MeterID,
		TemperatureC: r.TemperatureC, PressureBar: r.PressureBar, FlowHLH: numOr(r.FlowHLH, 0), VolumeHL: numOr(r.VolumeMovedHL, 0), Confirmed: r.Confirmed,
		FirstRunnings: slices.Contains(r.Flags, "first_runnings")}
	if r.DOPpb != nil {
		out.U = b.meterU(r.MeterID, *r.DOPpb)
	}
	if r.GasO2Pct != nil {
		out.GasO2 = Num(*r.GasO2Pct / 100)
	}
	return out
}

// meterU is the standard uncertainty, ppb, of one reading of a meter by its own
// record; 0 where that says nothing.
func (b *cellarBook) meterU(id string, do float64) float64 {
	m := b.meters[id]
	if m == nil {
		return 0
	}
	u, _ := m.constant(0)
	return math.Hypot(u, numOr(m.URel, 0)*do)
}

// runsOf reads the runs that drew from some batches.
func (s *Service) runsOf(ctx context.Context, ids []string) ([]*Run, error) {
	revs, err := s.all(ctx, Query{Kind: KindRuns})
	if err != nil {
		return nil, err
	}
	var out []*Run
	for _, rev := range revs {
		// Runs are long records and most are of other batches: look before reading.
		if !slices.ContainsFunc(ids, func(id string) bool { return bytes.Contains(rev.Body, []byte(id)) }) {
			continue
		}
		r, err := parse[Run](rev)
		if err != nil {
			return nil, err
		}
		if !r.Archived && slices.Contains(ids, r.BatchID) {
			out = append(out, r)
		}
	}
	slices.SortFunc(out, func(a, b *Run) int { return cmp.Or(a.StartedAt.Compare(b.StartedAt.Time), strings.Compare(a.ID, b.ID)) })
	return out, nil
}

func (s *Service) mapRuns(ctx context.Context, b *cellarBook, ids []string) ([]way.Run, error) {
	runs, err := s.runsDrawn(ctx, ids)
	if err != nil {
		return nil, err
	}
	var out []way.Run
	for _, d := range runs {
		if d.Samples, err = records[Sample](ctx, s, Query{Kind: KindSamples, RunID: d.Run.ID}); err != nil {
			return nil, err
		}
		if d.Readings, err = records[Reading](ctx, s, Query{Kind: KindReadings, RunID: d.Run.BatchID}); err != nil {
			return nil, err
		}
		out = append(out, b.run(d))
	}
	return out, nil
}

// runsDrawn are the runs of some batches with what tells how much each drew, and
// nothing of what it read.
func (s *Service) runsDrawn(ctx context.Context, ids []string) ([]*RunRecords, error) {
	runs, err := s.runsOf(ctx, ids)
	if err != nil {
		return nil, err
	}
	lines, err := byID[Line](ctx, s, KindLines)
	if err != nil {
		return nil, err
	}
	var out []*RunRecords
	for _, r := range runs {
		events, err := records[Event](ctx, s, Query{Kind: KindEvents, RunID: r.ID})
		if err != nil {
			return nil, err
		}
		out = append(out, &RunRecords{Run: r, Line: lines[r.LineID], Events: events})
	}
	return out, nil
}
