package ingest

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"ullage/internal/lab"
)

const (
	shownRows   = 20
	shownFaults = 200
	shownRuns   = 50
	maxSame     = 100 // kinds of faults
)

// Preview reads a whole file under a mapping and writes nothing. With an empty
// mapping it proposes one; zone is the time zone to propose.
func Preview(ctx context.Context, svc *lab.Service, f File, m *lab.ImportMapping, zone string) (lab.ImportPreview, error) {
	k, err := f.inspect()
	if err != nil {
		return lab.ImportPreview{}, err
	}
	return preview(ctx, svc, &f, k, m, zone)
}

func preview(ctx context.Context, svc *lab.Service, f *File, k facts, m *lab.ImportMapping, zone string) (lab.ImportPreview, error) {
	p, err := prepare(ctx, svc, f, k, m, zone)
	if err != nil {
		return lab.ImportPreview{}, err
	}
	out := &p.out
	err = f.each(k, &out.Mapping, 0, func(r rowText) error {
		if r.n%1024 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		p.tell(r, p.read(r))
		return nil
	})
	if err != nil {
		return lab.ImportPreview{}, err
	}
	p.finish()
	out.Before, err = before(ctx, svc, k.sum, &out.Mapping)
	return *out, err
}

// reading is a plan with what it has found so far.
type reading struct {
	*plan
	out  lab.ImportPreview
	same map[string]int // kind of fault → place in out.Same
}

// prepare checks a mapping, or proposes one, and asks what is open.
func prepare(ctx context.Context, svc *lab.Service, f *File, k facts, m *lab.ImportMapping, zone string) (*reading, error) {
	r := &reading{same: map[string]int{}}
	if m == nil || m.Target == "" {
		known, err := loadRefs(ctx, svc, nil)
		if err != nil {
			return nil, err
		}
		sure := known.zone != ""
		if sure {
			zone = known.zone
		}
		if zone == "" {
			zone = "UTC"
		}
		proposed, err := f.propose(k, zone)
		if err != nil {
			return nil, err
		}
		if sure {
			proposed.Sure = []string{"time_zone"} // the brewery's own
		}
		m = &proposed
	}
	r.out.Mapping = *m
	head, err := f.head(k, m)
	if err != nil {
		return nil, err
	}
	r.mapAnew(head)
	m = &r.out.Mapping
	if err := checkMapping(m, k, head); err != nil {
		return nil, err
	}
	if r.plan, err = newPlan(ctx, svc, f, k, m); err != nil {
		return nil, err
	}
	r.out.Questions = append([]lab.ImportQuestion{}, questions(m, head, r.refs)...)
	r.out.Assumptions = assumptions(m, k)
	return r, nil
}

// mapAnew maps the columns anew where the mapping was made for another header,
// sheet, separator or target: it sends no columns then.
func (r *reading) mapAnew(head []rowText) {
	m := &r.out.Mapping
	if len(m.Columns) > 0 {
		return
	}
	if m.HeaderRow < 1 && len(head) > 0 {
		m.HeaderRow = head[headerAt(head)].n
	}
	target := m.Target
	remap(m, head)
	if target != "" && target != m.Target {
		m.Target = target
		for i := range m.Columns {
			m.Columns[i].Field, m.Columns[i].Unit, m.Columns[i].Why = "", "", ""
		}
		assign(m)
		detect(m, bodyOf(m, head))
	}
	m.Sure = slices.DeleteFunc(m.Sure, func(id string) bool { return id != "time_zone" })
}

func bodyOf(m *lab.ImportMapping, head []rowText) (body []rowText) {
	for _, row := range head {
		if row.n > m.HeaderRow && row.fault == nil {
			body = append(body, row)
		}
	}
	return body
}

// tell counts a row.
func (r *reading) tell(row rowText, d *draft) {
	c := &r.out.Counts
	c.Rows++
	odd := false
	for _, f := range d.faults {
		odd = odd || f.Odd
		r.fault(f)
	}
	switch {
	case d.faulty():
		c.Faulty++
	case d.repeats:
		c.Repeated++
	case odd:
		c.Odd++
	}
	if !d.faulty() {
		c.Samples += len(d.samples)
		if d.lot != nil && !d.repeats {
			c.Lots++
		}
	}
	if len(r.out.Rows) < shownRows {
		r.out.Rows = append(r.out.Rows, r.shown(row, d))
	}
}

func (r *reading) fault(f lab.ImportFault) {
	if len(r.out.Faults) < shownFaults {
		r.out.Faults = append(r.out.Faults, f)
	}
	message := f.Message
	if strings.HasPrefix(message, "the row is the same as row") {
		message = "the row is the same as an earlier row"
	}
	key := f.Field + "\x00" + message
	i, ok := r.same[key]
	if !ok {
		if len(r.out.Same) >= maxSame {
			return
		}
		i = len(r.out.Same)
		r.same[key] = i
		r.out.Same = append(r.out.Same, lab.ImportSame{Field: f.Field, Message: message, Mend: f.Mend, Odd: f.Odd, First: f.Row, Value: f.Value})
	}
	r.out.Same[i].Rows++
}

// shown is a row for a person to compare: as it stands, and as it is read.
func (r *reading) shown(row rowText, d *draft) lab.ImportRow {
	out := lab.ImportRow{Row: row.n, Cells: make([]string, len(r.m.Columns)), Read: make([]string, len(r.m.Columns)), Faults: d.faults}
	for i := range out.Cells {
		if i < len(row.cells) {
			out.Cells[i] = shorten(strings.TrimSpace(strings.Map(printable, row.cells[i])), 80)
		}
	}
	for j := range d.cells {
		if c, col := &d.cells[j], &r.cols[j]; c.ok {
			out.Read[col.i] = r.say(c, col)
			if r.k.workbook && (col.sort == aDate || col.sort == aClock) {
				out.Cells[col.i] = c.text // not the day number behind it
			}
		}
	}
	return out
}

func (r *reading) say(c *cell, col *bound) string {
	switch col.sort {
	case aQuantity:
		base := col.kind.Units[0].Symbol
		if col.key == "sg" {
			base = "SG"
		}
		return strings.TrimSpace(fmt.Sprintf("%.6g %s", c.num, base))
	case aCount:
		return fmt.Sprintf("%.0f", c.num)
	case aDate, aClock:
		return c.mom.say()
	case aName:
		if id := r.refs.id[col.key][compared(c.text)]; id != "" {
			return r.refs.title[id]
		}
		return ""
	}
	return shorten(c.text, 80)
}

func (m moment) say() string {
	date, clock := "", ""
	if m.hasDate {
		date = fmt.Sprintf("%04d-%02d-%02d", m.date.year, m.date.month, m.date.day)
	}
	if m.hasClock {
		clock = fmt.Sprintf("%02d:%02d", m.clock/3600000, m.clock/60000%60)
		if s := m.clock / 1000 % 60; s > 0 {
			clock += fmt.Sprintf(":%02d", s)
		}
	}
	return strings.TrimSpace(date + " " + clock)
}

// lacking says which runs will have no TPO, and what would give them one.
func (r *reading) lacking() (out []string) {
	noLot, noSG := 0, map[string]int{}
	for _, g := range r.order {
		if g.n > 0 && g.cap == nil && !r.refs.lotOn(g.formatID, g.from.UTC().Format("2006-01-02")) {
			noLot++
		}
		if g.n > 0 && g.sg == nil && !r.refs.sg[g.beerID] {
			noSG[r.refs.title[g.beerID]]++
		}
	}
	if noLot > 0 {
		out = append(out, fmt.Sprintf("%d of %d runs have no capacity in force on their day: they get no TPO. Enter or import the lots with their first day first, or add a capacity column.", noLot, r.out.Counts.Runs))
	}
	for beer, n := range noSG {
		out = append(out, fmt.Sprintf("%s has no specific gravity: no TPO in %d of its runs. Enter it on the beer first, or add a column.", beer, n))
	}
	slices.Sort(out)
	return out
}

// finish puts what was gathered of the whole file into the preview.
func (r *reading) finish() {
	out := &r.out
	slices.SortStableFunc(out.Same, func(a, b lab.ImportSame) int {
		if a.Odd != b.Odd {
			return map[bool]int{true: 1, false: -1}[a.Odd]
		}
		return b.Rows - a.Rows
	})
	for _, g := range r.order {
		if g.n == 0 {
			continue
		}
		out.Counts.Runs++
		if len(out.Runs) < shownRuns {
			out.Runs = append(out.Runs, lab.ImportRun{Code: g.code, Beer: r.refs.title[g.beerID], Format: r.refs.title[g.formatID],
				Line: r.refs.title[g.lineID], StartedAt: lab.At(g.from), EndedAt: lab.At(g.to), Samples: g.n})
		}
	}
	out.Assumptions = append(out.Assumptions, r.lacking()...)
	for _, f := range r.formats {
		if f.made != nil {
			out.Counts.Formats++
		}
	}
	for _, u := range r.unknown {
		out.Unknown = append(out.Unknown, *u)
	}
	slices.SortFunc(out.Unknown, func(a, b lab.ImportUnknown) int { return strings.Compare(a.Field+a.Text, b.Field+b.Text) })
	// Lists in an answer are never null.
	out.Rows, out.Faults = append([]lab.ImportRow{}, out.Rows...), append([]lab.ImportFault{}, out.Faults...)
	out.Same, out.Runs = append([]lab.ImportSame{}, out.Same...), append([]lab.ImportRun{}, out.Runs...)
	out.Unknown = append([]lab.ImportUnknown{}, out.Unknown...)
}
