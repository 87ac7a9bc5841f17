package demo

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"ullage/internal/lab"
)

// moment is what reaches the server at one time.
type moment struct {
	at     time.Time
	writes []write
}

type write struct {
	record lab.Record
	base   int
}

// journal gathers the writes of the whole story in any order and plays them in
// the order of their times.
type journal struct{ moments []moment }

func (j *journal) add(at time.Time, writes ...write) {
	j.moments = append(j.moments, moment{at, writes})
}

// play sends every moment with the server's clock at its time.
func (j *journal) play(ctx context.Context, store lab.Store) error {
	slices.SortStableFunc(j.moments, func(a, b moment) int { return cmp.Compare(a.at.UnixNano(), b.at.UnixNano()) })
	var clock time.Time
	service := &lab.Service{Store: store, Calc: lab.TPO, Now: func() time.Time { return clock }}
	for _, m := range j.moments {
		clock = m.at
		ws := make([]lab.Write, len(m.writes))
		for i, w := range m.writes {
			text, err := json.Marshal(w.record)
			if err != nil {
				return err
			}
			ws[i] = lab.Write{Kind: w.record.Kind(), BaseRev: w.base, Record: text}
		}
		for i, a := range service.Batch(ctx, ws) {
			if a.Err != nil {
				return fmt.Errorf("%s of the demo at %s, %s: %w", a.Kind, m.at.Format(time.RFC3339), ws[i].Record, a.Err)
			}
			if a.Status != lab.Created && a.Status != lab.Updated {
				return fmt.Errorf("%s %s of the demo is there already: fill an empty database", a.Kind, a.ID)
			}
		}
	}
	return nil
}
