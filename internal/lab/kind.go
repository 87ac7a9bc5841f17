package lab

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"
)

// Kind names a collection of records, as it stands in API paths and exports.
type Kind string

// The collections, in the order in which one may refer to an earlier one.
const (
	KindBrewery      Kind = "brewery"
	KindPeople       Kind = "people"
	KindBeers        Kind = "beers"
	KindFormats      Kind = "formats"
	KindFormatLots   Kind = "format_lots"
	KindLimits       Kind = "limits"
	KindLines        Kind = "lines"
	KindInstruments  Kind = "instruments"
	KindMeterChecks  Kind = "meter_checks"
	KindStudies      Kind = "studies"
	KindTanks        Kind = "tanks"
	KindBatches      Kind = "batches"
	KindBrews        Kind = "brews"
	KindMoves        Kind = "moves"
	KindReadings     Kind = "readings"
	KindCellarLimits Kind = "cellar_limits"
	KindRuns         Kind = "runs"
	KindEvents       Kind = "events"
	KindSamples      Kind = "samples"
	KindRules        Kind = "rules"
	KindDecisions    Kind = "decisions"
	KindImports      Kind = "imports"
)

// Record is one revision of one record of any collection.
type Record interface {
	// Base gives the fields every record has.
	Base() *Meta
	// Kind names the collection.
	Kind() Kind
	// Refs lists the ids this record points at: field → collection and id.
	Refs() []Ref
	// check reports what cannot be true of this record.
	check(*checker)
}

// Ref is a pointer from one record to another. An empty ID points nowhere.
type Ref struct {
	Field string
	Kind  Kind
	ID    string
	Must  bool // an empty ID is a fault
}

var makers = map[Kind]func() Record{
	KindBrewery:      func() Record { return &Brewery{} },
	KindPeople:       func() Record { return &Person{} },
	KindBeers:        func() Record { return &Beer{} },
	KindFormats:      func() Record { return &Format{} },
	KindFormatLots:   func() Record { return &FormatLot{} },
	KindLimits:       func() Record { return &Limit{} },
	KindLines:        func() Record { return &Line{} },
	KindInstruments:  func() Record { return &Instrument{} },
	KindMeterChecks:  func() Record { return &MeterCheck{} },
	KindStudies:      func() Record { return &Study{} },
	KindTanks:        func() Record { return &Tank{} },
	KindBatches:      func() Record { return &Batch{} },
	KindBrews:        func() Record { return &Brew{} },
	KindMoves:        func() Record { return &Move{} },
	KindReadings:     func() Record { return &Reading{} },
	KindCellarLimits: func() Record { return &CellarLimit{} },
	KindRuns:         func() Record { return &Run{} },
	KindEvents:       func() Record { return &Event{} },
	KindSamples:      func() Record { return &Sample{} },
	KindRules:        func() Record { return &RuleSet{} },
	KindDecisions:    func() Record { return &LotDecision{} },
	KindImports:      func() Record { return &Import{} },
}

// Kinds lists every collection, those referred to before those that refer.
func Kinds() []Kind {
	return []Kind{KindBrewery, KindPeople, KindBeers, KindFormats, KindFormatLots, KindLimits, KindLines,
		KindInstruments, KindMeterChecks, KindStudies, KindTanks, KindBatches, KindBrews, KindMoves, KindReadings, KindCellarLimits, KindRuns, KindEvents, KindSamples, KindRules, KindDecisions, KindImports}
}

// ParseKind turns a name into a Kind, or says which names there are.
func ParseKind(s string) (Kind, error) {
	if k := Kind(s); slices.Contains(Kinds(), k) {
		return k, nil
	}
	names := make([]string, 0, len(makers))
	for _, k := range Kinds() {
		names = append(names, string(k))
	}
	return "", fault(Malformed, "collection", s, "there is no such collection", "use one of "+strings.Join(names, ", "))
}

// New makes an empty record of the kind. It panics on an unknown kind: use
// [ParseKind] on what comes from outside.
func New(k Kind) Record { return makers[k]() }

// Decode reads one record of the kind from JSON. Unknown fields, wrong types,
// trailing text and broken UTF-8 are errors that name the field.
func Decode(k Kind, data []byte) (Record, error) {
	r := New(k)
	if err := DecodeStrict(data, r); err != nil {
		return nil, err
	}
	return r, nil
}

// DecodeStrict reads JSON into v with the same refusals as [Decode].
func DecodeStrict(data []byte, v any) error {
	if at := badUTF8(data); at >= 0 {
		return fault(Malformed, "body", fmt.Sprintf("byte %d", at), "the text is not valid UTF-8",
			"send the text encoded as UTF-8")
	}
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(v); err != nil {
		return decodeFault(err)
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return fault(Malformed, "body", nil, "there is more text after the JSON value", "send one JSON value only")
	}
	return nil
}

func badUTF8(data []byte) int {
	if utf8.Valid(data) {
		return -1
	}
	for i := 0; i < len(data); {
		r, n := utf8.DecodeRune(data[i:])
		if r == utf8.RuneError && n <= 1 {
			return i
		}
		i += n
	}
	return -1
}

func decodeFault(err error) error {
	var ute *json.UnmarshalTypeError
	if errors.As(err, &ute) {
		return fault(Invalid, ute.Field, ute.Value, "this is not the type the field has",
			"send "+plainType(ute.Type.String()))
	}
	if name, ok := strings.CutPrefix(err.Error(), "json: unknown field "); ok {
		name = strings.Trim(name, `"`)
		return fault(Invalid, name, nil, "there is no such field", "leave it out or correct its name")
	}
	var te *timeFault
	if errors.As(err, &te) {
		return fault(Invalid, "time", te.text, "this is not a time", "write it like 2026-11-05T09:40:00Z")
	}
	return fault(Malformed, "body", nil, "the JSON cannot be read: "+strings.TrimPrefix(err.Error(), "json: "),
		"send one complete JSON value")
}

func plainType(t string) string {
	t = strings.TrimLeft(t, "*")
	switch {
	case strings.HasPrefix(t, "float"), strings.HasPrefix(t, "int"):
		return "a number"
	case t == "string", strings.HasPrefix(t, "lab.") && strings.HasSuffix(t, "Time"):
		return "text"
	case t == "bool":
		return "true or false"
	case strings.HasPrefix(t, "[]"):
		return "a list"
	}
	return "an object"
}
