package lab

import (
	"context"
	"fmt"
	"slices"
	"time"
)

// Measured volumes disagree by some per cent between flow meter, tank gauge and
// dip; beyond this share more cannot have come out than went in (common practice).
const volumeSlack = 0.05

// Readings outside these are questioned, never refused (common practice).
const (
	askWortLowMgL, askWortHighMgL = 1, 25
	askAroundMove                 = 20 * time.Minute
)

// pointsOnTheWay are read while liquid moves.
var pointsOnTheWay = []string{"centrifuge_in", "centrifuge_out", "filter_in", "filter_out", "carbonation_before", "carbonation_after", "tank_before"}

// allMoves gives the moves that stand, with those of this batch of writes; read
// once for all of them.
func (b *batch) allMoves(ctx context.Context) ([]*Move, error) {
	if b.moves == nil {
		moves, err := records[Move](ctx, b.svc, Query{Kind: KindMoves})
		if err != nil {
			return nil, err
		}
		b.moves = append([]*Move{}, moves...)
	}
	out := make([]*Move, 0, len(b.moves))
	for _, m := range b.moves {
		if b.pending[key(KindMoves, m.ID)] == nil {
			out = append(out, m)
		}
	}
	for _, r := range b.pending {
		if m, ok := r.(*Move); ok && !m.Archived {
			out = append(out, m)
		}
	}
	return out, nil
}

// allBatches gives every batch, as [batch.allMoves] gives the moves.
func (b *batch) allBatches(ctx context.Context) ([]*Batch, error) {
	if b.batches == nil {
		batches, err := records[Batch](ctx, b.svc, Query{Kind: KindBatches})
		if err != nil {
			return nil, err
		}
		b.batches = append([]*Batch{}, batches...)
	}
	out := make([]*Batch, 0, len(b.batches))
	for _, x := range b.batches {
		if b.pending[key(KindBatches, x.ID)] == nil {
			out = append(out, x)
		}
	}
	for _, r := range b.pending {
		if x, ok := r.(*Batch); ok && !x.Archived {
			out = append(out, x)
		}
	}
	return out, nil
}

// liquid gives a batch by its id, pending or stored.
func (b *batch) liquid(ctx context.Context, id string) (*Batch, error) {
	return lookup[Batch](ctx, b, KindBatches, id)
}

func (b *batch) moveRules(ctx context.Context, r *Move) ([]Warning, error) {
	if r.Archived {
		return nil, nil
	}
	moves, err := b.allMoves(ctx)
	if err != nil {
		return nil, err
	}
	moves = slices.DeleteFunc(moves, func(m *Move) bool { return m.ID == r.ID })
	if err := b.noCycle(ctx, r, moves); err != nil {
		return nil, err
	}
	if r.FromBatchID == "" {
		return nil, nil
	}
	from, err := b.liquid(ctx, r.FromBatchID)
	if err != nil {
		return nil, err
	}
	if err := notMoreThanHeld(r, from, moves); err != nil {
		return nil, err
	}
	if r.ToBatchID != r.FromBatchID {
		if err := b.stillThere(ctx, r, from); err != nil {
			return nil, err
		}
	}
	return moveWarnings(r, from), nil
}

// noCycle refuses a move by which liquid would come from itself.
func (b *batch) noCycle(ctx context.Context, r *Move, moves []*Move) error {
	if r.FromBatchID == "" || r.ToBatchID == "" || r.FromBatchID == r.ToBatchID {
		return nil
	}
	next := map[string][]string{}
	for _, m := range moves {
		if m.FromBatchID != "" && m.ToBatchID != "" && m.FromBatchID != m.ToBatchID {
			next[m.FromBatchID] = append(next[m.FromBatchID], m.ToBatchID)
		}
	}
	seen, ahead := map[string]bool{}, []string{r.ToBatchID}
	for len(ahead) > 0 {
		id := ahead[len(ahead)-1]
		ahead = ahead[:len(ahead)-1]
		if id == r.FromBatchID {
			from, to := b.code(ctx, r.FromBatchID), b.code(ctx, r.ToBatchID)
			return fault(Invalid, "to_batch_id", r.ToBatchID, from+" itself came from "+to+": liquid would come from itself",
				"correct the direction; liquid that returns to a vessel is a new batch")
		}
		if !seen[id] {
			seen[id] = true
			ahead = append(ahead, next[id]...)
		}
	}
	return nil
}

// code names a batch in a sentence.
func (b *batch) code(ctx context.Context, id string) string {
	if x, err := b.liquid(ctx, id); err == nil && x.Code != "" {
		return x.Code
	}
	return "the batch"
}

// notMoreThanHeld refuses what empties a tank twice, or draws more than there was.
func notMoreThanHeld(r *Move, from *Batch, moves []*Move) error {
	if r.VolumeHL == nil || from.VolumeHL == nil || r.MoveKind == "recirculation" {
		return nil
	}
	held, out := *from.VolumeHL, 0.0
	for _, m := range moves {
		v := numOr(m.VolumeHL, 0)
		switch {
		case m.MoveKind == "recirculation":
		case m.FromBatchID == from.ID:
			out += v
		case m.ToBatchID == from.ID && (m.MoveKind == "blend" || m.MoveKind == "addition"):
			held += v // may have come after the volume was read
		}
	}
	if out+*r.VolumeHL <= held*(1+volumeSlack) {
		return nil
	}
	message := fmt.Sprintf("%s held %.4g hL", from.Code, held)
	if out > 0 {
		message += fmt.Sprintf(", and %.4g hL went out already", out)
	}
	return fault(Invalid, "volume_hl", *r.VolumeHL, message, "correct this volume, the other moves out of it, or the volume of the batch")
}

// stillThere refuses a move out of a vessel that a later batch fills by then.
func (b *batch) stillThere(ctx context.Context, r *Move, from *Batch) error {
	if from.TankID == "" || from.MadeAt.IsZero() {
		return nil
	}
	all, err := b.allBatches(ctx)
	if err != nil {
		return err
	}
	for _, x := range all {
		if x.ID == from.ID || x.ID == r.ToBatchID || x.TankID != from.TankID || x.Archived {
			continue
		}
		if x.MadeAt.After(from.MadeAt.Time) && x.MadeAt.Before(r.StartedAt.Time) {
			return fault(Invalid, "from_batch_id", r.FromBatchID, fmt.Sprintf("its vessel held %s since %s: two batches in one tank",
				x.Code, x.MadeAt.Format("2006-01-02 15:04")), "choose "+x.Code+", or correct a time or the tank of one of them")
		}
	}
	return nil
}

func moveWarnings(r *Move, from *Batch) []Warning {
	var ws []Warning
	if !from.MadeAt.IsZero() && r.StartedAt.Before(from.MadeAt.Time) {
		ws = append(ws, Warning{"started_at", r.StartedAt.Format(time.RFC3339), "is before " + from.Code + " was made", "check the device's clock and the batch"})
	}
	if r.VolumeHL != nil && r.FlowHLH != nil && *r.FlowHLH > 0 && !r.EndedAt.IsZero() {
		hours, want := r.EndedAt.Sub(r.StartedAt.Time).Hours(), *r.VolumeHL / *r.FlowHLH
		if hours > 0 && (want > 3*hours || want < hours/3) {
			ws = append(ws, Warning{"flow_hl_h", *r.FlowHLH, fmt.Sprintf("%.4g hL in %s make %.3g hL/h", *r.VolumeHL, span(r.EndedAt.Sub(r.StartedAt.Time)), *r.VolumeHL/hours),
				"check flow, volume and times"})
		}
	}
	return ws
}

// batchRules refuses a second batch in a tank from which the first still flowed
// later, and asks about one that was never said to be empty.
func (b *batch) batchRules(ctx context.Context, r *Batch) ([]Warning, error) {
	if r.Archived || r.TankID == "" {
		return nil, nil
	}
	ws, err := b.fits(ctx, r)
	if err != nil || r.MadeAt.IsZero() {
		return ws, err
	}
	all, err := b.allBatches(ctx)
	if err != nil {
		return nil, err
	}
	var before []*Batch
	for _, x := range all {
		if x.ID != r.ID && x.TankID == r.TankID && !x.Archived && !x.MadeAt.IsZero() && x.MadeAt.Before(r.MadeAt.Time) {
			before = append(before, x)
		}
	}
	if len(before) == 0 {
		return ws, nil
	}
	moves, err := b.allMoves(ctx)
	if err != nil {
		return nil, err
	}
	last := slices.MaxFunc(before, func(a, b *Batch) int { return a.MadeAt.Compare(b.MadeAt.Time) })
	gone := last.Status == "empty"
	for _, m := range moves {
		if m.FromBatchID != last.ID {
			continue
		}
		gone = true
		if m.ToBatchID != r.ID && m.ToBatchID != last.ID && m.StartedAt.After(r.MadeAt.Time) {
			return nil, fault(Invalid, "made_at", r.MadeAt.Format(time.RFC3339), fmt.Sprintf("%s was still in this tank: a move out of it began %s", last.Code,
				m.StartedAt.Format("2006-01-02 15:04")), "correct a time or the tank of one of them")
		}
	}
	if !gone && r.Status != "empty" {
		ws = append(ws, Warning{"tank_id", r.TankID, "by the records " + last.Code + " is still in this tank", "mark it empty, or record where it went"})
	}
	return ws, nil
}

// fits asks about a batch larger than its tank.
func (b *batch) fits(ctx context.Context, r *Batch) ([]Warning, error) {
	if r.VolumeHL == nil {
		return nil, nil
	}
	t, err := lookup[Tank](ctx, b, KindTanks, r.TankID)
	if err != nil || t.VolumeHL == nil || *r.VolumeHL <= *t.VolumeHL*(1+volumeSlack) {
		return nil, err
	}
	return []Warning{{"volume_hl", *r.VolumeHL, fmt.Sprintf("%s takes %.4g hL", t.Name, *t.VolumeHL), "check the volume and its unit"}}, nil
}

func (b *batch) readingRules(ctx context.Context, r, prev *Reading) ([]Warning, error) {
	if prev != nil {
		if err := explained(r.Base(), "reading"); err != nil {
			return nil, err
		}
	}
	c := &checker{}
	if r.MeterID != "" {
		m, err := lookup[Instrument](ctx, b, KindInstruments, r.MeterID)
		if err != nil {
			return nil, err
		}
		if m.InstrumentKind != "do_meter" {
			c.add("meter_id", r.MeterID, m.Name+" is no DO meter", "choose the meter that was read")
		}
	}
	if r.BrewID != "" {
		x, err := lookup[Brew](ctx, b, KindBrews, r.BrewID)
		if err != nil {
			return nil, err
		}
		if x.BatchID != r.BatchID {
			c.add("brew_id", r.BrewID, x.Code+" went into another batch", "choose its batch, or another brew")
		}
	}
	ws := plausibleReading(r)
	if r.MoveID != "" {
		m, err := lookup[Move](ctx, b, KindMoves, r.MoveID)
		if err != nil {
			return nil, err
		}
		if r.BatchID != m.FromBatchID && r.BatchID != m.ToBatchID {
			c.add("move_id", r.MoveID, "this move is of other batches", "choose a batch that it left or filled, or another move")
		}
		if slices.Contains(pointsOnTheWay, r.Point) && (r.At.Before(m.StartedAt.Add(-askAroundMove)) || !m.EndedAt.IsZero() && r.At.After(m.EndedAt.Add(askAroundMove))) {
			ws = append(ws, Warning{"at", r.At.Format(time.RFC3339), "is not within the move it belongs to", "check the time and the move"})
		}
	}
	if err := c.err(); err != nil {
		return nil, err
	}
	x, err := b.liquid(ctx, r.BatchID)
	if err == nil && !x.MadeAt.IsZero() && r.At.Before(x.MadeAt.Add(-maxSkew)) && r.Point != "wort_cooled" {
		ws = append(ws, Warning{"at", r.At.Format(time.RFC3339), "is before " + x.Code + " was made", "check the time and the batch"})
	}
	return ws, err
}

// plausibleReading questions what is possible but odd in a reading.
func plausibleReading(r *Reading) []Warning {
	var ws []Warning
	if v := r.DOPpb; v != nil && (r.Point == "wort_oxygenated" || r.Point == "wort_cooled") {
		switch mgL := *v / 1000; {
		case mgL > askWortHighMgL, r.Point == "wort_oxygenated" && mgL < askWortLowMgL:
			ws = append(ws, Warning{"do_ppb", *v, fmt.Sprintf("%.3g mg/L in wort; readings here are usually %d to %d mg/L", mgL, askWortLowMgL, askWortHighMgL),
				"check the unit: do_ppb is in ppb, 9.5 mg/L is 9500"})
		case mgL < 0.05:
			ws = append(ws, Warning{"do_ppb", *v, fmt.Sprintf("%.3g mg/L in wort", mgL), "check the unit: do_ppb is in ppb, 0.5 mg/L is 500"})
		}
	}
	if v := r.TemperatureC; v != nil && (*v < askTempLowC || *v > askTempHighC) {
		ws = append(ws, Warning{"temperature_c", *v, "unusual here, in °C", "check the unit: is it °F?"})
	}
	if v := r.GasO2Pct; v != nil && *v > 21 {
		ws = append(ws, Warning{"gas_o2_pct", *v, "is more than air holds", "check the unit: 300 ppm are 0.03 %"})
	}
	return ws
}

// explained wants who and why of a correction.
func explained(m *Meta, what string) error {
	c := &checker{}
	if m.Reason == "" {
		c.add("reason", nil, "is missing", "say why the "+what+" is corrected")
	}
	if m.By == "" {
		c.add("by", nil, "is missing", "say who corrects the "+what)
	}
	return c.err()
}
