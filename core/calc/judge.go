package calc

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"

	"ullage/core/quantity"
	"ullage/core/verdict"
)

// maxJudgeRows is the most rows one judgement takes.
const maxJudgeRows = 20_000

// JudgeInput is a run to judge: rows as of `ullage judge`, and what is known
// beside them.
type JudgeInput struct {
	Limit       *quantity.TPO              `json:"limit_ppb" help:"limit of the mean TPO; 120, a starting point, when not said"`
	SingleLimit *quantity.TPO              `json:"single_limit_ppb" help:"no package may be confirmed above it; scaled from the other when not said"`
	Rules       only[verdict.Rules]        `json:"rules" help:"every limit and rule by its name, as the judgement shows them; what is left out takes its starting point"`
	Meter       only[verdict.Meter]        `json:"meter" help:"before and after (passed or failed), offset_ppb, offset_u_ppb, u_rel"`
	Checks      only[[]verdict.MeterCheck] `json:"meter_checks" help:"instead of before and after: every check of the meter on record, a list of at, outcome (passed or failed), against (zero, air, response, meter or other), offset_ppb, offset_u_ppb"`
	CheckDays   float64                    `json:"check_every_days" help:"how long a check is good for; 7 when not said"`
	// Of the instrument that reads TPO directly, as of the DO meter.
	Direct     only[verdict.Meter]        `json:"direct_meter" help:"the instrument that reads TPO directly: before and after, offset_ppb, offset_u_ppb, u_rel"`
	DirectList only[[]verdict.MeterCheck] `json:"direct_meter_checks" help:"instead: every check of it on record, as meter_checks"`
	DirectDays float64                    `json:"direct_check_every_days" help:"how long its check is good for; 7 when not said"`
	Counts     string                     `json:"tpo_by" help:"which TPO counts where a package has both: direct when not said"`

	Line only[verdict.Line] `json:"line" help:"heads, packages_per_min, packages_per_pallet"`
	Rows []json.RawMessage  `json:"rows" need:"yes" help:"list of objects: the fields of tpo, or tpo_ppb as computed, direct_ppb where TPO was read directly, with taken_at, closed_at, head, station, event"`
}

// only is a T that refuses a field it does not have.
type only[T any] struct{ is T }

func (o *only[T]) UnmarshalJSON(text []byte) error {
	dec := json.NewDecoder(bytes.NewReader(text))
	dec.DisallowUnknownFields()
	return dec.Decode(&o.is)
}

// judgeRow is what a row has beside the fields of a package.
type judgeRow struct {
	ID        label            `json:"id" help:"what the package is called"`
	Taken     moment           `json:"taken_at" help:"when it was read, like 2026-03-02T07:25:00+01:00"`
	Closed    moment           `json:"closed_at" help:"when it was closed, like 2026-03-02T07:20:00+01:00"`
	Head      label            `json:"head" help:"head of the filler, a number or a word"`
	Station   label            `json:"station" help:"station of the closing machine, a number or a word"`
	Event     string           `json:"event" help:"start, stop, restart, tank_change, gas_change, adjustment or end"`
	Tank      *quantity.DO     `json:"tank_do_ppb" help:"DO of the bright tank"`
	TPO       *quantity.TPO    `json:"tpo_ppb" help:"TPO where it is known already"`
	U         float64          `json:"tpo_u_ppb" help:"its standard uncertainty, ppb"`
	Direct    *quantity.TPO    `json:"direct_ppb" help:"TPO read directly, instead of or beside the calculated one"`
	DirectU   *quantity.TPO    `json:"direct_u_ppb" help:"its standard uncertainty; the larger of 1 ppb and 2 % when not said (common practice)"`
	Beer      *quantity.Volume `json:"beer_ml" help:"volume of the beer, with tpo_ppb"`
	Factor    float64          `json:"total_to_dissolved" help:"total-to-dissolved ratio, with tpo_ppb"`
	FillKnown bool             `json:"fill_known" help:"true where the fill was measured"`
}

// label is a word or a number: the head "4" and the head 4 are one.
type label string

func (l *label) UnmarshalJSON(text []byte) error {
	var number json.Number
	if err := json.Unmarshal(text, &number); err == nil {
		*l = label(number)
		return nil
	}
	return json.Unmarshal(text, (*string)(l))
}

// moment is an RFC 3339 time; an empty text is none.
type moment struct{ time.Time }

func (m *moment) UnmarshalJSON(text []byte) error {
	var s string
	if err := json.Unmarshal(text, &s); err != nil {
		return err
	}
	if s == "" {
		return nil
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil || t.Year() < 1900 || t.Year() > 2200 {
		return &quantity.Error{Value: s, Message: "is no time with its zone (RFC 3339)", Mend: "write it like 2026-03-02T07:25:00+01:00"}
	}
	m.Time = t
	return nil
}

// rowReader turns rows into a run.
type rowReader struct {
	by   string // TPOBy
	eval Evaluator
	own  []Field // of judgeRow
	tpo  []Field // of a package, none needed
	out  verdict.Input
}

func judge(in *JudgeInput) (Answer, error) {
	if len(in.Rows) > maxJudgeRows {
		return Answer{}, refuse("rows", float64(len(in.Rows)), fmt.Sprintf("rows are more than %d", maxJudgeRows), "judge one run at a time")
	}
	if in.Counts != "" && in.Counts != CountsDirect && in.Counts != CountsCalculated {
		return Answer{}, &quantity.Error{Field: "tpo_by", Value: in.Counts, Message: "is not one of the choices", Mend: "use direct or calculated"}
	}
	r := &rowReader{by: in.Counts, own: fieldsOf(reflect.TypeFor[judgeRow]()), tpo: fieldsOf(reflect.TypeFor[TPOInput]())}
	for i := range r.tpo {
		r.tpo[i].Required = false
	}
	for i, row := range in.Rows {
		if err := r.row(row); err != nil {
			return Answer{}, inRow(i, err)
		}
	}
	rules, err := in.rules()
	if err != nil {
		return Answer{}, err
	}
	r.out.Line, r.out.Rules = in.Line.is, rules
	share := r.out.Meter.URel
	r.out.Meter = in.Meter.is
	if in.Meter.is.URel == 0 {
		r.out.Meter.URel = share
	}
	r.out.Meter = r.checked(r.out.Meter, in.Checks.is, in.CheckDays)
	if r.anyDirect() {
		m := r.checked(in.Direct.is, in.DirectList.is, in.DirectDays)
		r.out.DirectMeter = &m
	}
	j, err := verdict.JudgeRun(r.out)
	if err != nil {
		return Answer{}, err
	}
	answer := Answer{Result: j}
	if j.Rules.FromDefault {
		answer.Warnings = []Warning{{Code: "limits_assumed", Field: "limit_ppb", Message: "the limits are starting points from common practice", Mend: "give your own"}}
	}
	return answer, nil
}

// checked is what the checks on record say of a meter, where nobody said it
// before and after.
func (r *rowReader) checked(m verdict.Meter, checks []verdict.MeterCheck, days float64) verdict.Meter {
	if len(checks) == 0 || m != (verdict.Meter{URel: m.URel}) || len(r.out.Samples) == 0 {
		return m
	}
	first, last := span(r.out.Samples)
	u := m.URel
	m = verdict.MeterOf(checks, days, first, last)
	m.URel = u
	return m
}

func (r *rowReader) anyDirect() bool {
	return slices.ContainsFunc(r.out.Samples, func(s verdict.Sample) bool { return s.Direct })
}

// span is from the first reading to the last.
func span(list []verdict.Sample) (first, last time.Time) {
	for _, s := range list {
		t := s.Taken
		if t.IsZero() {
			t = s.Closed
		}
		if first.IsZero() || t.Before(first) {
			first = t
		}
		if t.After(last) {
			last = t
		}
	}
	return first, last
}

// rules are those given; limit_ppb and single_limit_ppb scale what is left out.
func (in *JudgeInput) rules() (verdict.Rules, error) {
	r := in.Rules.is
	for _, l := range []struct {
		field string
		q     *quantity.TPO
		into  *float64
	}{{"limit_ppb", in.Limit, &r.MeanGreen}, {"single_limit_ppb", in.SingleLimit, &r.SingleRed}} {
		if l.q == nil {
			continue
		}
		if !(*l.q > 0) {
			return r, refuse(l.field, float64(*l.q), "ppb is not above zero", "give the limit in ppb")
		}
		*l.into, r.FromDefault = float64(*l.q), false
	}
	return r, nil
}

func inRow(i int, err error) error {
	var e *quantity.Error
	if !errors.As(err, &e) {
		return err
	}
	named := *e
	named.Field = strings.TrimSuffix(fmt.Sprintf("rows[%d].%s", i, e.Field), ".")
	return &named
}

func (r *rowReader) row(text json.RawMessage) error {
	given, err := members(text)
	if err != nil {
		return err
	}
	var own, rest []member
	for _, m := range given {
		if _, _, ok := Match(r.own, m.name); ok {
			own = append(own, m)
		} else {
			rest = append(rest, m)
		}
	}
	var row judgeRow
	if err := decode(r.own, own, reflect.ValueOf(&row).Elem()); err != nil {
		return err
	}
	var in TPOInput
	if err := decode(r.tpo, rest, reflect.ValueOf(&in).Elem()); err != nil {
		return err
	}
	return r.take(&row, &in)
}

func (r *rowReader) take(row *judgeRow, in *TPOInput) error {
	s := verdict.Sample{ID: string(row.ID), Taken: row.Taken.Time, Closed: row.Closed.Time, Head: string(row.Head), Station: string(row.Station)}
	at := s.Taken
	if at.IsZero() {
		at = s.Closed
	}
	if at.IsZero() {
		return &quantity.Error{Field: "taken_at", Message: "is missing", Mend: "give the time of the row, such as 2026-03-02T07:25:00+01:00"}
	}
	event := strings.ToLower(row.Event)
	if event != "" && !slices.Contains(verdict.EventKinds, event) {
		return &quantity.Error{Field: "event", Value: event, Message: "is no event of a run", Mend: "write one of " + strings.Join(verdict.EventKinds, ", ")}
	}
	s.Tank = bare(row.Tank)
	measured := true
	switch {
	case row.TPO != nil:
		r.computed(row, in, &s)
	case in.ShakenDO != nil || in.UnshakenDO != nil || in.InletDO != nil:
		if err := r.eval.Reading(in, &s); err != nil {
			return err
		}
		if r.out.Meter.URel == 0 && s.Shaken != nil {
			r.out.Meter.URel = r.eval.MeterShare(in)
		}
	default:
		measured = s.Tank != nil || row.Direct != nil
		s.Yeast = in.Yeast
	}
	if err := TakeDirect(&s, row.Direct, row.DirectU, r.by); err != nil {
		return err
	}
	if event != "" {
		r.out.Events = append(r.out.Events, verdict.Event{Kind: event, At: at})
	}
	if measured {
		r.out.Samples = append(r.out.Samples, s)
	} else if event == "" {
		return &quantity.Error{Field: "shaken_do_ppb", Message: "is missing, and the row is no event", Mend: "give a reading or an event"}
	}
	return nil
}

// computed takes a row whose TPO was computed before.
func (r *rowReader) computed(row *judgeRow, in *TPOInput, s *verdict.Sample) {
	s.Shaken, s.Unshaken, s.Inlet, s.Yeast = bare(in.ShakenDO), bare(in.UnshakenDO), bare(in.InletDO), in.Yeast
	s.TPO, s.U, s.Factor, s.FillKnown = float64(*row.TPO), row.U, row.Factor, row.FillKnown
	if row.Beer != nil {
		s.Beer = float64(*row.Beer)
	}
	if s.Factor == 0 && in.ShakenDO != nil && *in.ShakenDO > 0 {
		s.Factor = s.TPO / float64(*in.ShakenDO)
	}
}

// Reading puts what a package's input holds into a sample of a run: its unshaken
// and inlet DO, and, where it was shaken, TPO and what belongs to it.
func (e *Evaluator) Reading(in *TPOInput, s *verdict.Sample) error {
	s.Unshaken, s.Inlet, s.Yeast = bare(in.UnshakenDO), bare(in.InletDO), in.Yeast
	for _, c := range []struct {
		name string
		v    *float64
	}{{"unshaken_do_ppb", s.Unshaken}, {"inlet_do_ppb", s.Inlet}} {
		if c.v != nil && *c.v < 0 {
			return refuse(c.name, *c.v, "ppb is below zero", "type it again, or check the zero of the meter")
		}
	}
	if s.Closed.IsZero() && in.Since != nil && !s.Taken.IsZero() {
		s.Closed = s.Taken.Add(-time.Duration(float64(*in.Since) * float64(time.Minute)))
	}
	if in.ShakenDO == nil {
		return nil
	}
	var out TPOResult
	if _, err := e.Evaluate(in, &out, nil); err != nil {
		return err
	}
	s.Shaken = bare(in.ShakenDO)
	s.TPO, s.U, s.Factor = out.TPO, out.U, out.TotalToDissolved
	s.Beer, s.FillKnown = out.Beer, out.Path != PathAssumed
	return nil
}

// MeterShare is how much of a package's uncertainty its DO meter has in common
// with all others of the run, as a relative standard uncertainty of TPO. Near
// nothing a meter knows less than that; it is then taken for 0.99, which proves
// no mean to lie below a limit near it.
func (e *Evaluator) MeterShare(in *TPOInput) float64 {
	var detail TPOResult
	if _, err := e.Detail(in, &detail); err != nil || !(detail.TPO > 0) {
		return 0
	}
	for _, c := range detail.Budget {
		if c.Key == "meter" {
			return min(max(c.U, -c.U)/detail.TPO, 0.99)
		}
	}
	return 0
}

func bare[Q ~float64](q *Q) *float64 {
	if q == nil {
		return nil
	}
	v := float64(*q)
	return &v
}
