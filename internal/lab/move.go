package lab

import "time"

// Move is liquid that went from one vessel to another, came in from outside
// (addition), went round (recirculation) or to the drain (dump).
type Move struct {
	Meta
	MoveKind    string    `json:"kind" enum:"transfer,blend,addition,recirculation,dump"`
	FromBatchID string    `json:"from_batch_id,omitempty" format:"uuid" doc:"empty for an addition"`
	ToBatchID   string    `json:"to_batch_id,omitempty" format:"uuid" doc:"empty for a dump; the same batch for a recirculation"`
	StartedAt   Time      `json:"started_at"`
	EndedAt     Time      `json:"ended_at,omitzero"`
	VolumeHL    *float64  `json:"volume_hl,omitempty"`
	FlowHLH     *float64  `json:"flow_hl_h,omitempty"`
	Via         []string  `json:"via,omitempty" enum:"centrifuge,filter,carbonation,hose,pump,heat_exchanger" doc:"what the liquid passed, in order"`
	HoseM       *float64  `json:"hose_m,omitempty" doc:"length of hose"`
	HoseMM      *float64  `json:"hose_mm,omitempty" doc:"inner diameter of the hose"`
	Purge       string    `json:"purge,omitempty" maxLength:"2000" doc:"how line and vessel were purged"`
	Addition    *Addition `json:"addition,omitempty"`
	Note        string    `json:"note,omitempty" maxLength:"4000"`
}

// Addition is what came in from outside.
type Addition struct {
	What     string   `json:"what" enum:"deaerated_water,dry_hop,finings,fruit,yeast,priming,other"`
	AmountKg *float64 `json:"amount_kg,omitempty"`
	DOPpb    *float64 `json:"do_ppb,omitempty" doc:"dissolved oxygen of a liquid addition"`
	AirML    *float64 `json:"air_ml,omitempty" doc:"air taken in with it, mL at 0 °C and 1.01325 bar"`
}

// Kind names the collection.
func (*Move) Kind() Kind { return KindMoves }

// Refs points at both batches; which of them must be there depends on the kind.
func (r *Move) Refs() []Ref {
	return []Ref{
		{"from_batch_id", KindBatches, r.FromBatchID, r.MoveKind != "addition"},
		{"to_batch_id", KindBatches, r.ToBatchID, r.MoveKind != "dump"},
	}
}

var viaNames = []string{"centrifuge", "filter", "carbonation", "hose", "pump", "heat_exchanger"}

func (r *Move) check(c *checker) {
	c.oneOf("kind", r.MoveKind, "transfer", "blend", "addition", "recirculation", "dump")
	c.needTime("started_at", r.StartedAt)
	c.year("started_at", r.StartedAt)
	c.year("ended_at", r.EndedAt)
	if !r.EndedAt.IsZero() && r.EndedAt.Before(r.StartedAt.Time) {
		c.add("ended_at", r.EndedAt.Format(time.RFC3339), "is before started_at", "correct one of the two")
	}
	c.within("volume_hl", r.VolumeHL, 0, 20000, "hL")
	c.within("flow_hl_h", r.FlowHLH, 0, 10000, "hL/h")
	c.count("via", len(r.Via), 0, 12)
	for _, v := range r.Via {
		c.oneOf("via", v, viaNames...)
	}
	c.within("hose_m", r.HoseM, 0, 2000, "m")
	c.within("hose_mm", r.HoseMM, 0, 1000, "mm")
	c.length("purge", r.Purge, 2000)
	c.text("note", r.Note)
	r.checkEnds(c)
	switch a := r.Addition; {
	case a == nil && r.MoveKind == "addition":
		c.add("addition", nil, "is missing", "say what was added")
	case a != nil && r.MoveKind != "addition":
		c.add("addition", a.What, "stands on a "+r.MoveKind, "choose the kind addition, or leave it out")
	}
	if a := r.Addition; a != nil {
		c.oneOf("addition.what", a.What, "deaerated_water", "dry_hop", "finings", "fruit", "yeast", "priming", "other")
		c.within("addition.amount_kg", a.AmountKg, 0, 100000, "kg")
		c.within("addition.do_ppb", a.DOPpb, 0, 100000, "ppb")
		c.within("addition.air_ml", a.AirML, 0, 1e8, "mL")
	}
}

// checkEnds tells what cannot be of where the liquid came from and went.
func (r *Move) checkEnds(c *checker) {
	same := r.FromBatchID != "" && r.FromBatchID == r.ToBatchID
	switch {
	case r.MoveKind == "addition" && r.FromBatchID != "":
		c.add("from_batch_id", r.FromBatchID, "an addition comes from outside", "leave it empty, or choose blend")
	case r.MoveKind == "dump" && r.ToBatchID != "":
		c.add("to_batch_id", r.ToBatchID, "a dump goes to the drain", "leave it empty, or choose transfer")
	case r.MoveKind == "recirculation" && r.FromBatchID != "" && r.ToBatchID != "" && !same:
		c.add("to_batch_id", r.ToBatchID, "a recirculation ends where it began", "give the same batch, or choose transfer")
	case same && r.MoveKind != "recirculation":
		c.add("to_batch_id", r.ToBatchID, "is where it came from", "choose the receiving batch, or recirculation")
	}
}
