package ingest

import (
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"ullage/internal/lab"
)

// group is a run as the file's rows make it.
type group struct {
	key, code              string
	beerID, formatID       string
	lineID, id             string
	from, to               time.Time
	n                      int
	sg, co2, abv, cap, tar *float64 // of the first row that says them
}

var readings = []struct{ key, kind string }{{"do_shaken", "shaken"}, {"do_unshaken", "unshaken"}, {"do_inlet", "inlet"}}

// fromFile is the method of a TPO that only the log knows.
const fromFile = "as the imported log has it"

// sampleRow makes the samples of a row, one for each reading in it.
func (p *plan) sampleRow(d *draft, sum [16]byte, rep repeat) {
	taken, closed := p.times(d)
	ids := map[string]string{}
	for _, key := range []string{"beer", "format", "line"} {
		ids[key] = p.resolve(d, key)
	}
	kinds := p.kindsIn(d)
	if len(kinds) == 0 && !d.faulty() {
		p.fault(d, -1, false, "the row holds no reading", "enter one, or leave the row out")
	}
	if rep.count > 0 {
		message, mend := "the row is the same as row "+strconv.Itoa(int(rep.first)), "nothing to do if it was read twice"
		if p.m.Repeats == "skip" {
			message, mend = message+" and is not read again", "choose to keep repeated rows if both are true"
		}
		p.fault(d, -1, true, message, mend)
	}
	if d.faulty() {
		return
	}
	d.group = p.groupOf(d, ids, taken, closed)
	for _, k := range kinds {
		s := p.sample(d, k, taken, closed, len(kinds))
		// The clock as written is part of the id, not the instant: it puts the
		// samples of a run in order.
		wall := time.Date(taken.Year(), taken.Month(), taken.Day(), taken.Hour(), taken.Minute(), taken.Second(), taken.Nanosecond(), time.UTC)
		n := strconv.Itoa(int(rep.count))
		s.ID = derived(wall.UnixMilli(), "sample", d.group.key, k.kind, n, hex.EncodeToString(sum[:]))
		s.RunID = anyRun
		if p.lawful(d, s, sampleColumn) {
			d.samples = append(d.samples, s)
		}
	}
	if d.faulty() || rep.count > 0 && p.m.Repeats == "skip" {
		d.samples = nil
		return
	}
	d.group.add(taken, closed)
}

type readingIn struct {
	kind string
	cell *cell // nil: a TPO alone
}

// kindsIn lists the readings of a row.
func (p *plan) kindsIn(d *draft) (list []readingIn) {
	for _, r := range readings {
		if c := p.get(d, r.key); c != nil {
			list = append(list, readingIn{r.kind, c})
		}
	}
	if c := p.get(d, "do"); c != nil {
		kind := p.m.SampleKind
		if j := p.place("kind"); j >= 0 {
			if kind = p.text(d, "kind"); kind == "" && d.cells[j].text == "" {
				p.fault(d, j, false, "is empty: shaken, unshaken or inlet is not said", "write which it was")
			}
		}
		list = append(list, readingIn{kind, c})
	}
	shaken := slices.ContainsFunc(list, func(r readingIn) bool { return r.kind == "shaken" })
	switch {
	case p.get(d, "tpo_direct") != nil && !shaken:
		list = append(list, readingIn{lab.Direct, nil})
	case len(list) == 0 && p.get(d, "tpo") != nil:
		list = append(list, readingIn{"shaken", nil})
	}
	return list
}

// resolve finds the record that a name of the row means.
func (p *plan) resolve(d *draft, key string) string {
	j := p.place(key)
	whole := map[string]string{"beer": p.m.BeerID, "format": p.m.FormatID, "line": p.m.LineID}[key]
	if j < 0 || d.cells[j].text == "" {
		if whole == "" && j >= 0 {
			p.fault(d, j, false, "is empty", "write its name, or choose one for rows that name none")
		} else if whole == "" || p.refs.title[whole] == "" {
			p.fault(d, -1, false, "no column says the "+key, "choose the "+key+" for the whole file")
		}
		return whole
	}
	text := d.cells[j].text
	if id := p.refs.id[key][compared(text)]; id != "" {
		return id
	}
	at := [2]string{key, compared(text)}
	if p.unknown[at] == nil {
		if len(p.unknown) < 500 {
			p.unknown[at] = &lab.ImportUnknown{Field: key, Text: strings.Clone(shorten(text, 150))}
		}
	}
	if u := p.unknown[at]; u != nil {
		u.Rows++
		p.heads[u.Text] = max(p.heads[u.Text], p.count(d, "head"))
		u.Propose = guess(key, u.Text, p.heads[u.Text])
	}
	p.fault(d, j, false, "stands for no "+map[string]string{"beer": "beer", "format": "package format", "line": "filling line"}[key]+" yet",
		"say which record it means, or have one made")
	return ""
}

// times gives the time of reading and of closing; closed may be zero.
func (p *plan) times(d *draft) (taken, closed time.Time) {
	date, t, c := p.get(d, "date"), p.get(d, "taken_at"), p.get(d, "closed_at")
	var on day
	switch {
	case date != nil && date.mom.hasDate:
		on = date.mom.date
	case t != nil && t.mom.hasDate:
		on = t.mom.date
	case p.get(d, "time") != nil && p.get(d, "time").mom.hasDate:
		on = p.get(d, "time").mom.date
	case c != nil && c.mom.hasDate:
		on = c.mom.date
	default:
		if !d.faulty() {
			p.fault(d, -1, false, "the row has no date", "enter the date")
		}
		return
	}
	var read moment
	switch clock := p.get(d, "time"); {
	case clock != nil:
		read = clock.mom
	case t != nil:
		read = t.mom
	case date != nil && date.mom.hasClock:
		read = date.mom
	case c != nil && c.mom.hasClock:
		read = c.mom
	default:
		read = moment{clock: 12 * 3600 * 1000, hasClock: true}
	}
	if !read.hasClock {
		read.clock = 12 * 3600 * 1000
	}
	if read.hasDate {
		on = read.date
	}
	taken = p.instant(d, on, read)
	if c != nil && c.mom.hasClock {
		cd := on
		if c.mom.hasDate {
			cd = c.mom.date
		}
		closed = p.instant(d, cd, c.mom)
		if !c.mom.hasDate && closed.After(taken) { // closed before midnight, read after it
			closed = closed.AddDate(0, 0, -1)
		}
	}
	if taken.After(p.now.Add(36 * time.Hour)) {
		p.fault(d, -1, false, taken.Format("2 January 2006")+" lies in the future", "check the order of day and month, and the year")
	}
	return taken, closed
}

// instant puts a date and a clock on the time line.
func (p *plan) instant(d *draft, on day, m moment) time.Time {
	zone := p.zone
	if m.zoned {
		zone = time.FixedZone("", m.offset)
	}
	t := time.Date(on.year, time.Month(on.month), on.day, m.clock/3600000, m.clock/60000%60, m.clock/1000%60, m.clock%1000*1e6, zone)
	if (t.Hour()*60+t.Minute())*60000 != m.clock/60000*60000 {
		p.fault(d, -1, true, fmt.Sprintf("%02d:%02d does not exist on that day: the clocks went forward", m.clock/3600000, m.clock/60000%60), "check the time zone")
	}
	return t
}

// groupOf finds or begins the run of a row.
func (p *plan) groupOf(d *draft, ids map[string]string, taken, closed time.Time) *group {
	code := ""
	start := taken
	if !closed.IsZero() && closed.Before(taken) {
		start = closed
	}
	what := "day " + taken.Format(time.DateOnly)
	if c := p.text(d, "code"); c != "" {
		code = strings.Clone(shorten(c, 150)) // a cell holds on to its part of the file
		if p.m.GroupBy == "code" {
			what = "code " + compared(c)
		}
	}
	key := strings.Join([]string{what, ids["beer"], ids["format"], ids["line"]}, "\x00")
	g := p.groups[key]
	if g == nil {
		g = &group{key: key, code: code, beerID: ids["beer"], formatID: ids["format"], lineID: ids["line"], from: start, to: taken}
		p.groups[key] = g
		p.order = append(p.order, g)
	}
	for _, v := range []struct {
		key string
		of  **float64
	}{{"sg", &g.sg}, {"co2", &g.co2}, {"abv", &g.abv}, {"capacity", &g.cap}, {"tare", &g.tar}} {
		if v.key == "tare" && p.m.TareSource == "own" {
			continue
		}
		x := p.num(d, v.key)
		switch {
		case x == nil:
		case *v.of == nil:
			*v.of = x
		case math.Abs(**v.of-*x) > 1e-9*math.Abs(*x):
			p.fault(d, p.place(v.key), true, "differs within the run, which keeps one value: "+strconv.FormatFloat(**v.of, 'g', 6, 64), "check it, or give the rows different run codes")
		}
	}
	return g
}

func (g *group) add(taken, closed time.Time) {
	g.n++
	if !closed.IsZero() && closed.Before(g.from) {
		g.from = closed
	}
	if taken.Before(g.from) {
		g.from = taken
	}
	if taken.After(g.to) {
		g.to = taken
	}
}

// sample makes one sample of a row.
func (p *plan) sample(d *draft, r readingIn, taken, closed time.Time, readings int) *lab.Sample {
	s := &lab.Sample{SampleKind: r.kind, SetNo: p.count(d, "set_no"), Raw: map[string]string{}, TakenAt: lab.At(taken)}
	if r.cell != nil {
		s.Inputs.DOPpb = lab.Num(round(r.cell.num))
	}
	skip := map[string]bool{"beer": true, "format": true, "line": true, "code": true, "note": true, "kind": true, "set_no": true, "head": true, "station": true}
	if r.kind != "inlet" {
		s.Head, s.Station = p.count(d, "head"), p.count(d, "station")
		if !closed.IsZero() {
			s.ClosedAt = lab.At(closed)
		}
	}
	s.Inputs.TemperatureC = rounded(p.num(d, "temperature"))
	// Weight and shaking belong to the shaken package, if there is one in the row.
	if r.kind == "shaken" || readings == 1 && r.kind == "unshaken" {
		s.Inputs.GrossG, s.Inputs.GapMM = rounded(p.num(d, "gross")), rounded(p.num(d, "gap"))
		if p.m.TareSource == "own" {
			s.Inputs.TareG = rounded(p.num(d, "tare"))
		}
	}
	if s.IsPackage() {
		s.Inputs.DirectPpb = rounded(p.num(d, "tpo_direct"))
		if t := p.num(d, "tpo"); t != nil {
			s.Result = &lab.Result{Method: fromFile, TPOPpb: rounded(t), ComputedBy: "device"}
		}
	}
	if r.kind == "shaken" {
		s.Inputs.ShakeMin = rounded(p.num(d, "shake"))
		s.TareSource = "lot"
		if s.Inputs.TareG != nil {
			s.TareSource = "own"
		}
	}
	for j := range p.cols {
		c, col := &d.cells[j], &p.cols[j]
		if !c.ok || skip[col.key] || strings.HasPrefix(col.key, "do") && c != r.cell || col.key == "tpo_direct" && !s.IsPackage() {
			continue
		}
		s.Raw[rawKey(col.key)] = typed(c.text, col)
	}
	s.Flags = flagsOf(p.text(d, "flags"))
	s.Note = shorten(strings.ToValidUTF8(p.text(d, "note"), "?"), 3000)
	return s
}

// rawKey is the name under which the entry page keeps what was typed.
func rawKey(key string) string {
	switch {
	case strings.HasPrefix(key, "do"):
		return "do"
	case key == "tpo_direct":
		return "direct"
	}
	return key
}

// typed is a cell as typed, with the column's unit if it names none.
func typed(text string, col *bound) string {
	if col.sort == aQuantity && col.unit != "" && strings.Trim(text, "0123456789.,+-' \u00a0\u202f\u2212eE") == "" {
		text += " " + col.unit
	}
	return shorten(text, 150)
}

// round takes off what converting a unit left in the last digits.
func round(v float64) float64 {
	r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 12, 64), 64)
	return r
}

func rounded(v *float64) *float64 {
	if v == nil {
		return nil
	}
	return lab.Num(round(*v))
}

func flagsOf(text string) (flags []string) {
	low := compared(text)
	if low == "" || low == "ok" || low == "no" || low == "0" {
		return nil
	}
	for _, f := range []struct{ flag, words string }{{"foam", "foam,gush,schaum"}, {"dent", "dent,delle"}, {"low_fill", "low fill,low_fill,lowfill,underfill,unterfüll"}, {"bulged", "bulg,swollen"}} {
		for _, w := range strings.Split(f.words, ",") {
			if strings.Contains(low, w) {
				flags = append(flags, f.flag)
				break
			}
		}
	}
	if flags == nil {
		flags = []string{"other"}
	}
	return flags
}

// anyRun stands for the run until it is known.
var anyRun = derived(0, "any run")

// lawful puts what lab says cannot be true of a record onto its row, at the
// column that its field came from.
func (p *plan) lawful(d *draft, r lab.Record, column func(field string) string) bool {
	err := lab.Check(r)
	if err == nil {
		return true
	}
	e, ok := errors.AsType[*lab.Error](err)
	if !ok {
		p.fault(d, -1, false, err.Error(), "")
		return false
	}
	for _, f := range e.Faults {
		j := p.place(column(f.Field))
		message := f.Message
		if j < 0 {
			message = f.Field + " " + message
		}
		p.fault(d, j, false, message, f.Mend)
	}
	return false
}

var columnOf = map[string]string{"inputs.temperature_c": "temperature", "inputs.gross_g": "gross", "inputs.tare_g": "tare", "inputs.gap_mm": "gap",
	"inputs.shake_min": "shake", "inputs.direct_ppb": "tpo_direct", "set_no": "set_no", "head": "head", "station": "station", "taken_at": "time", "closed_at": "closed_at"}

func sampleColumn(field string) string { return columnOf[strings.TrimPrefix(field, "record.")] }
