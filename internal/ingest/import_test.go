package ingest

import (
	"testing"

	"ullage/internal/lab"
)

func TestImportOfAPlainLog(t *testing.T) {
	b := newBench(t)
	f := b.csv(good)
	p := b.proposed(f)
	if len(p.Questions) != 1 || p.Questions[0].ID != "time_zone" {
		t.Errorf("questions %+v, want only the time zone", p.Questions)
	}
	if c := p.Counts; c.Rows != 3 || c.Faulty != 0 || c.Samples != 3 || c.Runs != 2 {
		t.Errorf("counts %+v\n%s", c, faultText(p.Faults))
	}
	if n := len(all[lab.Sample](b, lab.KindSamples)); n != 0 {
		t.Fatalf("%d samples were written by a preview", n)
	}
	got := b.imported(f, b.sure(p))
	if got.Counts.Created != 5 || got.Counts.Refused != 0 || got.Doing != "done" {
		t.Errorf("import %+v", got)
	}
	s := all[lab.Sample](b, lab.KindSamples)
	if len(s) != 3 || s[0].Result == nil || s[0].Result.TPOPpb == nil || s[0].Result.ComputedBy != "server" {
		t.Fatalf("samples %+v", s)
	}
	if v := *s[0].Result.TPOPpb; v < 80 || v > 115 {
		t.Errorf("TPO %g ppb of 44 ppb shaken at 3.8 °C in a normal can", v)
	}
	if s[0].Raw["do"] != "44 ppb" || s[0].By != "Quality tech" || s[0].Reason != "imported from log.csv, row 2" {
		t.Errorf("raw %v by %q reason %q", s[0].Raw, s[0].By, s[0].Reason)
	}
}
