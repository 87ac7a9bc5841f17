package lab

import (
	"context"
	"reflect"
	"slices"
	"time"
)

// takeSnapshot fills what the client left empty in a new run's in_force from
// beer, format, lot and limits as they stand now.
func (b *batch) takeSnapshot(ctx context.Context, r *Run) error {
	f := &r.InForce
	beer, err := lookup[Beer](ctx, b, KindBeers, r.BeerID)
	if err != nil {
		return err
	}
	format, err := lookup[Format](ctx, b, KindFormats, r.FormatID)
	if err != nil {
		return err
	}
	fill(&f.SG, beer.SG)
	fill(&f.ABVPct, beer.ABVPct)
	fill(&f.CO2Vol, beer.CO2Vol)
	f.YeastInPackage = f.YeastInPackage || beer.YeastInPackage
	fill(&f.NominalML, format.NominalML)
	if f.Package == "" {
		f.Package = format.PackageKind
	}
	lot, err := b.lotInForce(ctx, r)
	if err != nil {
		return err
	}
	if lot != nil {
		r.FormatLotID = lot.ID
		f.fromLot(lot)
	}
	if f.Limits == nil {
		if f.Limits, err = b.limitsInForce(ctx, r); err != nil {
			return err
		}
	}
	if f.TPOBy == "" {
		sets, err := everything[RuleSet](ctx, b, KindRules)
		if err != nil {
			return err
		}
		rules := ruleSetFor(slices.DeleteFunc(sets, func(s *RuleSet) bool { return s.Archived }), r.BeerID, r.FormatID)
		f.TPOBy = rules.TPOBy
	}
	if err := b.instrumentsInForce(ctx, r); err != nil {
		return err
	}
	return b.standInForce(ctx, r)
}

// keepSnapshot keeps what a device left out of a run's snapshot, and takes it
// again where an instrument or the stand-in was corrected.
func (b *batch) keepSnapshot(ctx context.Context, r, prev *Run) error {
	f, was := &r.InForce, &prev.InForce
	if f.Instruments == (ErrorsInForce{}) {
		f.Instruments = was.Instruments
	}
	f.StandIn = was.StandIn
	bare := *f
	bare.Instruments, bare.StandIn = ErrorsInForce{}, nil
	if reflect.DeepEqual(bare, InForce{}) {
		kept := *was
		kept.Instruments = f.Instruments
		*f = kept
	}
	if f.Instruments.forget(r) {
		if err := b.instrumentsInForce(ctx, r); err != nil {
			return err
		}
	}
	if r.StandIn != prev.StandIn || r.StandInStudyID != prev.StandInStudyID {
		return b.standInForce(ctx, r)
	}
	return nil
}

func (f *InForce) fromLot(lot *FormatLot) {
	if f.TareG == nil {
		f.TareG, f.TareSDG = lot.TareG, lot.TareSDG
	}
	if f.CapacityML == nil {
		f.CapacityML, f.CapacitySDML, f.CapacitySource = lot.CapacityML, lot.CapacitySDML, lot.CapacitySource
	}
	if f.NeckGapMM == nil {
		f.NeckGapMM, f.NeckHeadspaceML, f.NeckMLPerMM = lot.NeckGapMM, lot.NeckHeadspaceML, lot.NeckMLPerMM
	}
}

func fill(dst **float64, src *float64) {
	if *dst == nil {
		*dst = src
	}
}

func lookup[T any](ctx context.Context, b *batch, k Kind, id string) (*T, error) {
	if v, ok := any(b.pending[key(k, id)]).(*T); ok {
		return v, nil
	}
	return read[T](ctx, b.svc.Store, k, id)
}

// lotInForce is the lot the run names, else the newest of its format whose
// date is not after the start.
func (b *batch) lotInForce(ctx context.Context, r *Run) (*FormatLot, error) {
	if r.FormatLotID != "" {
		lot, err := lookup[FormatLot](ctx, b, KindFormatLots, r.FormatLotID)
		if err == nil && lot.FormatID != r.FormatID {
			return nil, fault(Invalid, "format_lot_id", r.FormatLotID, "this lot is of another format",
				"choose a lot of the run's format, or leave it empty")
		}
		return lot, err
	}
	lots, err := everything[FormatLot](ctx, b, KindFormatLots)
	if err != nil {
		return nil, err
	}
	day := r.StartedAt.Format(time.DateOnly)
	var best *FormatLot
	for _, lot := range lots {
		if lot.FormatID == r.FormatID && !lot.Archived && lot.From <= day && (best == nil || lot.From >= best.From) {
			best = lot
		}
	}
	return best, nil
}

// limitsInForce gives one limit per quantity; one for the format goes before
// one for all formats.
func (b *batch) limitsInForce(ctx context.Context, r *Run) ([]LimitInForce, error) {
	limits, err := everything[Limit](ctx, b, KindLimits)
	if err != nil {
		return nil, err
	}
	var out []LimitInForce
	for _, quantity := range []string{"tpo", "do_inlet", "do_tank"} {
		var best *Limit
		for _, l := range limits {
			if l.Archived || l.BeerID != r.BeerID || l.Quantity != quantity || (l.FormatID != "" && l.FormatID != r.FormatID) {
				continue
			}
			if best == nil || (l.FormatID != "" && best.FormatID == "") {
				best = l
			}
		}
		if best != nil {
			out = append(out, LimitInForce{quantity, best.MeanGreenPpb, best.SingleGreenPpb, best.SingleRedPpb})
		}
	}
	return out, nil
}

// everything gives all current records of a kind, those not yet stored too.
func everything[T any](ctx context.Context, b *batch, k Kind) ([]*T, error) {
	revs, err := b.svc.all(ctx, Query{Kind: k})
	if err != nil {
		return nil, err
	}
	var out []*T
	for _, rev := range revs {
		if b.pending[key(k, rev.ID)] != nil {
			continue
		}
		v, err := parse[T](rev)
		if err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	for _, r := range b.pending {
		if v, ok := any(r).(*T); ok {
			out = append(out, v)
		}
	}
	return out, nil
}

// snapshotWarnings says what the run's results will lack.
func snapshotWarnings(r *Run) []Warning {
	var ws []Warning
	if r.InForce.SG == nil {
		ws = append(ws, Warning{Field: "in_force.sg", Message: "the beer has no specific gravity: weights cannot become volumes",
			Mend: "enter it on the beer, or here"})
	}
	if r.InForce.CapacityML == nil {
		ws = append(ws, Warning{Field: "in_force.capacity_ml", Message: "no capacity is in force for this format: no TPO without it",
			Mend: "enter a lot with its measured capacity"})
	}
	if r.InForce.TareG == nil {
		ws = append(ws, Warning{Field: "in_force.tare_g", Message: "no tare is in force for this format",
			Mend: "weigh empty packages, or weigh each sample's own"})
	}
	return ws
}
