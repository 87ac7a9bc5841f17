package ingest

import (
	"context"
	"crypto/sha256"
	"fmt"
	"strconv"
	"strings"
	"time"

	"ullage/internal/lab"
)

// plan reads rows under a checked mapping.
type plan struct {
	f     *File
	k     facts
	m     *lab.ImportMapping
	refs  *refs
	zone  *time.Location
	now   time.Time
	label string
	cols  []bound        // the columns that are read
	at    map[string]int // field → place in cols

	groups  map[string]*group
	order   []*group
	formats map[string]*lotFormat
	seen    map[[16]byte]repeat
	unknown map[[2]string]*lab.ImportUnknown
	heads   map[string]int // line → highest head
}

type bound struct {
	*field
	i      int // column of the file
	header string
	unit   string
}

type repeat struct{ first, count int32 }

// cell is one cell as read.
type cell struct {
	text string
	num  float64
	mom  moment
	ok   bool // there is a value
}

// draft is what a row becomes.
type draft struct {
	row     int
	cells   []cell // like plan.cols
	faults  []lab.ImportFault
	group   *group
	samples []*lab.Sample
	format  *lotFormat
	lot     *lab.FormatLot
	repeats bool // left out: an earlier row is the same
}

// faulty tells whether the row is left out.
func (d *draft) faulty() bool {
	for _, f := range d.faults {
		if !f.Odd {
			return true
		}
	}
	return false
}

func newPlan(ctx context.Context, svc *lab.Service, f *File, k facts, m *lab.ImportMapping) (*plan, error) {
	refs, err := loadRefs(ctx, svc, m)
	if err != nil {
		return nil, err
	}
	now := time.Now
	if svc.Now != nil {
		now = svc.Now
	}
	p := &plan{f: f, k: k, m: m, refs: refs, now: now(), label: f.label(), at: map[string]int{}, groups: map[string]*group{},
		formats: map[string]*lotFormat{}, seen: map[[16]byte]repeat{}, unknown: map[[2]string]*lab.ImportUnknown{}, heads: map[string]int{}}
	if p.zone, err = time.LoadLocation(m.TimeZone); err != nil {
		return nil, refuse("mapping.time_zone", m.TimeZone, "is not a known time zone", "use an IANA name such as Europe/Berlin")
	}
	for i, c := range m.Columns {
		if fd := fieldOf(m.Target, c.Field); fd != nil {
			p.at[fd.key] = len(p.cols)
			p.cols = append(p.cols, bound{fd, i, c.Header, c.Unit})
		}
	}
	return p, nil
}

// rewind makes the plan ready for a second reading of the file: what the first
// found of runs stays.
func (p *plan) rewind() { p.seen = map[[16]byte]repeat{} }

// read reads one row.
func (p *plan) read(r rowText) *draft {
	d := &draft{row: r.n}
	if r.fault != nil {
		d.faults = append(d.faults, *r.fault)
		return d
	}
	rep, sum := p.repeat(r)
	d.cells = make([]cell, len(p.cols))
	for j := range p.cols {
		p.cell(d, j, r)
	}
	for i := len(p.m.Columns); i < len(r.cells); i++ {
		if strings.TrimSpace(r.cells[i]) != "" {
			d.faults = append(d.faults, lab.ImportFault{File: p.label, Row: r.n, Value: shorten(r.cells[i], 80),
				Message: fmt.Sprintf("the row has %d cells where the header has %d", len(r.cells), len(p.m.Columns)),
				Mend:    "a decimal comma, a missing or an extra separator?"})
			return d
		}
	}
	if p.m.Target == lots {
		p.lotRow(d)
	} else {
		p.sampleRow(d, sum, rep)
	}
	if rep.count > 0 && p.m.Repeats == "skip" {
		d.repeats = true
		d.samples, d.lot = nil, nil
	}
	return d
}

// repeat tells whether an earlier row has the same text in every cell.
func (p *plan) repeat(r rowText) (repeat, [16]byte) {
	cells := r.cells
	for len(cells) > 0 && strings.TrimSpace(cells[len(cells)-1]) == "" {
		cells = cells[:len(cells)-1]
	}
	h := sha256.Sum256([]byte(strings.Join(cells, "\x1f")))
	sum := [16]byte(h[:16])
	rep, known := p.seen[sum]
	if known {
		rep.count++
	} else {
		rep.first = int32(r.n)
	}
	p.seen[sum] = rep
	return rep, sum
}

func (p *plan) fault(d *draft, j int, odd bool, message, mend string) {
	f := lab.ImportFault{File: p.label, Row: d.row, Message: message, Mend: mend, Odd: odd}
	if j >= 0 {
		f.Column, f.Field = p.cols[j].header, p.cols[j].key
		f.Value = strings.Clone(shorten(strings.Map(printable, d.cells[j].text), 80)) // not its part of the file
	}
	d.faults = append(d.faults, f)
}

// cell reads one cell by its field.
func (p *plan) cell(d *draft, j int, r rowText) {
	col := &p.cols[j]
	if col.i >= len(r.cells) {
		return
	}
	c := &d.cells[j]
	c.text = strings.TrimSpace(r.cells[col.i])
	if len(c.text) > maxCell {
		p.fault(d, j, false, "is longer than 2,000 bytes", "shorten it")
		return
	}
	if nothing(c.text) {
		c.text = ""
		return
	}
	if p.k.workbook && (col.sort == aDate || col.sort == aClock) {
		if t, ok := serialDate(c.text, p.k.epoch4); ok {
			c.text = t
		}
	}
	if err := p.parse(c, col); err != nil {
		e, ok := err.(*cellFault)
		if !ok {
			e = &cellFault{err.Error(), ""}
		}
		p.fault(d, j, false, e.message, e.mend)
		return
	}
	c.ok = true
	if col.sort == aQuantity && !col.usualBase(c.num) {
		p.fault(d, j, true, "is unusual", p.otherUnit(c, col))
	}
}

func (p *plan) parse(c *cell, col *bound) (err error) {
	switch col.sort {
	case aQuantity:
		c.num, err = value(col.kind, c.text, p.m.Decimal, col.unit)
		return err
	case aCount:
		return parseCount(c)
	case aDate, aClock:
		c.mom, err = readMoment(c.text, p.m.DateOrder)
		return err
	case aChoice:
		word, ok := choices[p.m.Target+"/"+col.key][compared(c.text)]
		if !ok {
			return &cellFault{"is not one of the choices", "write " + strings.TrimPrefix(col.name[strings.IndexByte(col.name, ':')+1:], " ")}
		}
		c.text = word
	}
	return nil
}

func parseCount(c *cell) error {
	digits := strings.TrimLeft(strings.TrimSuffix(c.text, ".0"), "#HhVv. ")
	n := 0
	if digits == "" || len(digits) > 6 {
		return &cellFault{"is not a whole number", "write it like 4"}
	}
	for _, ch := range []byte(digits) {
		if !isDigit(ch) {
			return &cellFault{"is not a whole number", "write it like 4"}
		}
		n = n*10 + int(ch-'0')
	}
	c.num = float64(n)
	return nil
}

// usualBase tells a value that needs no second look. Small and large readings
// happen: the bounds are wider than those that tell units apart.
func (f *field) usualBase(base float64) bool {
	lo, hi := f.band[0]/5, f.band[1]*2
	switch {
	case f.key == "temperature":
		lo, hi = f.band[0], 35
	case f.key == "sg" || f.key == "co2":
		lo, hi = f.band[0]*0.97, f.band[1]*1.1
	}
	return base >= lo && base <= hi
}

// otherUnit is the mend of an unusual value: the unit in which it would be usual.
func (p *plan) otherUnit(c *cell, col *bound) string {
	digits, own, err := number(c.text, p.m.Decimal)
	if v, perr := strconv.ParseFloat(digits, 64); err == nil && perr == nil && own == "" {
		for _, u := range col.usual(v) {
			if !strings.EqualFold(u, col.unit) {
				return "check it: is it in " + u + "?"
			}
		}
	}
	return "check the value and its unit"
}

// get gives a cell by its field; nil if it holds nothing.
func (p *plan) get(d *draft, key string) *cell {
	j, ok := p.at[key]
	if !ok || !d.cells[j].ok {
		return nil
	}
	return &d.cells[j]
}

func (p *plan) num(d *draft, key string) *float64 {
	if c := p.get(d, key); c != nil {
		return lab.Num(c.num)
	}
	return nil
}

func (p *plan) count(d *draft, key string) int {
	if c := p.get(d, key); c != nil {
		return int(c.num)
	}
	return 0
}

func (p *plan) text(d *draft, key string) string {
	if c := p.get(d, key); c != nil {
		return c.text
	}
	return ""
}

// place gives the place of a field's column, -1 without one.
func (p *plan) place(key string) int {
	if j, ok := p.at[key]; ok {
		return j
	}
	return -1
}
