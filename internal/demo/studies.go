package demo

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"time"

	"ullage/core/calc"
	"ullage/core/oxygen"
	"ullage/core/quantity"
	"ullage/internal/lab"
)

// agreeWeek is the week in which calculated and direct TPO were held against
// each other, on a TPO meter lent by another laboratory.
const agreeWeek = 20

// studies writes what the brewery measured of its own methods and packages.
func (b *builder) studies() {
	b.agreement()
	b.operators()
	b.shaking()
	b.waiting()
	b.sampleLine()
}

func (b *builder) study(at time.Time, s lab.Study) {
	s.Meta, s.At = meta(b.id(at), b.ref("tech"), "bench", at.Add(time.Hour)), lab.At(at)
	b.add(at.Add(time.Hour+time.Second), write{record: &s})
}

// weekDay is a morning of the story, day 0 a Monday.
func (b *builder) weekDay(week, day int) time.Time {
	return b.begins.AddDate(0, 0, 7*(week-1)+day).Add(10 * time.Hour)
}

// agreement are forty pairs of neighbours of one head, in three cans: one read
// directly, one shaken, weighed and calculated from.
func (b *builder) agreement() {
	r := stream(b.seed, "agreement")
	at := b.weekDay(agreeWeek, 3)
	s := lab.Study{StudyKind: lab.StudyAgreement, Name: "Calculated against direct TPO, cans of line C6", DOMeterID: b.ref("meter1"), TPOMeterID: b.ref("direct"), ScaleID: b.ref("balance"),
		ThermometerID: b.ref("probe"), LineID: b.ref("C6"), Settings: map[string]any{"margin_ppb": 5}, Note: "each pair: neighbours of one head, the one read directly first",
		InForceFrom: lab.At(at.Add(3 * time.Hour))}
	for i, format := range []string{"can355", "can440", "can473"} {
		s.FormatIDs = append(s.FormatIDs, b.ref(format))
		for n := range []int{14, 13, 13}[i] {
			s.Rows = append(s.Rows, b.pair(r, format, fmt.Sprintf("%s-%02d", format[3:], n+1), at))
		}
	}
	b.study(at, s)
}

// pair is one package read both ways, as close as neighbours are.
func (b *builder) pair(r *rand.Rand, format, id string, at time.Time) map[string]any {
	_, geo := b.lotFor(format, at)
	g := &generator{r: r, geo: geo}
	f := g.empty()
	g.fillVolume(&f, 0)
	f.total = math.Exp(uniform(r, math.Log(40), math.Log(155)))
	f.unshaken = 0.4 * f.total
	t := normal(r, 6, 0.3)
	direct := max(round(normal(r, f.total, max(1, 0.02*f.total)), 1), 0)
	do := g.shaken(f, t, 0)
	do = round(do+b.offset("meter1", at)+normal(r, 0, max(0.6, 0.02*do)), 1)
	brew := brewOf("vellumrook")
	in := calc.TPOInput{Temperature: ptr(quantity.Temperature(round(normal(r, t, 0.1), 0.1))), ShakenDO: ptr(quantity.ShakenDO(do)),
		Gross: ptr(quantity.Mass(round(normal(r, f.tare+weightOf(f.beer, brew.sg, t), 0.04), 0.1))), Tare: ptr(quantity.Mass(geo.tare)), TareSD: ptr(quantity.Mass(geo.tareSD)), TareSource: "lot",
		Capacity: ptr(quantity.Volume(geo.capacity)), CapacitySD: ptr(quantity.Volume(geo.capacitySD)), CapacitySource: "lot", SG: ptr(quantity.SpecificGravity(brew.sg)),
		CO2: ptr(quantity.Carbonation(brew.co2)), Package: "can", Path: calc.PathAuto, Uncertainty: calc.GUM}
	var e calc.Evaluator
	var out calc.TPOResult
	if _, err := e.Evaluate(&in, &out, nil); err != nil {
		panic(fmt.Sprintf("demo: pair %s: %v", id, err))
	}
	return map[string]any{"id": id, "calculated_ppb": round(out.TPO, 0.1), "direct_ppb": direct, "calculated_u_ppb": round(out.U, 0.1), "direct_u_ppb": round(math.Hypot(1, 0.02*direct), 0.1),
		"beer_ml": round(out.Beer, 0.1), "headspace_ml": round(out.Headspace, 0.1)}
}

func ptr[T any](v T) *T { return &v }

// operators read ten sets of neighbours three times each.
func (b *builder) operators() {
	r := stream(b.seed, "operators")
	habit := map[string]float64{"KO": 0, "TV": -0.8, "MR": 1.6} // the last shakes a little longer
	s := lab.Study{StudyKind: "repeatability", Name: "Three people, ten sets of neighbours", DOMeterID: b.ref("meter1"), FormatIDs: []string{b.ref("can440")}, LineID: b.ref("C6"),
		Note: "shaken DO, ppb; a set is nine cans of one head, three for each"}
	for set := range 10 {
		level := math.Exp(uniform(r, math.Log(25), math.Log(95)))
		for _, who := range []string{"KO", "TV", "MR"} {
			for range 3 {
				s.Rows = append(s.Rows, map[string]any{"package": strconv.Itoa(set + 1), "operator": who, "reading": round(normal(r, level+habit[who], max(1, 0.035*level)), 1)})
			}
		}
	}
	b.study(b.weekDay(22, 1), s)
}

// shaking are neighbours shaken for different times.
func (b *builder) shaking() {
	r := stream(b.seed, "shaking")
	s := lab.Study{StudyKind: "shake", Name: "How long to shake a 440 mL can", DOMeterID: b.ref("meter1"), FormatIDs: []string{b.ref("can440")}, InForceFrom: lab.At(b.weekDay(21, 2).Add(2 * time.Hour))}
	for _, m := range []float64{0.5, 1, 1.5, 2, 3, 4, 5, 7, 10} {
		for range 3 {
			s.Rows = append(s.Rows, map[string]any{"shake_min": m, "shaken_do_ppb": round(normal(r, 62-24*math.Exp(-0.85*m), 1.2), 1)})
		}
	}
	b.study(b.weekDay(21, 2), s)
}

// waiting are bottles with live yeast that waited before they were read.
func (b *builder) waiting() {
	r := stream(b.seed, "waiting")
	s := lab.Study{StudyKind: "delay", Name: "Hobbinwheat waits for its reading", BeerID: b.ref("hobbinwheat"), DOMeterID: b.ref("meter2"), FormatIDs: []string{b.ref("bottle500")},
		Note: "neighbours of one valve at 20 °C, shuffled"}
	for _, m := range []float64{5, 10, 15, 20, 30, 45, 60, 90, 120} {
		s.Rows = append(s.Rows, map[string]any{"delay_min": m, "tpo_ppb": round(131*math.Exp(-0.15*m/60)*(1+normal(r, 0, 0.015)), 0.1), "temperature_c": round(normal(r, 20, 0.2), 0.1)})
	}
	b.study(b.weekDay(19, 4), s)
}

// sampleLine is the flow test of the hose from the bright tank.
func (b *builder) sampleLine() {
	r := stream(b.seed, "sample line")
	s := lab.Study{StudyKind: "line", Name: "Sample hose of BBT1", DOMeterID: b.ref("meter2"), Settings: map[string]any{"routine_flow_ml_min": 150}}
	for _, flow := range []float64{60, 80, 110, 150, 200, 300} {
		s.Rows = append(s.Rows, map[string]any{"flow_ml_min": flow, "do_ppb": round(normal(r, 21+900/flow, 0.5), 0.1)})
	}
	b.study(b.weekDay(18, 0), s)
}

// lotStudies are the weighings behind the lots of cans: ten empty ones, ten full
// of water. A lot takes what its studies found.
func (b *builder) lotStudies(lot *lab.FormatLot, x geometry, at time.Time) []write {
	r := stream(b.seed, "lot "+lot.Name)
	tare := lab.Study{StudyKind: lab.StudyTare, Name: "Empty cans, " + lot.Name, FormatLotID: lot.ID, FormatIDs: []string{lot.FormatID}, ScaleID: b.ref("fine")}
	capacity := lab.Study{StudyKind: lab.StudyCapacity, Name: "Cans full of water, " + lot.Name, FormatLotID: lot.ID, FormatIDs: []string{lot.FormatID}, ScaleID: b.ref("fine")}
	for _, z := range standard(r) {
		tare.Rows = append(tare.Rows, map[string]any{"empty_g": round(x.tare+x.tareSD*z, 0.01)})
	}
	for i, z := range standard(r) {
		t := round(normal(r, 20, 0.3), 0.1)
		perGram := float64(oxygen.VolumeFromWeight(1, oxygen.WaterDensity(quantity.Temperature(t)), airDensity))
		empty := tare.Rows[i]["empty_g"].(float64)
		capacity.Rows = append(capacity.Rows, map[string]any{"empty_g": empty, "full_g": round(empty+(x.capacity+x.capacitySD*z)/perGram, 0.01), "water_temperature_c": t})
	}
	var ws []write
	for _, s := range []*lab.Study{&tare, &capacity} {
		s.Meta, s.At, s.InForceFrom = meta(b.id(at), b.ref("tech"), "bench", at), lab.At(at.Add(-3*time.Hour)), lab.At(at)
		b.takeInto(lot, s)
		ws = append(ws, write{record: s})
	}
	return ws
}

// takeInto puts what a study finds into its lot.
func (b *builder) takeInto(lot *lab.FormatLot, s *lab.Study) {
	text, err := json.Marshal(map[string]any{"rows": s.Rows})
	if err != nil {
		panic(err)
	}
	a, err := calc.Do("study-"+s.StudyKind, text)
	if err != nil {
		panic(fmt.Sprintf("demo: %s: %v", s.Name, err))
	}
	named := map[string]float64{}
	if text, err = json.Marshal(a.Result); err == nil {
		var all map[string]any
		err = json.Unmarshal(text, &all)
		for k, v := range all {
			if f, ok := v.(float64); ok {
				named[k] = math.Round(f*1000) / 1000
			}
		}
	}
	if err != nil {
		panic(err)
	}
	n := int(named["n"])
	if s.StudyKind == lab.StudyTare {
		lot.TareG, lot.TareSDG, lot.TareN = lab.Num(named["tare_g"]), lab.Num(named["tare_sd_g"]), &n
		return
	}
	lot.CapacityML, lot.CapacitySDML, lot.CapacityN = lab.Num(named["capacity_ml"]), lab.Num(named["capacity_sd_ml"]), &n
}

// standard is ten deviations with mean 0 and standard deviation 1, in an order of
// chance: the sample is as the lot is said to be.
func standard(r *rand.Rand) []float64 {
	z := make([]float64, 10)
	var sum, square float64
	for i := range z {
		z[i] = r.NormFloat64()
		sum += z[i] / float64(len(z))
	}
	for _, v := range z {
		square += (v - sum) * (v - sum) / float64(len(z)-1)
	}
	for i := range z {
		z[i] = (z[i] - sum) / math.Sqrt(square)
	}
	return z
}
