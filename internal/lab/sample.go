package lab

import (
	"fmt"
	"time"
)

// Sample is one package, or one reading at the filler's inlet.
//
// kind tells which of the quantities do_ppb is: the shaken DO or the unshaken
// DO of a package, or the DO in the line at the inlet. A package may also carry
// a TPO read directly, beside its shaken DO or, with kind direct, alone. result
// is the TPO that counts, marked calculated or direct; where a package has both,
// the other one stands in other_result.
type Sample struct {
	Meta
	RunID      string `json:"run_id" format:"uuid"`
	SetNo      int    `json:"set_no,omitempty" doc:"samples pulled together share a set number"`
	Head       int    `json:"head,omitempty" doc:"filling head, valve or lane, from 1"`
	Station    int    `json:"station,omitempty" doc:"closing station, from 1"`
	SampleKind string `json:"kind" enum:"shaken,unshaken,inlet,direct" doc:"direct: a package whose TPO was read directly, and nothing else"`
	ClosedAt   Time   `json:"closed_at,omitzero" doc:"when the package was closed"`
	TakenAt    Time   `json:"taken_at" doc:"when the reading was taken"`
	// Raw is what the person typed; Inputs are the numbers made of it.
	Raw           map[string]string `json:"raw,omitempty" doc:"field to text, exactly as typed"`
	Inputs        Inputs            `json:"inputs"`
	TareSource    string            `json:"tare_source,omitempty" enum:"own,lot"`
	Flags         []string          `json:"flags,omitempty" enum:"foam,dent,low_fill,bulged,other"`
	Note          string            `json:"note,omitempty" maxLength:"4000"`
	Result        *Result           `json:"result,omitempty" doc:"computed by the device before sending, then again by the server"`
	OtherResult   *Result           `json:"other_result,omitempty" readOnly:"true" doc:"where the package was read both ways: the TPO that does not count, by the run's in_force.tpo_by"`
	ResultsBefore []Result          `json:"results_before,omitempty" readOnly:"true" doc:"older results, newest last; kept by the server"`
}

// Inputs are the numbers of a sample, in the unit of each suffix.
type Inputs struct {
	TemperatureC  *float64 `json:"temperature_c,omitempty" doc:"of the beer in the package"`
	TemperatureAt Time     `json:"temperature_at,omitzero" doc:"when that temperature was read, if it is carried over"`
	GrossG        *float64 `json:"gross_g,omitempty"`
	TareG         *float64 `json:"tare_g,omitempty" doc:"this package's own tare; empty: the lot's"`
	GapMM         *float64 `json:"gap_mm,omitempty" doc:"rim down to beer, in a bottle's neck"`
	DOPpb         *float64 `json:"do_ppb,omitempty" doc:"the reading: shaken DO, unshaken DO or inlet DO, as kind says"`
	ShakeMin      *float64 `json:"shake_min,omitempty"`
	DirectPpb     *float64 `json:"direct_ppb,omitempty" doc:"TPO read by an instrument that reads it directly, ppb; never a DO"`
}

// Result is a TPO with its interval, the method that gave it, and what was odd.
// A result without tpo_ppb says in its warnings why there is none.
type Result struct {
	TPOBy        string    `json:"tpo_by,omitempty" enum:"calculated,direct" doc:"calculated from shaken DO and volumes, or read directly; empty: calculated"`
	Method       string    `json:"method" doc:"name and version of the method"`
	BeerML       *float64  `json:"beer_ml,omitempty"`
	HeadspaceML  *float64  `json:"headspace_ml,omitempty"`
	TPOPpb       *float64  `json:"tpo_ppb,omitempty"`
	TPOUPpb      *float64  `json:"tpo_u_ppb,omitempty" doc:"standard uncertainty"`
	TPOLow95Ppb  *float64  `json:"tpo_low95_ppb,omitempty"`
	TPOHigh95Ppb *float64  `json:"tpo_high95_ppb,omitempty"`
	Path         string    `json:"path,omitempty" doc:"how the headspace was found"`
	UFrom        []UFrom   `json:"u_from,omitempty" doc:"which uncertainties came from the records of instruments; the others are the usual ones"`
	Warnings     []Warning `json:"warnings,omitempty"`
	ComputedAt   Time      `json:"computed_at,omitzero"`
	ComputedBy   string    `json:"computed_by" enum:"device,server"`
}

// Kind names the collection.
func (*Sample) Kind() Kind { return KindSamples }

// Refs points at the run.
func (r *Sample) Refs() []Ref { return []Ref{{"run_id", KindRuns, r.RunID, true}} }

func (r *Sample) check(c *checker) {
	c.oneOf("kind", r.SampleKind, "shaken", "unshaken", "inlet", Direct)
	c.count("set_no", r.SetNo, 0, 100000)
	c.count("head", r.Head, 0, 400)
	c.count("station", r.Station, 0, 100)
	c.needTime("taken_at", r.TakenAt)
	c.year("taken_at", r.TakenAt)
	c.year("closed_at", r.ClosedAt)
	if !r.ClosedAt.IsZero() && r.TakenAt.Before(r.ClosedAt.Time) {
		c.add("taken_at", r.TakenAt.Format(time.RFC3339), "is before closed_at", "correct one of the two times")
	}
	c.oneOf("tare_source", r.TareSource, "", "own", "lot")
	for _, f := range r.Flags {
		c.oneOf("flags", f, "foam", "dent", "low_fill", "bulged", "other")
	}
	c.count("flags", len(r.Flags), 0, 10)
	c.text("note", r.Note)
	c.count("raw", len(r.Raw), 0, 40)
	for k, v := range r.Raw {
		c.length("raw."+fmt.Sprintf("%.40s", k), k+v, maxName)
	}
	in := &r.Inputs
	c.within("inputs.temperature_c", in.TemperatureC, -20, 100, "°C")
	c.year("inputs.temperature_at", in.TemperatureAt)
	c.within("inputs.gross_g", in.GrossG, 0, 200000, "g")
	c.within("inputs.tare_g", in.TareG, 0, 100000, "g")
	c.within("inputs.gap_mm", in.GapMM, 0, 500, "mm")
	c.within("inputs.do_ppb", in.DOPpb, 0, 1e6, "ppb")
	c.within("inputs.shake_min", in.ShakeMin, 0, 600, "min")
	r.checkDirect(c)
	if r.TareSource == "own" && in.TareG == nil {
		c.add("inputs.tare_g", nil, "is missing though the tare is the package's own", "weigh it empty, or use the lot's tare")
	}
	if in.GrossG != nil && in.TareG != nil && *in.GrossG <= *in.TareG {
		c.add("inputs.gross_g", *in.GrossG, "is not above the tare", "check which weight is which")
	}
}
