package lab

import (
	"context"
	"encoding/json"
	"fmt"
)

// Proposal is what a study would change of the lot of packages it measured. A
// person writes it, or not.
type Proposal struct {
	May     bool             `json:"may"`
	Why     string           `json:"why"`
	Record  FormatLot        `json:"record" doc:"the lot as it would be; write it with base_rev"`
	BaseRev int              `json:"base_rev"`
	Changes []ProposalChange `json:"changes"`
}

// ProposalChange is one number that would change.
type ProposalChange struct {
	Field string   `json:"field"`
	From  *float64 `json:"from"`
	To    *float64 `json:"to"`
}

// ofLot are the results of a study that belong to a lot, by its field.
var ofLot = map[string]map[string]string{
	StudyTare:     {"tare_g": "tare_g", "tare_sd_g": "tare_sd_g", "tare_n": "n"},
	StudyCapacity: {"capacity_ml": "capacity_ml", "capacity_sd_ml": "capacity_sd_ml", "capacity_n": "n"},
	StudyNeck:     {"neck_gap_mm": "neck_gap_mm", "neck_headspace_ml": "neck_headspace_ml", "neck_ml_per_mm": "neck_ml_per_mm"},
}

// Propose gives what a study of tare, capacity or neck would change of its lot.
func (s *Service) Propose(ctx context.Context, id string) (*Proposal, error) {
	if err := s.May(ctx, DoJudge); err != nil {
		return nil, err
	}
	study, err := read[Study](ctx, s.Store, KindStudies, id)
	if err != nil {
		return nil, err
	}
	fields := ofLot[study.StudyKind]
	switch {
	case fields == nil:
		return nil, fault(Invalid, "kind", study.StudyKind, "such a study changes no lot of packages", "ask for a study of tare, capacity or neck")
	case study.FormatLotID == "":
		return nil, fault(Invalid, "format_lot_id", nil, "is missing: the figures belong to a lot of packages", "choose the lot")
	case len(study.Result) == 0:
		return nil, fault(Invalid, "rows", len(study.Rows), "give no result yet", "complete the study")
	}
	lot, err := read[FormatLot](ctx, s.Store, KindFormatLots, study.FormatLotID)
	if err != nil {
		return nil, err
	}
	var result map[string]any
	if err := json.Unmarshal(study.Result, &result); err != nil {
		return nil, &Error{Class: Internal, Text: "study " + id + " has a result that cannot be read back", Err: err}
	}
	p := &Proposal{May: true, Record: *lot, BaseRev: lot.Rev, Changes: []ProposalChange{}}
	p.set(fields, result)
	if study.StudyKind == StudyCapacity {
		p.Record.CapacitySource = "lot"
	}
	p.Record.By, p.Record.Reason = "", fmt.Sprintf("by the study %q of %s", study.Name, study.At.Format("2006-01-02"))
	p.Why = fmt.Sprintf("%d numbers of %s would change; runs begun after it take them", len(p.Changes), lot.Name)
	if len(p.Changes) == 0 {
		p.May, p.Why = false, "the lot holds these numbers already"
	}
	return p, nil
}

// set puts the results into the lot, as recorded, and lists what changes.
func (p *Proposal) set(fields map[string]string, result map[string]any) {
	r := &p.Record
	for _, f := range []struct {
		name   string
		number **float64
		count  **int
	}{
		{"tare_g", &r.TareG, nil}, {"tare_sd_g", &r.TareSDG, nil}, {"tare_n", nil, &r.TareN},
		{"capacity_ml", &r.CapacityML, nil}, {"capacity_sd_ml", &r.CapacitySDML, nil}, {"capacity_n", nil, &r.CapacityN},
		{"neck_gap_mm", &r.NeckGapMM, nil}, {"neck_headspace_ml", &r.NeckHeadspaceML, nil}, {"neck_ml_per_mm", &r.NeckMLPerMM, nil},
	} {
		v, ok := result[fields[f.name]].(float64)
		if fields[f.name] == "" || !ok {
			continue
		}
		to := Num(round3(v))
		var from *float64
		switch {
		case f.number != nil:
			from, *f.number = *f.number, to
		default:
			if *f.count != nil {
				from = Num(float64(**f.count))
			}
			n := int(v)
			*f.count = &n
		}
		if from == nil || *from != *to {
			p.Changes = append(p.Changes, ProposalChange{f.name, from, to})
		}
	}
}
