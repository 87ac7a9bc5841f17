package ingest

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"ullage/internal/lab"
)

// checkMapping refuses a mapping that is no mapping of this file.
func checkMapping(m *lab.ImportMapping, k facts, head []rowText) error {
	var faults []lab.Fault
	add := func(field string, value any, message, mend string) {
		faults = append(faults, lab.Fault{Field: "mapping." + field, Value: value, Message: message, Mend: mend})
	}
	oneOf := func(field, v string, allowed ...string) {
		if !slices.Contains(allowed, v) {
			add(field, v, "is not one of the choices", "use "+strings.Join(allowed, ", "))
		}
	}
	oneOf("target", m.Target, samples, lots)
	oneOf("decimal", m.Decimal, ".", ",")
	oneOf("date_order", m.DateOrder, "ymd", "dmy", "mdy")
	oneOf("sample_kind", m.SampleKind, "", "shaken", "unshaken", "inlet")
	oneOf("tare_source", m.TareSource, "", "own", "lot")
	oneOf("repeats", m.Repeats, "", "keep", "skip")
	oneOf("group_by", m.GroupBy, "", "code", "day")
	if !k.workbook {
		oneOf("encoding", m.Encoding, "utf-8", "utf-16le", "utf-16be", "windows-1252")
		oneOf("separator", m.Separator, ",", ";", "\t")
	}
	if _, err := time.LoadLocation(m.TimeZone); err != nil || m.TimeZone == "" || m.TimeZone == "Local" {
		add("time_zone", m.TimeZone, "is not a known time zone", "use an IANA name such as Europe/Berlin")
	}
	width := 0
	for _, row := range head {
		width = max(width, len(row.cells))
	}
	if len(m.Columns) == 0 || len(m.Columns) > MaxColumns {
		add("columns", len(m.Columns), "is not how many columns a file has", "send one for each column")
	}
	taken := map[string]bool{}
	for i, c := range m.Columns {
		f := fieldOf(m.Target, c.Field)
		at := fmt.Sprintf("columns[%d]", i)
		switch {
		case c.Field == "":
		case f == nil:
			add(at+".field", c.Field, "is nothing a column can hold", "choose one of the fields, or leave the column out")
		case taken[c.Field]:
			add(at+".field", c.Field, "is said of two columns", "leave one of them out")
		case f.sort == aQuantity && unitNamed(f, strings.ToLower(c.Unit)) == "":
			add(at+".unit", c.Unit, "is no unit of "+f.name, "use "+strings.Join(f.units, ", "))
		}
		taken[c.Field] = c.Field != ""
	}
	if faults != nil {
		return &lab.Error{Class: lab.Invalid, Faults: faults}
	}
	return nil
}

// asking collects the open questions of a mapping.
type asking struct {
	m    *lab.ImportMapping
	open []lab.ImportQuestion
}

func (a *asking) ask(q lab.ImportQuestion) {
	if !slices.Contains(a.m.Sure, q.ID) {
		a.open = append(a.open, q)
	}
}

// must asks for what no answer in sure can replace.
func (a *asking) must(id, text, why string) {
	a.open = append(a.open, lab.ImportQuestion{ID: id, Column: -1, Text: text, Why: why})
}

func choice(value, label string) lab.ImportChoice {
	return lab.ImportChoice{Value: value, Label: label}
}

// questions lists what the file leaves open under a mapping.
func questions(m *lab.ImportMapping, head []rowText, refs *refs) []lab.ImportQuestion {
	a := &asking{m: m}
	body := bodyOf(m, head)
	a.marks(body)
	a.units(body)
	if m.Target == lots {
		a.ofLots()
	} else {
		a.ofSamples(refs)
	}
	return a.open
}

func (a *asking) marks(body []rowText) {
	if mark, sure := decimalOf(a.m, body); !sure {
		a.ask(lab.ImportQuestion{ID: "decimal", Column: -1, Text: "What is the decimal mark?", Why: "numbers such as 1,204 can be read two ways",
			Choices: []lab.ImportChoice{choice(",", "a comma: 1,204 is 1.204"), choice(".", "a point: 1,204 is 1204")}, Proposed: mark})
	}
	order, sure := dateOrder(a.m, body)
	if !sure {
		a.ask(lab.ImportQuestion{ID: "date_order", Column: -1, Text: "Which comes first in the dates?", Why: "the file does not show it",
			Choices: []lab.ImportChoice{choice("dmy", "day, then month"), choice("mdy", "month, then day")}, Proposed: order})
	}
	if a.m.Target == samples {
		a.ask(lab.ImportQuestion{ID: "time_zone", Column: -1, Text: "Where did the clock of this log stand?", Why: "the file names no time zone", Proposed: a.m.TimeZone})
	}
}

func (a *asking) units(body []rowText) {
	for i, c := range a.m.Columns {
		f := fieldOf(a.m.Target, c.Field)
		if f == nil || f.sort != aQuantity {
			continue
		}
		look := lookUnit(f, c.Header, cellsOf(body, i), a.m.Decimal)
		if !look.ask && look.unit == c.Unit {
			continue
		}
		q := lab.ImportQuestion{ID: fmt.Sprintf("unit:%d:%s", i, c.Field), Column: i, Text: fmt.Sprintf("In which unit is “%s”?", c.Header), Why: look.why, Proposed: look.unit}
		if !look.ask {
			q.Why += ", and " + c.Unit + " is chosen"
		}
		for _, u := range f.units {
			q.Choices = append(q.Choices, choice(u, u))
		}
		a.ask(q)
	}
}

func (a *asking) ofLots() {
	if !has(a.m, "format") {
		a.must("column:format", "Which column names the package format?", "every lot belongs to a format")
	}
	if has(a.m, "capacity", "tare") && !has(a.m, "from") {
		a.must("column:from", "Which column holds the first day in force?", "a lot counts from a day on")
	}
}

func (a *asking) ofSamples(refs *refs) {
	m := a.m
	if !has(m, "do", "do_shaken", "do_unshaken", "do_inlet", "tpo", "tpo_direct") {
		a.must("column:do", "Which column holds the oxygen reading?", "a sample is a reading")
	}
	if !has(m, "taken_at", "date", "closed_at") {
		a.must("column:date", "Which column holds the date?", "every sample has its time")
	}
	if has(m, "do") && !has(m, "kind") {
		i := column(m, "do")
		a.ask(lab.ImportQuestion{ID: "sample_kind", Column: i, Text: fmt.Sprintf("What is “%s”?", m.Columns[i].Header),
			Why: "three different numbers are called the DO; taken for another it is wrong by a factor of two",
			Choices: []lab.ImportChoice{choice("shaken", "shaken DO of a package"), choice("unshaken", "unshaken DO of a package"),
				choice("inlet", "DO in the line, at the filler's inlet")}, Proposed: m.SampleKind})
	}
	if has(m, "tare") {
		a.ask(lab.ImportQuestion{ID: "tare_source", Column: column(m, "tare"), Text: "Whose tare is in the file?", Why: "an own tare is surer than a lot's",
			Choices: []lab.ImportChoice{choice("own", "each package's own"), choice("lot", "the lot's, the same for a run")}, Proposed: m.TareSource})
	}
	for _, w := range []struct{ key, id, text string }{
		{"beer", m.BeerID, "Which beer is it?"}, {"format", m.FormatID, "Which package format?"}, {"line", m.LineID, "Which filling line?"},
	} {
		if has(m, w.key) || w.id != "" && refs.title[w.id] != "" {
			continue
		}
		q := lab.ImportQuestion{ID: w.key, Column: -1, Text: w.text, Why: "no column says it"}
		for _, r := range refs.list[w.key] {
			q.Choices = append(q.Choices, choice(r.id, r.name))
		}
		a.open = append(a.open, q)
	}
}

// assumptions says what is taken for granted, for a person to see.
func assumptions(m *lab.ImportMapping, k facts) []string {
	out := []string{}
	say := func(text string, args ...any) { out = append(out, fmt.Sprintf(text, args...)) }
	if !k.workbook {
		names := map[string]string{"utf-8": "UTF-8", "utf-16le": "UTF-16", "utf-16be": "UTF-16", "windows-1252": "Windows-1252"}
		if k.guessed || m.Encoding != k.encoding {
			say("The text is read as %s: nothing in the file proves it. Check the names and the ° and µ signs.", names[m.Encoding])
		}
	}
	if m.Target == lots {
		return out
	}
	say("Times are of the clock in %s.", m.TimeZone)
	if !has(m, "taken_at", "time", "closed_at") {
		say("No column holds a time of day: 12:00 is taken for every reading, so the delay after closing is unknown.")
	} else if !has(m, "taken_at", "time") {
		say("No column holds the time of reading: the time of closing is taken for it.")
	}
	if m.GroupBy == "day" {
		say("Rows of the same day, beer, format and line are one run.")
	} else {
		say("Rows with the same code, beer, format and line are one run.")
	}
	if has(m, "tare") && m.TareSource == "lot" {
		say("The tare column is the lot's: the first of each run is taken for the run.")
	}
	if has(m, "tpo") {
		say("A TPO in the file is kept beside the one computed from the reading; it is never taken for a shaken DO.")
	}
	if has(m, "tpo_direct") {
		say("A TPO read directly stands beside the shaken DO of its row, or alone; it is never taken for a DO, nor for a calculated TPO.")
	}
	return out
}
