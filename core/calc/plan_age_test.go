package calc_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

func loggerInput(text string) object { return object{"logger": text} }

// The ways loggers write their files, all of two days at 4 °C and one at 20 °C.
func TestLoggerFiles(t *testing.T) {
	for name, text := range map[string]string{
		"plain":            "time,temperature_c\n2026-05-01T00:00:00Z,4\n2026-05-02 00:00,4\n2026-05-03 00:00:00,4\n2026-05-03 00:00:01,20\n2026-05-04 00:00:01,20\n",
		"hours":            "hours,temperature_f\n0,39.2\n48,39.2\n48.0000001,68\n72,68\n",
		"head of its own":  "\ufeffLogger 7\r\nSerial;12\r\n\r\nNo.;Date;Time;Temperature (°C)\r\n1;01.05.2026;00:00;4,0\r\n2;03.05.2026;00:00;4,0\r\n3;03.05.2026;00:00:01;20,0\r\n4;04.05.2026;00:00:01;20,0\r\n",
		"slashes":          "\"Date/Time\",\"Temp °F\"\n\"5/1/2026 12:00 AM\",\"39.2\"\n\"5/13/2026 12:00 AM\",\"39.2\"\n",
		"tabs, own unit":   "days\ttemp\n0\t39,2 °F\n2\t4\n2,0000001\t20\n3\t20\n",
		"a column between": "time,humidity,temperature_c\n2026-05-01 00:00,80,4\n2026-05-03 00:00,81,4\n",
	} {
		r, _ := must(t, "age", loggerInput(text))
		read := r["read"].(object)
		days, age := number(t, r, "real_days"), number(t, r, "equivalent_days")
		var wantAge float64
		switch days := fmt.Sprintf("%.2f", days); days {
		case "3.00":
			wantAge = 2 + pow3(1.6)
		case "12.00":
			wantAge = 12
		case "2.00":
			wantAge = 2
		default:
			t.Errorf("%s: %s days", name, days)
		}
		if !near(age, wantAge, 1e-3) {
			t.Errorf("%s: age %g of %g days, want %g", name, age, days, wantAge)
		}
		if read["refused"] != 0.0 {
			t.Errorf("%s: %v", name, read)
		}
	}
}

func pow3(x float64) float64 { return math.Pow(3, x) }

// A broken row is left out and named by its line; the others go on.
func TestLoggerFaults(t *testing.T) {
	text := "time,temperature_c\n2026-05-01 00:00,4\n2026-05-01 12:00,warm\n2026-05-02 00:00,4\nyesterday,4\n2026-05-01 18:00,4\n2026-05-03 00:00,400\n2026-05-03 00:00\n2026-05-03 00:00,4\n"
	r, answer := must(t, "age", loggerInput(text))
	read := r["read"].(object)
	if read["rows"] != 8.0 || read["used"] != 3.0 || read["refused"] != 5.0 || !near(number(t, r, "equivalent_days"), 2, 1e-9) {
		t.Fatalf("%v", read)
	}
	for i, want := range []struct {
		line    float64
		message string
	}{{3, "not a number"}, {5, "is no time"}, {6, "earlier"}, {7, "outside"}, {8, "no temperature"}} {
		f := read["faults"].([]any)[i].(object)
		if f["line"] != want.line || !strings.Contains(f["message"].(string), want.message) || f["mend"] == "" {
			t.Errorf("fault %d: %v, want line %g, %s", i, f, want.line, want.message)
		}
	}
	if !strings.Contains(fmt.Sprint(answer["warnings"]), "rows_refused") {
		t.Error(answer["warnings"])
	}
}

func TestLoggerRefused(t *testing.T) {
	for _, c := range []struct{ field, message, text string }{
		{"logger", "lacks a head", "4,5\n6,7\n"},
		{"logger", "fewer than two rows", "time,temperature_c\n2026-05-01 00:00,4\n"},
		{"logger", `line 2: "soon"`, "time,temperature_c\nsoon,4\n"},
		{"date_order", "two ways", "time,temperature_c\n04/05/2026 10:00,4\n06/05/2026 10:00,4\n"},
	} {
		e := refused(t, "age", encode(t, loggerInput(c.text)))
		if e.Field != c.field || !strings.Contains(e.Message, c.message) || e.Mend == "" {
			t.Errorf("%q: %v", c.text, e)
		}
	}
	two := "time,temperature_c\n04/05/2026 10:00,4\n06/05/2026 10:00,4\n"
	for order, days := range map[string]float64{"dmy": 2, "mdy": 61} {
		r, _ := must(t, "age", object{"logger": two, "date_order": order})
		if !near(number(t, r, "real_days"), days, 1e-9) {
			t.Errorf("%s: %v days", order, r["real_days"])
		}
	}
	if e := refused(t, "age", []byte(`{"logger": "x", "date_order": "ymd"}`)); e.Field != "logger" {
		t.Error(e)
	}
}

// A gap is said, with its line; and the course ends at the age itself.
func TestLoggerGapAndCourse(t *testing.T) {
	var b strings.Builder
	b.WriteString("hours,temperature\n")
	for i := range 500 {
		h := float64(i)
		if i > 250 {
			h += 100
		}
		fmt.Fprintf(&b, "%g,%g\n", h, 4+float64(i%10))
	}
	r, answer := must(t, "age", loggerInput(b.String()))
	text := fmt.Sprint(answer["warnings"])
	if !strings.Contains(text, "before line 253") || !strings.Contains(text, "unit_taken") {
		t.Error(text)
	}
	course := r["course"].([]any)
	if len(course) > 121 || r["shares"] != nil {
		t.Errorf("%d points, shares %v", len(course), r["shares"])
	}
	last, before := course[len(course)-1].(object), 0.0
	if !near(number(t, last, "age_days"), number(t, r, "equivalent_days"), 1e-9) || !near(number(t, last, "low_days"), number(t, r, "low_days"), 1e-9) || !near(number(t, last, "high_days"), number(t, r, "high_days"), 1e-9) {
		t.Errorf("%v against %v", last, r["equivalent_days"])
	}
	for _, p := range course {
		o := p.(object)
		if number(t, o, "age_days") < before || number(t, o, "cold_c") > number(t, o, "hot_c") {
			t.Fatalf("%v after %g", o, before)
		}
		before = number(t, o, "age_days")
	}
}

// A logger of steady rows and the same stays typed are one history; a typed
// stay before a logger adds up.
func TestLoggerEqualsStays(t *testing.T) {
	file := "days,temperature_c\n0,10\n3,10\n3,30\n5,30\n"
	a, _ := must(t, "age", loggerInput(file))
	b, _ := must(t, "age", object{"history": []object{{"days": 3, "temperature_c": 10}, {"days": 2, "temperature_c": 30}}})
	if !near(number(t, a, "equivalent_days"), number(t, b, "equivalent_days"), 1e-12) {
		t.Errorf("%v, %v", a["equivalent_days"], b["equivalent_days"])
	}
	c, _ := must(t, "age", object{"logger": file, "history": []object{{"days": 7, "temperature_c": 4}}})
	if !near(number(t, c, "equivalent_days"), number(t, a, "equivalent_days")+7, 1e-12) {
		t.Errorf("%v", c["equivalent_days"])
	}
}
