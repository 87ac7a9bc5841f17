package lab

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"time"

	"ullage/core/cellar"
	"ullage/core/way"
)

// Board is the cellar as it stands: each tank with what is in it.
type Board struct {
	Now   Time      `json:"now" doc:"the server's clock"`
	Tanks []OnBoard `json:"tanks"`
}

// OnBoard is one tank: its batch, the last reading of it, and what is due.
type OnBoard struct {
	Tank     *Tank        `json:"tank"`
	Batch    *Batch       `json:"batch,omitempty" doc:"what is in it; missing: nothing, by the records"`
	BeerID   string       `json:"beer_id,omitempty"`
	Beer     string       `json:"beer,omitempty"`
	AgeDays  *float64     `json:"age_days,omitempty" doc:"since the batch was made"`
	LeftHL   *float64     `json:"left_hl,omitempty" doc:"what the moves and runs out of it leave"`
	Last     *LastReading `json:"last,omitempty" doc:"last DO reading of the batch"`
	Gas      *LastReading `json:"gas,omitempty" doc:"last reading of its gas space"`
	Readings int          `json:"readings"`
	Due      []DueReading `json:"due" doc:"what is to be read, the most urgent first"`
}

// LastReading is a reading with its age, its limit and how it stands to it.
type LastReading struct {
	Reading  *Reading `json:"reading"`
	Point    string   `json:"point"`
	DOPpb    *float64 `json:"do_ppb,omitempty"`
	UPpb     *float64 `json:"u_ppb,omitempty" doc:"standard uncertainty of the meter"`
	GasO2Pct *float64 `json:"gas_o2_pct,omitempty"`
	AgeH     float64  `json:"age_h"`
	GreenPpb *float64 `json:"green_ppb,omitempty"`
	RedPpb   *float64 `json:"red_ppb,omitempty"`
	From     string   `json:"limit_from,omitempty" doc:"own, or starting point"`
	State    string   `json:"state,omitempty" enum:"ok,watch,over"`
}

// DueReading is a reading to take, when, and why.
type DueReading struct {
	Point string `json:"point"`
	At    Time   `json:"at" doc:"when it is due; in the past: overdue"`
	Why   string `json:"why"`
}

// When readings are due, common practice.
const (
	dueEnd    = 7 * 24 * time.Hour // after the first brew, while it still ferments
	dueRested = 12 * time.Hour     // after filling
	dueHold   = 24 * time.Hour     // of a bright tank that waits
	dueKept   = 7 * 24 * time.Hour // of a fermenter that waits
)

// CellarBoard gathers the tanks, kettle side first, then fermenters and bright
// tanks, each by name.
func (s *Service) CellarBoard(ctx context.Context) (Board, error) {
	if err := s.May(ctx, DoJudge); err != nil {
		return Board{}, err
	}
	b, err := s.cellarBook(ctx)
	if err != nil {
		return Board{}, err
	}
	board := Board{Now: At(s.now()), Tanks: []OnBoard{}}
	inside := b.inTanks()
	tanks := make([]*Tank, 0, len(b.tanks))
	for _, t := range b.tanks {
		if !t.Archived {
			tanks = append(tanks, t)
		}
	}
	order := []string{"kettle_side", "fermenter", "bright_tank"}
	slices.SortFunc(tanks, func(x, y *Tank) int {
		return cmp.Or(slices.Index(order, x.TankKind)-slices.Index(order, y.TankKind), strings.Compare(x.Name, y.Name), strings.Compare(x.ID, y.ID))
	})
	var ids []string
	for _, x := range inside {
		ids = append(ids, x.ID)
	}
	runs, err := s.runsDrawn(ctx, ids)
	if err != nil {
		return board, err
	}
	for _, t := range tanks {
		row, err := s.onBoard(ctx, b, t, inside[t.ID], runs)
		if err != nil {
			return board, err
		}
		board.Tanks = append(board.Tanks, row)
	}
	return board, nil
}

// inTanks is the newest batch of each tank, unless it is empty.
func (b *cellarBook) inTanks() map[string]*Batch {
	newest := map[string]*Batch{}
	for _, x := range b.batches {
		if x.TankID == "" || x.Archived {
			continue
		}
		was := newest[x.TankID]
		if was == nil || cmp.Or(x.MadeAt.Compare(was.MadeAt.Time), strings.Compare(x.ID, was.ID)) > 0 {
			newest[x.TankID] = x
		}
	}
	for t, x := range newest {
		if x.Status == "empty" {
			delete(newest, t)
		}
	}
	return newest
}

func (s *Service) onBoard(ctx context.Context, b *cellarBook, t *Tank, x *Batch, runs []*RunRecords) (OnBoard, error) {
	row := OnBoard{Tank: t, Due: []DueReading{}}
	if x == nil {
		return row, nil
	}
	row.Batch, row.BeerID = x, x.BeerID
	if beer := b.beers[x.BeerID]; beer != nil {
		row.Beer = beer.Name
	}
	if !x.MadeAt.IsZero() {
		row.AgeDays = Num(s.now().Sub(x.MadeAt.Time).Hours() / 24)
	}
	if row.LeftHL = b.left(x); row.LeftHL != nil {
		for _, d := range runs {
			if d.Run.BatchID == x.ID {
				hl, _ := d.drawn()
				row.LeftHL = Num(max(0, *row.LeftHL-hl))
			}
		}
	}
	readings, err := records[Reading](ctx, s, Query{Kind: KindReadings, RunID: x.ID})
	if err != nil {
		return row, err
	}
	slices.SortFunc(readings, func(p, q *Reading) int { return byAt(p.At, q.At, p.ID, q.ID) })
	row.Readings = len(readings)
	for _, r := range readings {
		if r.Point == "tank_gas" {
			row.Gas = b.last(s.now(), x, r)
		} else if r.DOPpb != nil {
			row.Last = b.last(s.now(), x, r)
		}
	}
	row.Due = b.due(x, readings)
	return row, nil
}

// left is what the moves leave of a batch; nil where a volume is not known.
func (b *cellarBook) left(x *Batch) *float64 {
	if x.VolumeHL == nil {
		return nil
	}
	left := *x.VolumeHL
	for _, m := range b.moves {
		if m.FromBatchID != x.ID || m.MoveKind == "recirculation" {
			continue
		}
		if m.VolumeHL == nil {
			return nil
		}
		left -= *m.VolumeHL
	}
	return Num(max(0, left))
}

func (b *cellarBook) last(now time.Time, x *Batch, r *Reading) *LastReading {
	out := &LastReading{Reading: r, Point: r.Point, DOPpb: r.DOPpb, GasO2Pct: r.GasO2Pct, AgeH: now.Sub(r.At.Time).Hours()}
	if r.DOPpb == nil {
		return out
	}
	if u := b.meterU(r.MeterID, *r.DOPpb); u > 0 {
		out.UPpb = &u
	}
	own, _ := way.LimitsFor(b.ownLimits(), x.BeerID)
	limit, from, state := cellar.JudgeOne(r.Point, *r.DOPpb, own)
	if out.From, out.State = from, state; from != "" {
		out.GreenPpb, out.RedPpb = &limit.Green, &limit.Red
	}
	return out
}

// due is what common practice asks to be read of a batch next.
func (b *cellarBook) due(x *Batch, readings []*Reading) []DueReading {
	due := []DueReading{}
	last := map[string]Time{}
	var newest Time
	for _, r := range readings {
		last[r.Point] = r.At
		newest = r.At
	}
	// A point is not asked for once a later one was read.
	ask := func(point string, at time.Time, why string) {
		passed := false
		for p := range last {
			passed = passed || slices.Index(Points, p) >= slices.Index(Points, point) && p != "tank_gas"
		}
		if !passed {
			due = append(due, DueReading{point, At(at), why})
		}
	}
	t := b.tanks[x.TankID]
	bright := x.Status == "bright" || x.Status == "" && t != nil && t.TankKind == "bright_tank"
	filled := x.MadeAt.Time
	for _, m := range b.moves {
		if m.ToBatchID != x.ID {
			continue
		}
		if a := m.Addition; a != nil && a.What == "dry_hop" {
			if m.StartedAt.After(last["dry_hop_1h"].Time) {
				due = append(due, DueReading{"dry_hop_1h", At(m.StartedAt.Add(time.Hour)), "an hour after the dry hop"})
			}
			if m.StartedAt.After(last["dry_hop_24h"].Time) {
				due = append(due, DueReading{"dry_hop_24h", At(m.StartedAt.Add(24 * time.Hour)), "a day after the dry hop"})
			}
		}
		if m.MoveKind != "addition" && m.EndedAt.After(filled) {
			filled = m.EndedAt.Time
		}
	}
	switch {
	case x.MadeAt.IsZero():
	case bright:
		ask("tank_after", filled, "when the tank is full")
		ask("tank_rested", filled.Add(dueRested), "rested, before packaging")
		if _, rested := last["tank_rested"]; rested {
			due = append(due, DueReading{"tank_hold", At(newest.Add(dueHold)), "once a day while it waits"})
		}
	default:
		ask("wort_oxygenated", filled, "after the gas, before the yeast takes it up")
		ask("pitched_12h", filled.Add(12*time.Hour), "12 h after pitching: the yeast should have taken it up")
		ask("fermentation_end", filled.Add(dueEnd), "at the end of fermentation: the plant's own zero")
		if end, ended := last["fermentation_end"]; ended && len(due) == 0 {
			due = append(due, DueReading{"tank_before", At(latest(end, newest).Add(dueKept)), "once a week while it waits, and before a transfer"})
		}
	}
	slices.SortStableFunc(due, func(p, q DueReading) int { return p.At.Compare(q.At.Time) })
	return due
}

func latest(a, b Time) Time {
	if b.After(a.Time) {
		return b
	}
	return a
}
