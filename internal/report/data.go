package report

import (
	"cmp"
	"context"
	"encoding/json"
	"slices"
	"strconv"
	"strings"
	"time"

	"ullage/core/verdict"
	"ullage/internal/lab"
)

// notRecorded stands where the records are silent.
const notRecorded = "not recorded"

// Data is one run with everything its papers need. Pointers are nil where the
// run names no such record.
type Data struct {
	Brewery     lab.Brewery
	Zone        *time.Location // of the brewery; never nil
	Run         lab.Run
	Beer        lab.Beer
	Format      lab.Format
	Line        lab.Line
	Lot         *lab.FormatLot
	Batch       *lab.Batch
	Tank        *lab.Tank
	Readings    []*lab.Reading // of the batch, in the cellar
	Meter       *lab.Instrument
	Scale       *lab.Instrument
	Thermometer *lab.Instrument
	// Direct is the instrument that reads TPO directly, with its checks.
	Direct       *lab.Instrument
	DirectChecks []*lab.MeterCheck
	People       map[string]string // id → name
	Samples      []lab.Sample      // in order of closing; archived ones left out
	Events       []lab.Event       // in order
	Checks       []*lab.MeterCheck // every one of the meter on record, oldest first
	Rules        lab.RuleSet       // how its limits are applied
	Decisions    []Decision        // on the lot, oldest first
	Previous     *Data             // the run of this beer and format before; its own Previous is nil

	judged *Judgement
}

// Decision is a person's word on the lot: release, conditional or hold, from a
// record of it or from the state of the run.
type Decision struct {
	Word, Reason, By string
	Condition        string        // of a conditional release
	Held             []lab.LotSpan // that stay on hold, whatever the word
	At               time.Time
	ofRun            bool // from the state of the run, not from a record of the decision
}

// at is when a package was closed, or read where that is not known.
func at(s *lab.Sample) time.Time {
	if !s.ClosedAt.IsZero() {
		return s.ClosedAt.Time
	}
	return s.TakenAt.Time
}

// person is a name for an id; what is no id of the people is a name already.
func (d *Data) person(id string) string {
	return cmp.Or(d.People[id], id, notRecorded)
}

// get reads one record, and takes the absence of an id for the absence of it.
func get[T any](ctx context.Context, s *lab.Service, k lab.Kind, id string) (*T, error) {
	if id == "" {
		return nil, nil
	}
	body, err := s.Get(ctx, k, id)
	if err != nil {
		return nil, err
	}
	v := new(T)
	return v, json.Unmarshal(body, v)
}

// list reads every current record of a kind.
func list[T any](ctx context.Context, s *lab.Service, k lab.Kind) ([]T, error) {
	var out []T
	q := lab.Query{Kind: k, Limit: lab.MaxPage}
	for {
		page, err := s.List(ctx, q)
		if err != nil {
			return nil, err
		}
		part, err := decode[T](page.Records)
		if err != nil {
			return nil, err
		}
		out = append(out, part...)
		if page.Next == "" {
			return out, nil
		}
		q.After = page.Next
	}
}

func decode[T any](bodies []json.RawMessage) ([]T, error) {
	out := make([]T, len(bodies))
	for i, b := range bodies {
		if err := json.Unmarshal(b, &out[i]); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// FindRun gives the id of a run from its short number, its id, or the code on
// its packages.
func FindRun(ctx context.Context, s *lab.Service, ref string) (string, error) {
	runs, err := list[lab.Run](ctx, s, lab.KindRuns)
	if err != nil {
		return "", err
	}
	number, _ := strconv.Atoi(strings.TrimPrefix(ref, "#"))
	var byCode []string
	for _, r := range runs {
		if r.ID == ref || number > 0 && r.Number == number {
			return r.ID, nil
		}
		if r.Code != "" && strings.EqualFold(r.Code, ref) {
			byCode = append(byCode, r.ID)
		}
	}
	if len(byCode) == 1 {
		return byCode[0], nil
	}
	if len(byCode) > 1 {
		return "", wrong("run", ref, "is the code of several runs", "give the run's number")
	}
	return "", &lab.Error{Class: lab.NotFound, Faults: []lab.Fault{{Field: "run", Value: ref,
		Message: "there is no such run", Mend: "give a run's number, or the code printed on its packages"}}}
}

// FindNamed gives the id of a record from its name, whole or the part of it that
// names one alone, or from its id. An empty ref stays empty.
func FindNamed(ctx context.Context, s *lab.Service, k lab.Kind, ref string) (string, error) {
	if ref == "" {
		return "", nil
	}
	all, err := list[struct {
		ID       string `json:"id"`
		Name     string `json:"name"`
		Archived bool   `json:"archived"`
	}](ctx, s, k)
	if err != nil {
		return "", err
	}
	var part []string
	for _, r := range all {
		if r.ID == ref || strings.EqualFold(r.Name, ref) {
			return r.ID, nil
		}
		if !r.Archived && strings.Contains(strings.ToLower(r.Name), strings.ToLower(ref)) {
			part = append(part, r.ID)
		}
	}
	if len(part) == 1 {
		return part[0], nil
	}
	message := "names none of them"
	if len(part) > 1 {
		message = "is in the names of several"
	}
	return "", &lab.Error{Class: lab.NotFound, Faults: []lab.Fault{{Field: "name", Value: ref, Message: message, Mend: "give the whole name, as the app shows it"}}}
}

func wrong(field string, value any, message, mend string) error {
	return &lab.Error{Class: lab.Invalid, Faults: []lab.Fault{{Field: field, Value: value, Message: message, Mend: mend}}}
}

// reader keeps what several runs share.
type reader struct {
	lab     *lab.Service
	brewery lab.Brewery
	zone    *time.Location
	people  map[string]string
}

func newReader(ctx context.Context, s *lab.Service) (*reader, error) {
	r := &reader{lab: s, zone: time.UTC, people: map[string]string{}}
	b, err := get[lab.Brewery](ctx, s, lab.KindBrewery, lab.BreweryID)
	switch {
	case err == nil:
		r.brewery = *b
	case lab.ClassOf(err) != lab.NotFound:
		return nil, err
	}
	if z := r.brewery.TimeZone; z != "" {
		if r.zone, err = time.LoadLocation(z); err != nil {
			return nil, wrong("time_zone", z, "is not known on this machine", "correct the brewery's time zone")
		}
	}
	people, err := list[lab.Person](ctx, s, lab.KindPeople)
	if err != nil {
		return nil, err
	}
	for _, p := range people {
		r.people[p.ID] = p.Name
	}
	return r, nil
}

// run reads one run with what it names.
func (r *reader) run(ctx context.Context, id string) (*Data, error) {
	d := &Data{Brewery: r.brewery, Zone: r.zone, People: r.people}
	view, err := r.lab.View(ctx, id)
	if err != nil {
		return nil, err
	}
	if err := json.Unmarshal(view.Run, &d.Run); err != nil {
		return nil, err
	}
	if d.Samples, err = decode[lab.Sample](view.Samples); err != nil {
		return nil, err
	}
	if d.Events, err = decode[lab.Event](view.Events); err != nil {
		return nil, err
	}
	d.order()
	if err := r.named(ctx, d); err != nil {
		return nil, err
	}
	return d, r.judged(ctx, d)
}

func (d *Data) order() {
	d.Samples = slices.DeleteFunc(d.Samples, func(s lab.Sample) bool { return s.Archived })
	d.Events = slices.DeleteFunc(d.Events, func(e lab.Event) bool { return e.Archived })
	slices.SortStableFunc(d.Samples, func(a, b lab.Sample) int { return cmp.Or(at(&a).Compare(at(&b)), cmp.Compare(a.ID, b.ID)) })
	slices.SortStableFunc(d.Events, func(a, b lab.Event) int { return cmp.Or(a.At.Compare(b.At.Time), cmp.Compare(a.ID, b.ID)) })
}

// named reads the records that a run points at.
func (r *reader) named(ctx context.Context, d *Data) error {
	beer, err := get[lab.Beer](ctx, r.lab, lab.KindBeers, d.Run.BeerID)
	if err != nil {
		return err
	}
	format, err := get[lab.Format](ctx, r.lab, lab.KindFormats, d.Run.FormatID)
	if err != nil {
		return err
	}
	line, err := get[lab.Line](ctx, r.lab, lab.KindLines, d.Run.LineID)
	if err != nil {
		return err
	}
	d.Beer, d.Format, d.Line = deref(beer), deref(format), deref(line)
	if d.Lot, err = get[lab.FormatLot](ctx, r.lab, lab.KindFormatLots, d.Run.FormatLotID); err != nil {
		return err
	}
	if d.Batch, err = get[lab.Batch](ctx, r.lab, lab.KindBatches, d.Run.BatchID); err != nil {
		return err
	}
	if d.Batch != nil {
		if d.Tank, err = get[lab.Tank](ctx, r.lab, lab.KindTanks, d.Batch.TankID); err != nil {
			return err
		}
	}
	for _, x := range []struct {
		id   string
		into **lab.Instrument
	}{{d.Run.DOMeterID, &d.Meter}, {d.Run.ScaleID, &d.Scale}, {d.Run.ThermometerID, &d.Thermometer}, {d.Run.TPOMeterID, &d.Direct}} {
		if *x.into, err = get[lab.Instrument](ctx, r.lab, lab.KindInstruments, x.id); err != nil {
			return err
		}
	}
	return nil
}

func deref[T any](p *T) (v T) {
	if p != nil {
		v = *p
	}
	return v
}

// judged reads what a judgement needs beside the readings, and what was decided.
func (r *reader) judged(ctx context.Context, d *Data) error {
	records, err := r.lab.RunRecords(ctx, d.Run.ID)
	if err != nil {
		return err
	}
	d.Checks, d.Rules, d.Readings = records.Checks, records.Rules, records.Readings
	d.DirectChecks = records.DirectChecks
	slices.SortStableFunc(d.DirectChecks, func(a, b *lab.MeterCheck) int { return a.At.Compare(b.At.Time) })
	slices.SortStableFunc(d.Checks, func(a, b *lab.MeterCheck) int { return a.At.Compare(b.At.Time) })
	page, err := r.lab.List(ctx, lab.Query{Kind: lab.KindDecisions, RunID: d.Run.ID, Limit: lab.MaxPage})
	if err != nil {
		return err
	}
	words, err := decode[lab.LotDecision](page.Records)
	if err != nil {
		return err
	}
	for _, x := range words {
		if !x.Archived {
			d.Decisions = append(d.Decisions, Decision{x.Decision, x.Why, x.By, x.Condition, x.Held, written(&x.Meta), false})
		}
	}
	bodies, err := r.lab.Revisions(ctx, lab.KindRuns, d.Run.ID)
	if err != nil {
		return err
	}
	revs, err := decode[lab.Run](bodies)
	if err != nil {
		return err
	}
	var before lab.Hold
	for _, v := range revs {
		word := map[string]string{"held": verdict.Hold, "released": verdict.Release}[v.Hold.State]
		said := slices.ContainsFunc(d.Decisions, func(x Decision) bool { return x.Word == word && x.Reason == v.Hold.Reason })
		if v.Hold != before && word != "" && !said {
			d.Decisions = append(d.Decisions, Decision{Word: word, Reason: v.Hold.Reason, By: v.By, At: written(&v.Meta), ofRun: true})
		}
		before = v.Hold
	}
	slices.SortStableFunc(d.Decisions, func(a, b Decision) int { return a.At.Compare(b.At) })
	return nil
}

// written is when a revision was made: by the device, else by the server.
func written(m *lab.Meta) time.Time {
	if !m.DeviceAt.IsZero() {
		return m.DeviceAt.Time
	}
	return m.ServerAt.Time
}

// ReadRun reads a run and, where there is one, the run of the same beer and
// format before it.
func ReadRun(ctx context.Context, s *lab.Service, id string) (*Data, error) {
	r, err := newReader(ctx, s)
	if err != nil {
		return nil, err
	}
	d, err := r.run(ctx, id)
	if err != nil {
		return nil, err
	}
	runs, err := list[lab.Run](ctx, s, lab.KindRuns)
	if err != nil {
		return nil, err
	}
	var before *lab.Run
	for i := range runs {
		o := &runs[i]
		if o.BeerID == d.Run.BeerID && o.FormatID == d.Run.FormatID && !o.Archived && o.StartedAt.Before(d.Run.StartedAt.Time) &&
			(before == nil || o.StartedAt.After(before.StartedAt.Time)) {
			before = o
		}
	}
	if before != nil {
		d.Previous, err = r.run(ctx, before.ID)
	}
	return d, err
}
