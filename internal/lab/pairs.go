package lab

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"
)

// PairsQuery asks for the packages on record that were read both ways; an empty
// field asks for all.
type PairsQuery struct {
	FormatID, DOMeterID, TPOMeterID string
	From                            time.Time
}

// Pairs are packages read both ways, as rows of an agreement study.
type Pairs struct {
	Rows       []PairRow `json:"rows" doc:"the oldest first"`
	Runs       int       `json:"runs"`
	FormatIDs  []string  `json:"format_ids" doc:"packages among them"`
	DOMeterID  string    `json:"do_meter_id,omitempty" doc:"where all were read with one"`
	TPOMeterID string    `json:"tpo_meter_id,omitempty" doc:"where all were read with one"`
}

// PairRow is one of them.
type PairRow struct {
	ID          string   `json:"id"`
	Calculated  float64  `json:"calculated_ppb"`
	CalculatedU float64  `json:"calculated_u_ppb"`
	Direct      float64  `json:"direct_ppb"`
	DirectU     float64  `json:"direct_u_ppb"`
	BeerML      *float64 `json:"beer_ml,omitempty"`
	HeadspaceML *float64 `json:"headspace_ml,omitempty"`
	SampleID    string   `json:"sample_id"`
}

// Pairs finds the packages on record that were read both ways.
func (s *Service) Pairs(ctx context.Context, q PairsQuery) (*Pairs, error) {
	if err := s.May(ctx, DoJudge); err != nil {
		return nil, err
	}
	runs, err := records[Run](ctx, s, Query{Kind: KindRuns})
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(runs, func(a, b *Run) int { return b.StartedAt.Compare(a.StartedAt.Time) })
	out := &Pairs{Rows: []PairRow{}, FormatIDs: []string{}}
	meters, direct := map[string]bool{}, map[string]bool{}
	for _, r := range runs {
		if q.FormatID != "" && r.FormatID != q.FormatID || q.DOMeterID != "" && r.DOMeterID != q.DOMeterID ||
			q.TPOMeterID != "" && r.TPOMeterID != q.TPOMeterID || r.StartedAt.Before(q.From) || len(out.Rows) >= maxStudyRows {
			continue
		}
		samples, err := records[Sample](ctx, s, Query{Kind: KindSamples, RunID: r.ID})
		if err != nil {
			return nil, err
		}
		rows := pairsOf(r, samples)
		if len(rows) == 0 {
			continue
		}
		out.Rows = append(out.Rows, rows...)
		out.Runs++
		meters[r.DOMeterID], direct[r.TPOMeterID] = true, true
		if !slices.Contains(out.FormatIDs, r.FormatID) {
			out.FormatIDs = append(out.FormatIDs, r.FormatID)
		}
	}
	out.Rows = out.Rows[:min(len(out.Rows), maxStudyRows)]
	slices.Reverse(out.Rows)
	out.DOMeterID, out.TPOMeterID = onlyOne(meters), onlyOne(direct)
	return out, nil
}

// pairsOf are the packages of a run with both figures, the newest first. A
// dented or bulged one has another volume than was measured.
func pairsOf(r *Run, samples []*Sample) (rows []PairRow) {
	slices.SortStableFunc(samples, func(a, b *Sample) int {
		return cmp.Or(b.TakenAt.Compare(a.TakenAt.Time), cmp.Compare(b.ID, a.ID))
	})
	for i, x := range samples {
		c, d := x.ByMethod(Calculated), x.ByMethod(Direct)
		if c == nil || d == nil || slices.Contains(x.Flags, "dent") || slices.Contains(x.Flags, "bulged") {
			continue
		}
		name := fmt.Sprintf("run %d, %d", r.Number, len(samples)-i)
		rows = append(rows, PairRow{ID: name, Calculated: *c.TPOPpb, CalculatedU: numOr(c.TPOUPpb, 0), Direct: *d.TPOPpb, DirectU: numOr(d.TPOUPpb, 0),
			BeerML: c.BeerML, HeadspaceML: c.HeadspaceML, SampleID: x.ID})
	}
	return rows
}

func onlyOne(set map[string]bool) string {
	for k := range set {
		if len(set) == 1 {
			return k
		}
	}
	return ""
}
