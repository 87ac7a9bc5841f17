package lab

import (
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func TestGuardCell(t *testing.T) {
	for in, want := range map[string]string{
		"": "", "pale ale": "pale ale", "-12.5": "-12.5", "+3": "+3", "1e3": "1e3",
		"=1+1": "'=1+1", "+cmd": "'+cmd", "-2+3": "'-2+3", "@SUM(A1)": "'@SUM(A1)", "\t=1": "'\t=1", "\r=1": "'\r=1",
		"＝1+1": "'＝1+1", "a=1": "a=1",
	} {
		if got := GuardCell(in); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
}

func TestTime(t *testing.T) {
	for in, want := range map[string]string{
		`"2026-11-05T09:40:00Z"`:             `"2026-11-05T09:40:00.000Z"`,
		`"2026-11-05T09:40:00.123456+01:00"`: `"2026-11-05T09:40:00.123+01:00"`,
		`null`:                               `null`,
		`""`:                                 `null`,
	} {
		var v Time
		if err := json.Unmarshal([]byte(in), &v); err != nil {
			t.Errorf("%s: %v", in, err)
		}
		if got, err := json.Marshal(v); err != nil || string(got) != want {
			t.Errorf("%s: %s, want %s", in, got, want)
		}
	}
	for _, in := range []string{`"5.11.2026"`, `1762335600`, `"2026-11-05 09:40"`, `{}`} {
		var v Time
		if err := json.Unmarshal([]byte(in), &v); err == nil {
			t.Errorf("%s was read as %v", in, v)
		}
	}
}

func TestSpan(t *testing.T) {
	for d, want := range map[time.Duration]string{
		5 * time.Minute: "5 min", 130 * time.Minute: "2 h 10 min", 24 * time.Hour: "24 h 0 min", 50 * time.Hour: "2 d 2 h",
	} {
		if got := span(d); got != want {
			t.Errorf("%v: %q, want %q", d, got, want)
		}
	}
}

// Every record survives JSON, lists its references and refuses NaN: so no
// number can get past a rule by not being one.
func TestEveryKind(t *testing.T) {
	if len(makers) != len(Kinds()) {
		t.Errorf("%d kinds can be made, %d are listed", len(makers), len(Kinds()))
	}
	for _, k := range Kinds() {
		r := New(k)
		if r.Kind() != k {
			t.Errorf("a record of %s says it is of %s", k, r.Kind())
		}
		seen := map[Kind]bool{}
		for _, before := range Kinds() {
			if before == k {
				break
			}
			seen[before] = true
		}
		for _, ref := range r.Refs() {
			if !seen[ref.Kind] {
				t.Errorf("%s refers to %s, which comes later in Kinds", k, ref.Kind)
			}
		}
		each(reflect.ValueOf(r).Elem(), func(name string, v reflect.Value) {
			if v.Type() != reflect.TypeFor[*float64]() || name == "Meta.SkewS" || strings.HasPrefix(name, "Result.") {
				return
			}
			for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), -1e12, 1e12} {
				fresh := New(k)
				set(reflect.ValueOf(fresh).Elem(), name, &bad)
				err := Check(fresh)
				if err == nil || !mentions(err.(*Error), bad) {
					t.Errorf("%s.%s takes %v", k, name, bad)
				}
			}
		})
	}
}

func mentions(e *Error, x float64) bool {
	for _, f := range e.Faults {
		if v, ok := f.Value.(float64); ok && (v == x || math.IsNaN(v) && math.IsNaN(x)) {
			return true
		}
	}
	return false
}

// each visits the fields of a struct and of the structs in it.
func each(v reflect.Value, do func(name string, v reflect.Value)) {
	for i := range v.NumField() {
		f, name := v.Field(i), v.Type().Field(i).Name
		if f.Kind() == reflect.Struct && f.Type() != timeType {
			each(f, func(sub string, v reflect.Value) { do(name+"."+sub, v) })
			continue
		}
		do(name, f)
	}
}

func set(v reflect.Value, name string, x *float64) {
	for part := range strings.SplitSeq(name, ".") {
		v = v.FieldByName(part)
	}
	v.Set(reflect.ValueOf(x))
}

func TestContentHash(t *testing.T) {
	s := func() *Sample {
		return &Sample{Meta: Meta{ID: "x", By: "a", Rev: 3}, RunID: "r", Inputs: Inputs{DOPpb: Num(48)}, Raw: map[string]string{"a": "1", "b": "2"}}
	}
	a := s()
	want := contentHash(a)
	if diff := cmp.Diff(s(), a, cmp.AllowUnexported(Sample{})); diff != "" {
		t.Errorf("hashing changed the record: %s", diff)
	}
	same := s()
	same.By, same.DeviceID, same.Reason, same.Result = "b", "phone", "why", &Result{Method: "m"}
	if contentHash(same) != want {
		t.Error("who, where, why and a result are not content")
	}
	for name, change := range map[string]func(*Sample){
		"a number": func(s *Sample) { s.Inputs.DOPpb = Num(49) }, "raw text": func(s *Sample) { s.Raw["a"] = "1.0" },
		"archived": func(s *Sample) { s.Archived = true }, "a missing number": func(s *Sample) { s.Inputs.DOPpb = nil },
	} {
		other := s()
		change(other)
		if contentHash(other) == want {
			t.Errorf("%s is content", name)
		}
	}
}

// FuzzDecode: whatever arrives is a record or an error of the sender's, and
// what was taken is the same after being written and read again.
func FuzzDecode(f *testing.F) {
	f.Add(uint8(12), []byte(`{"id":"0198c5b0-0000-7000-8000-000000000001","kind":"shaken","inputs":{"do_ppb":48},"raw":{"a":"=1"}}`))
	f.Add(uint8(10), []byte(`{"in_force":{"limits":[{"quantity":"tpo"}]},"hold":{"state":"held"}}`))
	f.Add(uint8(0), []byte("{\"name\":\"\xff\"}"))
	f.Add(uint8(3), []byte(`{"nominal_ml":1e999}`))
	f.Fuzz(func(t *testing.T, kind uint8, data []byte) {
		k := Kinds()[int(kind)%len(Kinds())]
		r, err := Decode(k, data)
		if err != nil {
			if c := ClassOf(err); c != Malformed && c != Invalid {
				t.Fatalf("class %s: %v", c, err)
			}
			return
		}
		if err := Check(r); err != nil && ClassOf(err) != Invalid {
			t.Fatal(err)
		}
		text, err := json.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		again, err := Decode(k, text)
		if err != nil {
			t.Fatalf("%v in %s", err, text)
		}
		if contentHash(again) != contentHash(r) {
			t.Fatalf("%s differs after being read again", text)
		}
	})
}
