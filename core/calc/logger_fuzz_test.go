package calc_test

import "testing"

// FuzzLogger gives any text as a temperature logger's file, with any order of dates.
func FuzzLogger(f *testing.F) {
	for _, text := range []string{"time,temperature_c\n2026-05-01 00:00,4\n2026-05-02 00:00,20\n", "Datum;Temp °C\n1.5.26 0:00;4,0\n2.5.26 0:00;20,5\n", "\ufeffhours\ttemp F\n0\t39.2\n24\t68\n",
		"Logger 7\nStart 1\nDate,Time,Temperature (F)\n05/01/2026,12:00 AM,39.2\n05/01/2026,11:00 PM,1e999\n", "time,temp\nsoon,4\n", "days,temp\n-1,4\n0,5\n0,6\n1e308,7\n", ",,,\n;;;"} {
		f.Add(text, "")
		f.Add(text, "mdy")
	}
	f.Fuzz(func(t *testing.T, text, order string) {
		fuzzOne(t, "age", string(encode(t, object{"logger": text, "date_order": order})))
	})
}
