package ingest

import (
	"testing"

	"ullage/internal/lab"
)

// A direct TPO stands beside the shaken DO of its row, or makes a package of its
// own; it never becomes a DO, and a calculated TPO of the log never becomes it.
func TestImportOfDirectReadings(t *testing.T) {
	b := newBench(t)
	f := b.csv("Date,Time,Beer,Format,Line,Head,Shaken DO (ppb),Unshaken DO (ppb),Temp (°C),Gross (g),TPO (ppb),Direct TPO (ppm)\n" +
		"2026-10-05,09:40,Vellumrook,Can 355,C6,4,44,,3.8,371.9,,0.093\n" +
		"2026-10-05,09:50,Vellumrook,Can 355,C6,5,,,3.8,,,0.12\n" +
		"2026-10-05,10:00,Vellumrook,Can 355,C6,6,,41,3.8,,99,0.101\n")
	b.imported(f, b.sure(b.proposed(f)))
	s := all[lab.Sample](b, lab.KindSamples)
	if len(s) != 4 {
		t.Fatalf("%d samples: %+v", len(s), s)
	}
	both, alone := s[0], s[1]
	if both.SampleKind != "shaken" || *both.Inputs.DirectPpb != 93 || !both.Result.IsDirect() || *both.Result.TPOPpb != 93 || both.OtherResult.IsDirect() || *both.OtherResult.TPOPpb < 80 || both.Raw["direct"] != "0.093 ppm" {
		t.Errorf("both ways: %+v %+v %+v", both, both.Result, both.OtherResult)
	}
	if alone.SampleKind != lab.Direct || alone.Inputs.DOPpb != nil || *alone.Result.TPOPpb != 120 || !alone.Result.IsDirect() || alone.OtherResult != nil {
		t.Errorf("alone: %+v %+v", alone, alone.Result)
	}
	for _, x := range s[2:] {
		switch x.SampleKind {
		case "unshaken":
			if x.Inputs.DirectPpb != nil || x.Raw["direct"] != "" {
				t.Errorf("an unshaken DO got the TPO: %+v", x)
			}
		case lab.Direct:
			if *x.Result.TPOPpb != 101 || len(x.ResultsBefore) != 1 || *x.ResultsBefore[0].TPOPpb != 99 {
				t.Errorf("beside a TPO of the log: %+v %+v", x.Result, x.ResultsBefore)
			}
		default:
			t.Errorf("kind %s", x.SampleKind)
		}
	}
}
