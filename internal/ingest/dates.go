package ingest

import (
	"strconv"
	"strings"
	"time"
)

// day is a date as written; clock is a time of day in milliseconds.
type day struct{ year, month, day int }

// moment is what a cell says of time: a date, a clock, or both. zoned is set
// when the cell carries its own offset.
type moment struct {
	date     day
	hasDate  bool
	clock    int
	hasClock bool
	zoned    bool
	offset   int // seconds east
}

var months = map[string]int{
	"jan": 1, "feb": 2, "mar": 3, "apr": 4, "may": 5, "jun": 6, "jul": 7, "aug": 8, "sep": 9, "oct": 10, "nov": 11, "dec": 12,
	"mär": 3, "mai": 5, "okt": 10, "dez": 12, "fev": 2, "avr": 4, "ene": 1, "abr": 4, "ago": 8, "dic": 12, "set": 9, "out": 10,
}

var notTime = &cellFault{"is not a date or a time", "write it like 2026-11-05 09:40"}

// readMoment reads dates in digits in the given order (ymd, dmy, mdy), with a
// month's name in any order, ISO 8601, and clocks with or without am and pm.
func readMoment(cell, order string) (moment, error) {
	var m moment
	text := strings.ToLower(strings.TrimSpace(marks.Replace(cell)))
	if len(text) > 60 {
		return m, notTime
	}
	if i := strings.IndexByte(text, ':'); i >= 0 {
		if err := m.readClock(text, i, &text); err != nil {
			return m, err
		}
	}
	text = strings.Trim(text, " ,t")
	if text == "" {
		if !m.hasClock {
			return m, notTime
		}
		return m, nil
	}
	return m, m.readDate(text, order)
}

// readClock takes the clock, whose first colon is at i, out of the text.
func (m *moment) readClock(text string, i int, rest *string) error {
	start := i
	for start > 0 && isDigit(text[start-1]) {
		start--
	}
	end := i
	for end < len(text) && (isDigit(text[end]) || text[end] == ':' || text[end] == '.') {
		end++
	}
	parts := strings.Split(strings.TrimRight(text[start:end], "."), ":")
	tail := strings.TrimSpace(text[end:])
	if len(parts) > 3 {
		return notTime
	}
	h, err1 := strconv.Atoi(parts[0])
	mi, err2 := strconv.Atoi(parts[1])
	s := 0.0
	var err3 error
	if len(parts) == 3 {
		s, err3 = strconv.ParseFloat(parts[2], 64)
	}
	if err1 != nil || err2 != nil || err3 != nil || mi > 59 || s >= 60 || h > 24 {
		return notTime
	}
	tail = strings.ReplaceAll(tail, ".", "")
	for _, half := range []string{"am", "pm"} {
		if strings.HasPrefix(tail, half) {
			if h < 1 || h > 12 {
				return notTime
			}
			h = h%12 + map[string]int{"am": 0, "pm": 12}[half]
			tail = strings.TrimSpace(tail[2:])
		}
	}
	if h == 24 {
		return notTime
	}
	tail = m.readOffset(strings.TrimSpace(strings.TrimPrefix(tail, "uhr")))
	m.clock, m.hasClock = (h*60+mi)*60000+int(s*1000+0.5), true
	*rest = strings.TrimSpace(text[:start] + " " + tail)
	return nil
}

// readOffset takes "z", "utc" or "+02:00" off the front.
func (m *moment) readOffset(tail string) string {
	for _, z := range []string{"utc", "gmt", "z"} {
		if strings.HasPrefix(tail, z) {
			m.zoned = true
			tail = strings.TrimSpace(tail[len(z):])
		}
	}
	if tail == "" || tail[0] != '+' && tail[0] != '-' {
		return tail
	}
	digits := strings.ReplaceAll(tail[1:], ":", "")
	if len(digits) == 2 {
		digits += "00"
	}
	n, err := strconv.Atoi(digits)
	if err != nil || len(digits) != 4 || n/100 > 14 || n%100 > 59 {
		return tail
	}
	m.zoned, m.offset = true, (n/100*60+n%100)*60
	if tail[0] == '-' {
		m.offset = -m.offset
	}
	return ""
}

func (m *moment) readDate(text, order string) error {
	parts := strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune("-/. ,\u2010\u2011", r) })
	if len(parts) == 4 && len(parts[0]) >= 2 && !isDigit(parts[0][0]) && monthOf(parts[0]) == 0 {
		parts = parts[1:] // the name of the weekday
	}
	if len(parts) == 1 && len(parts[0]) == 8 && order == "ymd" {
		parts = []string{parts[0][:4], parts[0][4:6], parts[0][6:]}
	}
	if len(parts) != 3 {
		return notTime
	}
	var d day
	var num []int
	for _, p := range parts {
		if mon := monthOf(p); mon > 0 {
			if d.month > 0 {
				return notTime
			}
			d.month = mon
			continue
		}
		p = strings.TrimRight(p, "stndrhº°")
		n, err := strconv.Atoi(p)
		if err != nil || len(p) > 4 {
			return notTime
		}
		num = append(num, n)
		if len(p) > 2 {
			if d.year > 0 {
				return notTime
			}
			d.year = n
			num = num[:len(num)-1]
			if len(num) == 0 && d.month == 0 {
				order = "ymd"
			} else if d.month == 0 && order == "ymd" {
				order = ""
			}
		}
	}
	if order == "" && d.month == 0 {
		return &cellFault{"does not say which is the day and which the month", "choose the order of day and month"}
	}
	if !d.place(num, order) {
		return notTime
	}
	t := time.Date(d.year, time.Month(d.month), d.day, 0, 0, 0, 0, time.UTC)
	if d.month < 1 || d.month > 12 || t.Day() != d.day {
		return &cellFault{"is no day of the calendar", "check the date and the order of day and month"}
	}
	m.date, m.hasDate = d, true
	return nil
}

// place gives the numbers left over their meaning.
func (d *day) place(num []int, order string) bool {
	take := func() int { n := num[0]; num = num[1:]; return n }
	if d.year == 0 && order == "ymd" && d.month == 0 && len(num) == 3 {
		d.year = century(take())
	}
	switch {
	case d.month > 0 && len(num) >= 1:
		d.day = take()
	case len(num) >= 2 && order == "dmy":
		d.day, d.month = take(), take()
	case len(num) >= 2:
		d.month, d.day = take(), take()
	default:
		return false
	}
	if d.year == 0 && len(num) == 1 {
		d.year = century(take())
	}
	return len(num) == 0 && d.year > 0
}

func century(n int) int {
	if n < 70 {
		return 2000 + n
	}
	return 1900 + n
}

func monthOf(word string) int {
	if word == "" || isDigit(word[0]) {
		return 0
	}
	r := []rune(word)
	return months[string(r[:min(len(r), 3)])]
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

// orderOf tells which orders of day and month the dates of a column allow.
// seen is false where every date says its order itself.
func orderOf(cells []string) (dmy, mdy, seen bool) {
	dmy, mdy = true, true
	for _, c := range cells {
		text, _, _ := strings.Cut(strings.TrimSpace(c), " ")
		parts := strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune("-/.", r) })
		if len(parts) != 3 || len(parts[0]) > 2 {
			continue
		}
		a, err1 := strconv.Atoi(parts[0])
		b, err2 := strconv.Atoi(parts[1])
		if err1 != nil || err2 != nil {
			continue
		}
		seen = true
		dmy, mdy = dmy && b <= 12 && a <= 31, mdy && a <= 12 && b <= 31
		if strings.Contains(text, ".") {
			mdy = false // a date with full stops begins with the day
		}
	}
	return dmy, mdy, seen
}
