package ingest

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"ullage/internal/lab"
)

// headRows is how much of a file a proposal looks at.
const headRows = 500

// head reads the first rows of a file, those before the header too.
func (f *File) head(k facts, m *lab.ImportMapping) ([]rowText, error) {
	rows, err := f.rows(k, m)
	if err != nil {
		return nil, err
	}
	defer rows.close()
	var out []rowText
	for len(out) < headRows {
		row, err := rows.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		out = append(out, row)
	}
	return out, nil
}

// propose makes a mapping from the header's words and the look of the cells.
func (f *File) propose(k facts, zone string) (lab.ImportMapping, error) {
	m := lab.ImportMapping{Target: samples, Encoding: k.encoding, Decimal: ".", DateOrder: "ymd", TimeZone: zone}
	if k.workbook {
		m.Sheet = k.sheets[0]
	} else {
		text, err := f.start(k)
		if err != nil {
			return m, err
		}
		m.Separator = separatorOf(text)
	}
	head, err := f.head(k, &m)
	if err != nil {
		return m, err
	}
	if len(head) == 0 {
		return m, refuse("file", f.Name, "has no row with anything in it", "choose another sheet or file")
	}
	at := headerAt(head)
	m.HeaderRow = head[at].n
	remap(&m, head)
	return m, nil
}

// start gives the first part of a CSV file as UTF-8.
func (f *File) start(k facts) (string, error) {
	r, err := f.rows(k, &lab.ImportMapping{Encoding: k.encoding})
	if err != nil {
		return "", err
	}
	defer r.close()
	c := r.(*csvRows)
	for !c.eof && len(c.text) < 32<<10 {
		if err := c.fill(); err != nil {
			return "", err
		}
	}
	return c.text, nil
}

// headerAt finds the row of column names among the first rows.
func headerAt(head []rowText) int {
	best, score := 0, -1
	for i, row := range head[:min(len(head), 20)] {
		known, full := 0, 0
		for _, c := range row.cells {
			if strings.TrimSpace(c) == "" {
				continue
			}
			full++
			if _, _, err := number(c, "."); err == nil {
				continue // a number is no name
			}
			if max(scoreOf(c, samples), scoreOf(c, lots)) > 0 {
				known++
			}
		}
		if s := known*1000 + min(full, 99); s > score && row.fault == nil && (known > 0 || score < 0) {
			best, score = i, s
		}
	}
	return best
}

func scoreOf(header, target string) int {
	best := 0
	for i := range fields {
		if fields[i].target == target {
			best = max(best, fields[i].score(header))
		}
	}
	return best
}

// score tells how well a header names a field: 10 for each word of the best
// phrase whose words all stand in it, less what else stands there.
func (f *field) score(header string) int {
	words, _ := wordsOf(header)
	if len(words) == 0 || len(words) > 12 {
		return 0
	}
	best := 0
	for _, phrase := range f.words {
		need := strings.Fields(phrase)
		found := true
		for _, w := range need {
			found = found && slices.Contains(words, w)
		}
		if found {
			best = max(best, 10*len(need)+5-min(len(words)-len(need), 4))
		}
	}
	return best
}

// remap proposes everything that follows from the header row.
func remap(m *lab.ImportMapping, head []rowText) {
	var header []string
	var body []rowText
	for _, row := range head {
		if row.n == m.HeaderRow {
			header = row.cells
		} else if row.n > m.HeaderRow && row.fault == nil {
			body = append(body, row)
		}
	}
	width := widthOf(header, body)
	m.Columns = make([]lab.ImportColumn, min(width, MaxColumns))
	for i := range m.Columns {
		if i < len(header) {
			m.Columns[i].Header = shorten(strings.TrimSpace(strings.Map(printable, header[i])), 100)
		}
		if m.Columns[i].Header == "" {
			m.Columns[i].Header = fmt.Sprintf("column %d", i+1)
		}
	}
	m.Target = targetOf(m.Columns)
	assign(m)
	detect(m, body)
}

// widthOf is how many columns a file has: those of the header, and those
// behind it that most rows fill.
func widthOf(header []string, body []rowText) int {
	width := len(header)
	for width > 0 && strings.TrimSpace(header[width-1]) == "" {
		width--
	}
	filled := map[int]int{}
	for _, row := range body {
		for i := width; i < len(row.cells) && i < MaxColumns; i++ {
			if strings.TrimSpace(row.cells[i]) != "" {
				filled[i]++
			}
		}
	}
	last := width
	for i, n := range filled {
		if n > len(body)/2 {
			last = max(last, i+1)
		}
	}
	return last
}

func targetOf(columns []lab.ImportColumn) string {
	n := map[string]int{}
	oxygen := false
	for _, c := range columns {
		for _, target := range []string{samples, lots} {
			if scoreOf(c.Header, target) > 0 {
				n[target]++
			}
		}
		for _, key := range []string{"do", "do_shaken", "do_unshaken", "do_inlet", "tpo", "tpo_direct"} {
			oxygen = oxygen || fieldOf(samples, key).score(c.Header) > 0
		}
	}
	if !oxygen && n[lots] > 1 && n[lots] >= n[samples] {
		return lots
	}
	return samples
}

// assign gives each field to the column that names it best.
func assign(m *lab.ImportMapping) {
	type fit struct{ col, field, score int }
	var fits []fit
	for i, c := range m.Columns {
		for j := range fields {
			if fields[j].target != m.Target {
				continue
			}
			if s := fields[j].score(c.Header); s > 0 {
				fits = append(fits, fit{i, j, s})
			}
		}
	}
	slices.SortStableFunc(fits, func(a, b fit) int { return b.score - a.score })
	taken := map[string]bool{}
	for _, x := range fits {
		c, f := &m.Columns[x.col], &fields[x.field]
		if c.Field == "" && !taken[f.key] {
			c.Field, taken[f.key] = f.key, true
			c.Why = fmt.Sprintf("the header says “%s”", c.Header)
		}
	}
}

// column gives the place of the column with a field, -1 without one.
func column(m *lab.ImportMapping, key string) int {
	return slices.IndexFunc(m.Columns, func(c lab.ImportColumn) bool { return c.Field == key })
}

func has(m *lab.ImportMapping, keys ...string) bool {
	return slices.ContainsFunc(keys, func(k string) bool { return column(m, k) >= 0 })
}

// cellsOf gives what stands in a column, without blanks.
func cellsOf(body []rowText, i int) []string {
	var out []string
	for _, row := range body {
		if i < len(row.cells) {
			if c := strings.TrimSpace(row.cells[i]); !nothing(c) {
				out = append(out, c)
			}
		}
	}
	return out
}

// detect proposes what the cells show: marks, orders, units, whose tare.
func detect(m *lab.ImportMapping, body []rowText) {
	joinClock(m, body)
	m.Decimal, _ = decimalOf(m, body)
	m.DateOrder, _ = dateOrder(m, body)
	for i := range m.Columns {
		if f := fieldOf(m.Target, m.Columns[i].Field); f != nil && f.sort == aQuantity {
			u := lookUnit(f, m.Columns[i].Header, cellsOf(body, i), m.Decimal)
			m.Columns[i].Unit = u.unit
			m.Columns[i].Why += "; " + u.why
		}
	}
	if m.Target != samples {
		return
	}
	m.GroupBy = "day"
	if has(m, "code") {
		m.GroupBy = "code"
	}
	m.Repeats = "keep"
	if has(m, "taken_at", "time", "closed_at") {
		m.Repeats = "skip"
	}
	if i := column(m, "do"); i >= 0 {
		m.SampleKind = "shaken"
	}
	if i := column(m, "tare"); i >= 0 {
		m.TareSource = "own"
		cells := slices.Compact(slices.Sorted(slices.Values(cellsOf(body, i))))
		if len(cells) <= 1+len(body)/20 {
			m.TareSource = "lot"
		}
	}
}

// decimalOf finds the decimal mark of the numbers; sure is false where each
// could be read either way.
func decimalOf(m *lab.ImportMapping, body []rowText) (mark string, sure bool) {
	var cells []string
	for i := range m.Columns {
		if f := fieldOf(m.Target, m.Columns[i].Field); f != nil && f.sort == aQuantity {
			cells = append(cells, cellsOf(body, i)...)
		}
	}
	return decimalIn(cells)
}

func decimalIn(cells []string) (mark string, sure bool) {
	commas, points, either := 0, 0, 0
	for _, c := range cells {
		c = strings.TrimRight(c, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ°µμ/% ")
		comma, point := strings.LastIndexByte(c, ','), strings.LastIndexByte(c, '.')
		switch {
		case comma < 0 && point < 0:
		case comma >= 0 && point >= 0 && comma > point:
			commas++
		case comma >= 0 && point >= 0, comma < 0:
			points++
		case len(c)-comma-1 == 3 && comma <= 3 && comma > 0 && c[:comma] != "0":
			either++
		default:
			commas++
		}
	}
	switch {
	case commas > points:
		return ",", points == 0
	case commas == 0 && points == 0 && either > 0:
		return ",", false
	}
	return ".", commas == 0
}

// dateOrder finds the order of day and month; sure is false where the file
// does not show it.
func dateOrder(m *lab.ImportMapping, body []rowText) (order string, sure bool) {
	var cells []string
	for i := range m.Columns {
		if f := fieldOf(m.Target, m.Columns[i].Field); f != nil && f.sort == aDate {
			cells = append(cells, cellsOf(body, i)...)
		}
	}
	dmy, mdy, seen := orderOf(cells)
	switch {
	case !seen:
		return "ymd", true
	case dmy && !mdy:
		return "dmy", true
	case mdy && !dmy:
		return "mdy", true
	}
	return "dmy", false
}

// joinClock makes a column of dates or of times that holds both a column of
// date and time.
func joinClock(m *lab.ImportMapping, body []rowText) {
	if has(m, "taken_at") || m.Target != samples {
		return
	}
	for _, key := range []string{"date", "time"} {
		i := column(m, key)
		if i < 0 || key == "date" && has(m, "time") || key == "time" && has(m, "date") {
			continue
		}
		both, cells := 0, cellsOf(body, i)
		for _, c := range cells {
			if t, ok := serialDate(c, false); ok {
				c = t
			}
			if x, err := readMoment(c, "dmy"); err == nil && x.hasDate && x.hasClock {
				both++
			} else if x, err := readMoment(c, "mdy"); err == nil && x.hasDate && x.hasClock {
				both++
			}
		}
		if both > len(cells)/2 {
			m.Columns[i].Field = "taken_at"
			m.Columns[i].Why += ", and its cells hold date and time"
			return
		}
	}
}
