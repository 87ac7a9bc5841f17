package quantity_test

import (
	"encoding/json"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"ullage/core/quantity"
)

// kinds is every quantity; TestKindsListedHere keeps it complete.
var kinds = []*quantity.Kind{
	quantity.DO(0).Kind(), quantity.UnshakenDO(0).Kind(), quantity.ShakenDO(0).Kind(), quantity.TPO(0).Kind(),
	quantity.OxygenMass(0).Kind(), quantity.Temperature(0).Kind(), quantity.TemperatureDifference(0).Kind(),
	quantity.Mass(0).Kind(), quantity.Volume(0).Kind(), quantity.VolumePerLength(0).Kind(), quantity.Length(0).Kind(),
	quantity.Density(0).Kind(), quantity.Pressure(0).Kind(), quantity.GaugePressure(0).Kind(),
	quantity.SpecificGravity(0).Kind(), quantity.Extract(0).Kind(), quantity.Alcohol(0).Kind(),
	quantity.Carbonation(0).Kind(), quantity.Fraction(0).Kind(), quantity.Minutes(0).Kind(), quantity.Flow(0).Kind(),
	quantity.WortFlow(0).Kind(), quantity.GasFlow(0).Kind(), quantity.RoomVolume(0).Kind(), quantity.Days(0).Kind(),
	quantity.Altitude(0).Kind(), quantity.Price(0).Kind(), quantity.GasInBeer(0).Kind(), quantity.Ingress(0).Kind(),
}

func TestKindsListedHere(t *testing.T) {
	file, err := parser.ParseFile(token.NewFileSet(), "kinds.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	aliases := 0
	ast.Inspect(file, func(n ast.Node) bool {
		if spec, ok := n.(*ast.TypeSpec); ok && spec.Assign.IsValid() {
			aliases++
		}
		return true
	})
	seen := map[*quantity.Kind]bool{}
	for _, k := range kinds {
		seen[k] = true
	}
	if aliases != len(kinds) || len(seen) != len(kinds) {
		t.Errorf("kinds.go has %d quantities, the tests hold %d of which %d differ", aliases, len(kinds), len(seen))
	}
}

// The examples of the trade: what a person types, what is meant.
func TestParseExamples(t *testing.T) {
	parse := func(k *quantity.Kind) func(string) (float64, error) { return k.Parse }
	do, temperature, volume := parse(quantity.ShakenDO(0).Kind()), parse(quantity.Temperature(0).Kind()), parse(quantity.Volume(0).Kind())
	gravity, mass, co2 := parse(quantity.SpecificGravity(0).Kind()), parse(quantity.Mass(0).Kind()), parse(quantity.Carbonation(0).Kind())
	for _, c := range []struct {
		parse func(string) (float64, error)
		text  string
		want  float64
		tol   float64
	}{
		{do, "48 ppb", 48, 0}, {do, "0.048 ppm", 48, 1e-12}, {do, "48", 48, 0}, {do, "48µg/L", 48, 0}, {do, "48 UG/L", 48, 0},
		{do, "0.048 mg/l", 48, 1e-12}, {do, " 48  ppb ", 48, 0}, {do, "1e2 ppb", 100, 0}, {do, "-0.5 ppb", -0.5, 0}, {do, ".5", 0.5, 0},
		{temperature, "4 °C", 4, 0}, {temperature, "39.2F", 4, 1e-12}, {temperature, "39.2 °F", 4, 1e-12}, {temperature, "277.15 K", 4, 1e-12},
		{temperature, "-1.5", -1.5, 0}, {temperature, "4 celsius", 4, 0}, {temperature, "4ºC", 4, 0},
		{volume, "355 mL", 355, 0}, {volume, "12 fl oz", 354.88235475, 1e-9}, {volume, "12floz", 354.88235475, 1e-9}, {volume, "0.355 L", 355, 1e-12},
		{volume, "35.5 cl", 355, 0}, {volume, "1 hL", 1e5, 0}, {volume, "1 bbl", 117347.765304, 1e-6},
		{gravity, "1.0105", 1.0105, 0}, {gravity, "1.0105 SG", 1.0105, 0}, {gravity, "1008.6889 kg/m³", 1.0105, 1e-6},
		{mass, "372.4", 372.4, 0}, {mass, "0.3724 kg", 372.4, 1e-10}, {mass, "13.136 oz", 372.399, 1e-3},
		{co2, "2.5 vol", 2.5, 0}, {co2, "4.94175 g/L", 2.5, 1e-12},
		{quantity.Extract(0).Kind().Parse, "1.048 SG", 11.912, 1e-3}, // ASBC table: 11.91 °P
		{parse(quantity.GasFlow(0).Kind()), "1 Nm³/h", 1000.0 / 60, 1e-12},
		{parse(quantity.GasFlow(0).Kind()), "10scfh", 10 * 28.316846592 * 273.15 / 288.706 / 60, 1e-12},
		{parse(quantity.WortFlow(0).Kind()), "60hL/h", 100, 1e-12},
		{parse(quantity.RoomVolume(0).Kind()), "1000 ft³", 28.316846592, 1e-12},
		{parse(quantity.Days(0).Kind()), "3weeks", 21, 1e-12},
		{parse(quantity.Altitude(0).Kind()), "1000ft", 304.8, 1e-12},
		{parse(quantity.Price(0).Kind()), "1/lb", 1 / 0.45359237, 1e-12},
		{parse(quantity.GasInBeer(0).Kind()), "20 mg/L", 0.02, 1e-15},
		{parse(quantity.Ingress(0).Kind()), "2µL/d", 0.002, 1e-15},
		{parse(quantity.Length(0).Kind()), "10m", 10000, 1e-12},
		{parse(quantity.Length(0).Kind()), "6ft", 1828.8, 1e-9},
		{parse(quantity.GaugePressure(0).Kind()), "12psig", 12 * 6.894757293168, 1e-9},
		{parse(quantity.Pressure(0).Kind()), "2bara", 200, 1e-12},
	} {
		got, err := c.parse(c.text)
		if err != nil || math.Abs(got-c.want) > c.tol {
			t.Errorf("%q: got %v, %v; want %v", c.text, got, err, c.want)
		}
	}
}

// 2.6 °P as a gravity, against the common inverse formula
// 1 + P/(258.6 − 227.1 P/258.2) (common practice), which is good to 0.0001.
func TestPlatoAsGravity(t *testing.T) {
	for _, text := range []string{"2.6 °P", "2.6P", "2.6 plato"} {
		var g quantity.SpecificGravity
		if err := g.Set(text); err != nil || math.Abs(float64(g)-(1+2.6/(258.6-227.1*2.6/258.2))) > 1e-4 {
			t.Errorf("%q: got %v", text, g)
		}
	}
}

func TestPlatoGravityIdentity(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sg := rapid.Float64Range(0.99, 1.12).Draw(t, "sg")
		if back := quantity.Gravity(quantity.Plato(quantity.SpecificGravity(sg))); math.Abs(float64(back)-sg) > 1e-12 {
			t.Fatalf("SG %v came back as %v", sg, float64(back))
		}
		e := rapid.Float64Range(-2, 30).Draw(t, "plato")
		if back := quantity.Plato(quantity.Gravity(quantity.Extract(e))); math.Abs(float64(back)-e) > 1e-9 {
			t.Fatalf("%v °P came back as %v", e, float64(back))
		}
	})
}

// Every unit of every kind: a number written in it is read to the base value,
// and the base value turned back is the number.
func TestUnitsRoundTrip(t *testing.T) {
	for _, k := range kinds {
		for _, u := range k.Units {
			t.Run(k.Name+" "+u.Symbol, func(t *testing.T) {
				rapid.Check(t, func(t *rapid.T) {
					number := rapid.Float64Range(0, 5000).Draw(t, "number")
					if k.Check(u.ToBase(number)) != nil {
						return
					}
					text := strconv.FormatFloat(number, 'f', -1, 64)
					for _, symbol := range append([]string{u.Symbol, u.Suffix, strings.ToUpper(u.Suffix)}, u.Also...) {
						if symbol == "" && u.Scale != 1 || symbol == "" && u.Offset != 0 {
							continue
						}
						base, err := k.Parse(text + " " + symbol)
						if err != nil {
							t.Fatalf("%s %s: %v", text, symbol, err)
						}
						if back := u.FromBase(base); math.Abs(back-number) > 1e-12*math.Max(500, number) {
							t.Fatalf("%s %s came back as %v", text, symbol, back)
						}
					}
				})
			})
		}
	}
}

// No spelling of a unit may mean two units of one kind.
func TestUnitSpellingsAreUnique(t *testing.T) {
	for _, k := range kinds {
		seen := map[string]string{}
		for _, u := range k.Units {
			own := map[string]bool{}
			for _, s := range append([]string{u.Symbol, u.Suffix}, u.Also...) {
				own[strings.ToLower(s)] = true
			}
			for s := range own {
				if other, twice := seen[s]; twice && s != "" {
					t.Errorf("%s: %q is both %s and %s", k.Name, s, other, u.Symbol)
				}
				seen[s] = u.Symbol
			}
			if by, ok := k.BySuffix(u.Suffix); !ok || by.Scale != u.Scale {
				t.Errorf("%s: suffix %q is not found", k.Name, u.Suffix)
			}
		}
	}
}

// Printing is exact: what String writes, Parse and JSON read back bit for bit.
func TestPrintParse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(-1e9, 1e9).Draw(t, "v")
		printParse(t, quantity.ShakenDO(v))
		printParse(t, quantity.Volume(v))
		printParse(t, quantity.Mass(v))
		printParse(t, quantity.Minutes(v))
		printParse(t, quantity.Flow(v))
		printParse(t, quantity.TPO(v))
		w := math.Abs(v)
		printParse(t, quantity.Temperature(w))
		printParse(t, quantity.Pressure(w))
		printParse(t, quantity.GaugePressure(w))
		printParse(t, quantity.SpecificGravity(w))
		printParse(t, quantity.Extract(w))
		printParse(t, quantity.Carbonation(w))
		printParse(t, quantity.Fraction(w))
	})
}

type value interface {
	~float64
	String() string
}

func printParse[Q value, P interface {
	*Q
	Set(string) error
	json.Unmarshaler
}](t *rapid.T, q Q) {
	var back, fromJSON, fromNumber Q
	if err := P(&back).Set(q.String()); err != nil || back != q {
		t.Fatalf("%s came back as %v, %v", q.String(), float64(back), err)
	}
	text, _ := json.Marshal(q.String())
	number, _ := json.Marshal(float64(q))
	if err := errors.Join(P(&fromJSON).UnmarshalJSON(text), P(&fromNumber).UnmarshalJSON(number)); err != nil || fromJSON != q || fromNumber != q {
		t.Fatalf("%s and %s came back as %v and %v, %v", text, number, float64(fromJSON), float64(fromNumber), err)
	}
}

// What is no number is refused with value and mend, and In names the field.
func TestRefusals(t *testing.T) {
	for _, text := range []string{"", " ", "NaN", "nan", "Inf", "+Inf", "-inf", "infinity", "0x10", "0x1p4", "1_000", "1,5", "1,000 ppb",
		"48 lb/ft", "forty", "--5", "1e", "1e999", "-1e999", "5 5", "4 °R", "−5", "٣", "1.2.3", "e5", "ppb", "1e308 ppm extra", "\x00", "48 ppb ppb"} {
		for _, k := range kinds {
			v, err := k.Parse(text)
			if err == nil {
				t.Errorf("%s: %q was read as %v", k.Name, text, v)
				continue
			}
			var e *quantity.Error
			if !errors.As(err, &e) || e.Value != text || e.Message == "" || e.Mend == "" || e.Field != "" {
				t.Errorf("%s: %q: %#v", k.Name, text, err)
				continue
			}
			errors.As(quantity.In("some_field", err), &e)
			if e.Field != "some_field" || !strings.Contains(e.Error(), "some_field: ") || !strings.Contains(e.Error(), e.Mend) {
				t.Errorf("%s: %q with its field: %v", k.Name, text, e)
			}
		}
	}
}

func TestRefusedNumbers(t *testing.T) {
	for _, c := range []struct {
		kind *quantity.Kind
		text string
		says string
	}{
		{quantity.Temperature(0).Kind(), "-274", "below the least possible temperature"},
		{quantity.Temperature(0).Kind(), "-500 °F", "below the least possible temperature"},
		{quantity.Pressure(0).Kind(), "-1 kPa", "below the least possible absolute pressure"},
		{quantity.GaugePressure(0).Kind(), "-1.1 bar", "below the least possible gauge pressure"},
		{quantity.Density(0).Kind(), "-1", "below the least possible density"},
		{quantity.Volume(0).Kind(), "1e308 bbl", "not a finite number"},
		{quantity.Volume(0).Kind(), "1e400", "too large a number"},
		{quantity.ShakenDO(0).Kind(), "0,048 ppm", "comma"},
		{quantity.SpecificGravity(0).Kind(), "1.010 °B", "unknown unit"},
	} {
		_, err := c.kind.Parse(c.text)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s %q: got %v, want %q", c.kind.Name, c.text, err, c.says)
		}
	}
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		for _, k := range kinds {
			if k.Check(v) == nil {
				t.Errorf("%s: %v passes", k.Name, v)
			}
		}
	}
}

// A field already named, and an error of another kind, stay as they are.
func TestInKeepsTheFirstName(t *testing.T) {
	first := quantity.In("inner", &quantity.Error{Message: "is wrong"})
	if got := quantity.In("outer", first).Error(); got != "inner: is wrong" {
		t.Error(got)
	}
	other := errors.New("other")
	if quantity.In("outer", other) != other {
		t.Error("an error of another kind changed")
	}
}

func TestIn(t *testing.T) {
	for _, c := range []struct {
		unit string
		want float64
	}{{"°F", 39.2}, {"f", 39.2}, {"K", 277.15}, {"°C", 4}} {
		if got, err := quantity.Temperature(4).In(c.unit); err != nil || math.Abs(got-c.want) > 1e-12 {
			t.Errorf("4 °C in %s: %v, %v", c.unit, got, err)
		}
	}
	if _, err := quantity.Temperature(4).In("ppb"); err == nil {
		t.Error("a temperature in ppb")
	}
	if got := quantity.TPO(101.1316).Format(1); got != "101.1 ppb" {
		t.Error(got)
	}
}

// A JSON null leaves a quantity as it was; other JSON is refused.
func TestUnmarshalJSONOdd(t *testing.T) {
	q := quantity.ShakenDO(7)
	if err := json.Unmarshal([]byte("null"), &q); err != nil || q != 7 {
		t.Error(q, err)
	}
	for _, text := range []string{"true", "[1]", "{}", `"\ud800"`, `"1,5"`, `""`} {
		if err := json.Unmarshal([]byte(text), &q); err == nil {
			t.Errorf("%s was read as %v", text, float64(q))
		}
	}
}
