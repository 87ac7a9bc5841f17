package lab

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"time"

	"ullage/core/calc"
	"ullage/core/quantity"
)

// studyVersion is of all calculations of studies; it changes when a number does,
// with a line in docs/instruments.md.
const studyVersion = "/1"

// studyRules computes a study and holds it against what being in force asks for.
func (b *batch) studyRules(ctx context.Context, r, prev *Study) ([]Warning, error) {
	result, refused := r.compute()
	r.ComputedAt = At(b.at)
	r.Method = r.calculation() + studyVersion
	if prev != nil && reflect.DeepEqual(prev.Result, r.Result) && reflect.DeepEqual(prev.Warnings, r.Warnings) {
		r.ComputedAt = prev.ComputedAt
	}
	if r.InForceFrom.IsZero() || r.Archived {
		return append([]Warning(nil), r.Warnings...), nil
	}
	if refused {
		return nil, fault(Invalid, "in_force_from", r.InForceFrom.Format(time.RFC3339), "the study has no result", "complete its rows first: "+r.Warnings[0].Message)
	}
	c := &checker{}
	switch r.StudyKind {
	case StudyAgreement:
		if prev == nil || prev.InForceFrom != r.InForceFrom {
			if err := b.svc.permit(ctx, "put an agreement study in force", []Role{RoleReview}); err != nil {
				return nil, err
			}
		}
		a := result.(calc.AgreeResult)
		if a.Verdict != calc.MayStandIn {
			c.add("in_force_from", r.InForceFrom.Format(time.RFC3339), "the study does not show that the calculated figure may stand in: "+a.Sentence, "keep it as a record, and take more pairs or mend the cause")
		}
		if len(r.FormatIDs) == 0 {
			c.add("format_ids", nil, "are missing: a study in force holds for named packages", "choose the packages that were read")
		}
	case StudyTare, StudyCapacity, StudyNeck:
		if r.FormatLotID == "" {
			c.add("format_lot_id", nil, "is missing: the figures belong to a lot of packages", "choose the lot")
		}
	}
	return append([]Warning(nil), r.Warnings...), c.err()
}

// compute runs the calculation of the study over its rows. Rows that do not
// allow a result leave a draft with the reason.
func (r *Study) compute() (result any, refused bool) {
	r.Result, r.Warnings = nil, nil
	input := map[string]any{}
	for k, v := range r.Settings {
		input[k] = v
	}
	input["rows"] = r.Rows
	if r.Rows == nil {
		input["rows"] = []any{}
	}
	text, err := json.Marshal(input)
	if err == nil {
		var a calc.Answer
		if a, err = calc.Do(r.calculation(), text); err == nil {
			if r.Result, err = json.Marshal(a.Result); err == nil {
				r.Warnings = fromCalc(a.Warnings)
				return a.Result, false
			}
		}
	}
	r.Result = nil
	r.Warnings = asWarnings(ofCalculation(err))
	return nil, true
}

func fromCalc(list []calc.Warning) []Warning {
	var ws []Warning
	for _, w := range list {
		ws = append(ws, Warning{Field: w.Field, Value: orNil(w.Value), Message: w.Message, Mend: w.Mend})
	}
	return ws
}

// ofCalculation turns a refusal of core/calc into one of a record's field.
func ofCalculation(err error) error {
	if q, ok := errors.AsType[*quantity.Error](err); ok {
		return &Error{Class: Invalid, Faults: []Fault{{Field: q.Field, Value: orNil(q.Value), Message: q.Message, Mend: q.Mend}}}
	}
	return err
}

// standInForce takes the snapshot of the study by which a run stands in, or says
// why none covers it.
func (b *batch) standInForce(ctx context.Context, r *Run) error {
	r.InForce.StandIn = nil
	if !r.StandIn {
		return nil
	}
	studies, err := everything[Study](ctx, b, KindStudies)
	if err != nil {
		return err
	}
	field, value := "stand_in", any(true)
	if r.StandInStudyID != "" {
		field, value = "stand_in_study_id", any(r.StandInStudyID)
	}
	best, err := standInStudy(studies, StandInQuery{FormatID: r.FormatID, DOMeterID: r.DOMeterID, At: r.StartedAt, StudyID: r.StandInStudyID}, field, value)
	if err != nil {
		return err
	}
	r.StandInStudyID = best.ID
	r.InForce.StandIn, err = best.standIn()
	return err
}

// StandInQuery asks for an agreement study that covers a package and a meter.
type StandInQuery struct {
	FormatID, DOMeterID, StudyID string
	At                           Time
}

// StandIn finds the newest agreement study in force that covers what is asked.
func (s *Service) StandIn(ctx context.Context, q StandInQuery) (*StandIn, error) {
	if err := s.May(ctx, DoJudge); err != nil {
		return nil, err
	}
	studies, err := records[Study](ctx, s, Query{Kind: KindStudies})
	if err != nil {
		return nil, err
	}
	if q.At.IsZero() {
		q.At = At(s.now())
	}
	best, err := standInStudy(studies, q, "stand_in", nil)
	if err != nil {
		return nil, err
	}
	return best.standIn()
}

func standInStudy(studies []*Study, q StandInQuery, field string, value any) (*Study, error) {
	var best *Study
	why := "no agreement study is in force"
	for _, x := range studies {
		if x.StudyKind != StudyAgreement || q.StudyID != "" && x.ID != q.StudyID {
			continue
		}
		if no := x.notCovering(q); no != "" {
			why = fmt.Sprintf("%q does not cover this run: %s", x.Name, no)
			continue
		}
		if best == nil || x.InForceFrom.After(best.InForceFrom.Time) {
			best = x
		}
	}
	if best == nil {
		return nil, fault(Invalid, field, value, why, "read directly, or prove the calculated figure for this package and meter in an agreement study and put it in force")
	}
	return best, nil
}

// notCovering says why a study cannot carry a run; empty where it can.
func (r *Study) notCovering(q StandInQuery) string {
	covers := len(r.FormatIDs) > 0
	if covers {
		covers = false
		for _, id := range r.FormatIDs {
			covers = covers || id == q.FormatID
		}
	}
	switch {
	case r.Archived:
		return "it was withdrawn"
	case r.InForceFrom.IsZero():
		return "it is not in force"
	case r.InForceFrom.After(q.At.Time):
		return "it is in force from " + r.InForceFrom.Format(time.DateOnly) + " on"
	case !covers:
		return "it was made with other packages"
	case r.DOMeterID != "" && r.DOMeterID != q.DOMeterID:
		return "it was made with another DO meter"
	}
	return ""
}

func (r *Study) standIn() (*StandIn, error) {
	var a calc.AgreeResult
	if err := json.Unmarshal(r.Result, &a); err != nil {
		return nil, &Error{Class: Internal, Text: "study " + r.ID + " has a result that cannot be read back", Err: err}
	}
	return &StandIn{StudyID: r.ID, Name: r.Name, At: r.At, N: a.N, BiasPpb: round2(a.Bias), BiasLowPpb: round2(a.BiasLow95), BiasHighPpb: round2(a.BiasHigh95),
		LoaLowPpb: round2(a.LoaLow), LoaHighPpb: round2(a.LoaHigh), MarginPpb: a.Margin, LowestPpb: round2(a.DirectLow), HighestPpb: round2(a.DirectHigh), InForceFrom: r.InForceFrom}, nil
}

// Notes are what a reader of the run's judgement must know of its method.
func (d *RunRecords) Notes() []string {
	s := d.Run.InForce.StandIn
	if s == nil {
		return nil
	}
	out := []string{s.Text()}
	outside, n := 0, 0
	for _, x := range d.Samples {
		r := x.ByMethod(Calculated)
		if r == nil {
			continue
		}
		if n++; *r.TPOPpb < s.LowestPpb || *r.TPOPpb > s.HighestPpb {
			outside++
		}
	}
	if outside > 0 {
		out = append(out, fmt.Sprintf("%d of %d packages lie outside the %.0f to %.0f ppb for which that was shown", outside, n, s.LowestPpb, s.HighestPpb))
	}
	return out
}

// Text says by what study calculated figures stand in.
func (s *StandIn) Text() string {
	return fmt.Sprintf("TPO is calculated and stands in for the direct reading, by the agreement study %q of %s (%d pairs, %.0f to %.0f ppb): bias %+.1f ppb (95 %%: %+.1f to %+.1f), limits of agreement %+.1f to %+.1f ppb, margin ±%g ppb",
		s.Name, s.At.Format(time.DateOnly), s.N, s.LowestPpb, s.HighestPpb, s.BiasPpb, s.BiasLowPpb, s.BiasHighPpb, s.LoaLowPpb, s.LoaHighPpb, s.MarginPpb)
}
