package lab

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"sort"

	"ullage/core/calc"
)

// BuyNext is what a better instrument or weighing would buy this brewery.
type BuyNext struct {
	Result      calc.BuyResult   `json:"result"`
	Packages    []UsualPackage   `json:"packages"`
	Instruments []UsedInstrument `json:"instruments"`
	Assumed     []string         `json:"assumed" doc:"what no record says, so that the usual uncertainty stands"`
}

// UsualPackage is a usual package of a format: the one with the median TPO of the
// newest run that has some.
type UsualPackage struct {
	ID       string `json:"id" doc:"its name in result"`
	FormatID string `json:"format_id"`
	RunID    string `json:"run_id"`
	From     string `json:"from"`
}

// UsedInstrument is an instrument that those packages were measured with.
type UsedInstrument struct {
	Kind string      `json:"kind"`
	ID   string      `json:"id"`
	Name string      `json:"name"`
	U    InstrumentU `json:"u"`
}

// buyLook is how many of the newest runs of a format are searched for a usual package.
const buyLook = 5

// BuyNext takes a usual package of each format that was filled, with the
// instruments as they stand today, and tries what could be bought or done.
func (s *Service) BuyNext(ctx context.Context) (*BuyNext, error) {
	if err := s.May(ctx, DoJudge); err != nil {
		return nil, err
	}
	out := &BuyNext{Packages: []UsualPackage{}, Instruments: []UsedInstrument{}, Assumed: []string{}}
	formats, err := records[Format](ctx, s, Query{Kind: KindFormats})
	if err != nil {
		return nil, err
	}
	runs, err := records[Run](ctx, s, Query{Kind: KindRuns})
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(runs, func(a, b *Run) int { return b.StartedAt.Compare(a.StartedAt.Time) })
	var now, renewed calc.BuyNextInput
	used := map[string]*Instrument{}
	assumed := map[string]bool{}
	for _, f := range formats {
		row, run, err := s.usualPackage(ctx, f, runs)
		if err != nil {
			return nil, err
		}
		if row == nil {
			assumed[f.Name+": no shaken package on record, so it is not counted"] = true
			continue
		}
		out.Packages = append(out.Packages, UsualPackage{ID: row.ID, FormatID: f.ID, RunID: run.ID, From: fmt.Sprintf("median package of run %d, %s", run.Number, run.StartedAt.Format("2006-01-02"))})
		fresh := *row
		if err := s.errorsToday(ctx, run, row, &fresh, used, assumed); err != nil {
			return nil, err
		}
		now.Rows, renewed.Rows = append(now.Rows, *row), append(renewed.Rows, fresh)
	}
	if len(now.Rows) == 0 {
		return nil, fault(Invalid, "packages", nil, "no shaken package with TPO is on record", "enter a run first; what to buy depends on your packages")
	}
	if err := out.try(&now, &renewed); err != nil {
		return nil, err
	}
	return out, s.buyInstruments(ctx, out, used, assumed)
}

// usualPackage is the package with the median TPO of the newest run of a format.
func (s *Service) usualPackage(ctx context.Context, f *Format, runs []*Run) (*calc.PackageRow, *Run, error) {
	looked := 0
	for _, run := range runs {
		if run.FormatID != f.ID || looked >= buyLook {
			continue
		}
		looked++
		samples, err := records[Sample](ctx, s, Query{Kind: KindSamples, RunID: run.ID})
		if err != nil {
			return nil, nil, err
		}
		samples = slices.DeleteFunc(samples, func(x *Sample) bool {
			r := x.ByMethod(Calculated)
			return x.SampleKind != "shaken" || r == nil || *r.TPOPpb < 1
		})
		if len(samples) == 0 {
			continue
		}
		slices.SortStableFunc(samples, func(a, b *Sample) int {
			return cmp.Compare(*a.ByMethod(Calculated).TPOPpb, *b.ByMethod(Calculated).TPOPpb)
		})
		return &calc.PackageRow{ID: f.Name, Package: *tpoInput(samples[len(samples)/2], run)}, run, nil
	}
	return nil, nil, nil
}

// errorsToday puts the errors of the run's instruments into a package as they
// stand today, and into fresh as they would with new sensors.
func (s *Service) errorsToday(ctx context.Context, run *Run, row, fresh *calc.PackageRow, used map[string]*Instrument, assumed map[string]bool) error {
	b := &batch{svc: s, at: s.now()}
	today := *run
	today.StartedAt, today.InForce.Instruments = At(s.now()), ErrorsInForce{}
	if err := b.instrumentsInForce(ctx, &today); err != nil {
		return err
	}
	in := today.InForce.Instruments
	in.of(&row.Package)
	fresh.Package.U, fresh.Package.UNames = maps.Clone(row.Package.U), row.Package.UNames
	for _, x := range []struct {
		id, what string
		known    bool
	}{{run.DOMeterID, "DO meter", in.DOMeter != nil}, {run.ScaleID, "scale", in.Scale != nil}, {run.ThermometerID, "thermometer", in.Thermometer != nil}} {
		if !x.known {
			assumed[x.what+": the usual uncertainty, where a run names none or its record says nothing"] = true
		}
		if x.id == "" || used[x.id] != nil {
			continue
		}
		i, err := read[Instrument](ctx, s.Store, KindInstruments, x.id)
		if err != nil {
			return err
		}
		used[x.id] = i
	}
	if m := used[run.DOMeterID]; m != nil && in.DOMeter != nil && numOr(m.UDrift, 0) > 0 {
		u, _ := m.constant(0)
		e := ErrorInForce{UAbs: &u, URel: m.URel}
		fresh.Package.U["meter"] = e.At(float64(*row.Package.ShakenDO))
	}
	return nil
}

// try runs the calculation, and adds what new sensors would buy.
func (out *BuyNext) try(now, renewed *calc.BuyNextInput) error {
	a, err := calc.BuyNext(now)
	if err != nil {
		return ofCalculation(err)
	}
	out.Result = a.Result.(calc.BuyResult)
	b, err := calc.BuyNext(renewed)
	if err != nil {
		return ofCalculation(err)
	}
	with := b.Result.(calc.BuyResult)
	option := calc.BuyOption{What: "a check today, or a new sensor: the drift since the last pass gone", Kind: "work", HalfMean: with.HalfMean, Mean: out.Result.HalfMean - with.HalfMean}
	for i, p := range out.Result.Packages {
		gain := p.Half - with.Packages[i].Half
		if gain <= 0.05 {
			continue
		}
		option.Applies++
		option.Gains = append(option.Gains, calc.BuyGain{ID: p.ID, Gain: gain, U: with.Packages[i].U})
		if gain > option.Largest {
			option.Largest, option.For = gain, p.ID
		}
	}
	if option.Applies > 0 {
		out.Result.Options = append(out.Result.Options, option)
		sort.SliceStable(out.Result.Options, func(i, j int) bool { return out.Result.Options[i].Mean > out.Result.Options[j].Mean })
	}
	return nil
}

func (s *Service) buyInstruments(ctx context.Context, out *BuyNext, used map[string]*Instrument, assumed map[string]bool) error {
	checks, err := records[MeterCheck](ctx, s, Query{Kind: KindMeterChecks})
	if err != nil {
		return err
	}
	for _, id := range slices.Sorted(maps.Keys(used)) {
		i := used[id]
		out.Instruments = append(out.Instruments, UsedInstrument{Kind: i.InstrumentKind, ID: id, Name: i.Name, U: i.uncertainty(checks, At(s.now()))})
	}
	out.Assumed = append(out.Assumed, slices.Sorted(maps.Keys(assumed))...)
	return nil
}
