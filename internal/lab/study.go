package lab

import "encoding/json"

// The kinds of study; the calculation of each is agree or study-KIND.
const (
	StudyAgreement = "agreement"
	StudyTare      = "tare"
	StudyCapacity  = "capacity"
	StudyNeck      = "neck"
)

var studyKinds = []string{StudyAgreement, StudyTare, StudyCapacity, StudyNeck, "shake", "delay", "line", "repeatability"}

// Study is a set of readings taken to learn about a method or a package, with
// what they show. It is worked on as a draft; from InForceFrom on it counts.
type Study struct {
	Meta
	StudyKind     string           `json:"kind" enum:"agreement,tare,capacity,neck,shake,delay,line,repeatability"`
	Name          string           `json:"name" maxLength:"200"`
	At            Time             `json:"at" doc:"when the readings were taken"`
	FormatIDs     []string         `json:"format_ids,omitempty" format:"uuid" doc:"packages it holds for"`
	FormatLotID   string           `json:"format_lot_id,omitempty" format:"uuid" doc:"the lot whose tare, capacity or neck it measures"`
	BeerID        string           `json:"beer_id,omitempty" format:"uuid"`
	LineID        string           `json:"line_id,omitempty" format:"uuid"`
	DOMeterID     string           `json:"do_meter_id,omitempty" format:"uuid"`
	TPOMeterID    string           `json:"tpo_meter_id,omitempty" format:"uuid"`
	ScaleID       string           `json:"scale_id,omitempty" format:"uuid"`
	ThermometerID string           `json:"thermometer_id,omitempty" format:"uuid"`
	Rows          []map[string]any `json:"rows" doc:"readings, as the calculation takes them; a number in the unit of its name's suffix"`
	Settings      map[string]any   `json:"settings,omitempty" doc:"other inputs of the calculation, such as margin_ppb"`
	Source        string           `json:"source,omitempty" maxLength:"200" doc:"the file that the rows came from"`
	InForceFrom   Time             `json:"in_force_from,omitzero" doc:"empty: not in force"`
	Note          string           `json:"note,omitempty" maxLength:"4000"`
	Result        json.RawMessage  `json:"result,omitempty" readOnly:"true" doc:"of the calculation, under its names; absent where the rows do not allow one"`
	Warnings      []Warning        `json:"warnings,omitempty" readOnly:"true"`
	Method        string           `json:"method,omitempty" readOnly:"true" doc:"name and version of the calculation"`
	ComputedAt    Time             `json:"computed_at,omitzero" readOnly:"true"`
}

// Kind names the collection.
func (*Study) Kind() Kind { return KindStudies }

// Refs points at what was studied, and with what.
func (r *Study) Refs() []Ref {
	refs := []Ref{
		{"format_lot_id", KindFormatLots, r.FormatLotID, false}, {"beer_id", KindBeers, r.BeerID, false}, {"line_id", KindLines, r.LineID, false},
		{"do_meter_id", KindInstruments, r.DOMeterID, false}, {"tpo_meter_id", KindInstruments, r.TPOMeterID, false},
		{"scale_id", KindInstruments, r.ScaleID, false}, {"thermometer_id", KindInstruments, r.ThermometerID, false},
	}
	for _, id := range r.FormatIDs {
		refs = append(refs, Ref{"format_ids", KindFormats, id, true})
	}
	return refs
}

// maxStudyRows is the most rows a record holds; a study has tens.
const maxStudyRows = 2000

func (r *Study) check(c *checker) {
	c.oneOf("kind", r.StudyKind, studyKinds...)
	c.name("name", r.Name)
	c.needTime("at", r.At)
	c.year("at", r.At)
	c.count("format_ids", len(r.FormatIDs), 0, 50)
	c.count("rows", len(r.Rows), 0, maxStudyRows)
	c.count("settings", len(r.Settings), 0, 40)
	c.length("source", r.Source, maxName)
	c.year("in_force_from", r.InForceFrom)
	c.text("note", r.Note)
	for _, row := range r.Rows {
		if len(row) > 40 {
			c.count("rows", len(row), 0, 40)
			break
		}
		for name, v := range row {
			if text, ok := v.(string); ok && len(text)+len(name) > maxName {
				c.length("rows."+name, text, maxName-len(name))
			}
		}
	}
}

// calculation is the name of a study's calculation in the table.
func (r *Study) calculation() string {
	if r.StudyKind == StudyAgreement {
		return "agree"
	}
	return "study-" + r.StudyKind
}
