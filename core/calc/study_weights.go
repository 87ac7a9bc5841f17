package calc

import (
	"fmt"
	"math"

	"ullage/core/oxygen"
	"ullage/core/quantity"
	"ullage/core/stats"
)

// studyPackage is a usual package of the format, for what a weight or a volume
// does to its TPO.
type studyPackage struct {
	t        *quantity.Temperature
	shaken   *quantity.ShakenDO
	beer     *quantity.Volume
	capacity *quantity.Volume
}

// slopes are how TPO moves with the capacity and with the tare: C·K/V_b a mL, and
// C·K·V_c/V_b² for each mL of beer that a gram of tare takes (eq. 12, 18).
func (p studyPackage) slopes() (perCapacity, perTare *float64, err error) {
	if p.t == nil || p.shaken == nil || p.beer == nil || p.capacity == nil {
		return nil, nil, nil
	}
	if err := inLiquidRange("temperature_c", *p.t); err != nil {
		return nil, nil, err
	}
	if !(*p.beer > 0 && *p.capacity > *p.beer && *p.capacity < 1e7) {
		return nil, nil, refuse("beer_ml", float64(*p.beer), "mL is not between 0 and the capacity", "check the volumes")
	}
	if *p.shaken < 0 || *p.shaken > 1e6 {
		return nil, nil, refuse("shaken_do_ppb", float64(*p.shaken), "ppb is no usual reading", "give for example 40")
	}
	ck := float64(*p.shaken) * oxygen.PartitionRatio(*p.t) / float64(*p.beer)
	density := float64(oxygen.BeerDensity(1.010, *p.t)) / 1000
	a, b := ck, ck*float64(*p.capacity)/float64(*p.beer)/density
	return &a, &b, nil
}

// TareRow is one weighing of a tare study.
type TareRow struct {
	Lot   label          `json:"lot" help:"supplier's lot or delivery; one lot when not said"`
	Empty *quantity.Mass `json:"empty_g" need:"yes" help:"weight of one empty package with its closure"`
}

type tareStudyInput struct {
	Target      *quantity.Mass        `json:"target_g" help:"how well the mean must be known, 95 %; 0.1 when not said"`
	Temperature *quantity.Temperature `json:"temperature_c" help:"with the next three, says what the weights do to TPO"`
	ShakenDO    *quantity.ShakenDO    `json:"shaken_do_ppb" help:"a usual reading"`
	Beer        *quantity.Volume      `json:"beer_ml" help:"volume of the beer"`
	Capacity    *quantity.Volume      `json:"capacity_ml" help:"volume to the brim"`
	Rows        Rows[TareRow]         `json:"rows" need:"yes" help:"list of weighings: empty_g, lot"`
}

// LotMean is one lot of a study.
type LotMean struct {
	Lot    label   `json:"lot"`
	N      int     `json:"n"`
	Mean   float64 `json:"mean"`
	SD     float64 `json:"sd"`
	Change float64 `json:"change"` // from the first lot
}

// lotStudy is what tare and capacity have in common.
type lotStudy struct {
	N        int       `json:"n"`          // that the mean in force rests on
	Low95    float64   `json:"mean_low95"` // of the mean in force
	High95   float64   `json:"mean_high95"`
	SDLow95  float64   `json:"sd_low95"`
	SDHigh95 float64   `json:"sd_high95"`
	Needed   int       `json:"needed"` // to know the mean as well as the target, in all
	More     int       `json:"more"`
	Lots     []LotMean `json:"lots"`
	DriftP   *float64  `json:"lot_drift_p"` // of lots alike; null with one lot
	Drifted  bool      `json:"lot_drift"`
	Share    *float64  `json:"tpo_spread_ppb"` // standard deviation of TPO from the spread of one package
	PerUnit  *float64  `json:"tpo_per_unit_ppb"`
	Sentence string    `json:"sentence"`
	mean, sd float64
}

type tareStudyResult struct {
	Tare float64 `json:"tare_g"`
	SD   float64 `json:"tare_sd_g"`
	lotStudyOut
}

// lotStudyOut lets both results carry the same fields.
type lotStudyOut = lotStudy

func tareStudy(in *tareStudyInput) (Answer, error) {
	values, lots := make([]float64, len(in.Rows)), make([]label, len(in.Rows))
	for i, r := range in.Rows {
		values[i], lots[i] = valueOr(r.Empty, math.NaN()), r.Lot
		if !(values[i] > 0 && values[i] < 1e6) {
			return Answer{}, inRow(i, refuse("empty_g", values[i], "g is no weight of a package", "type it again"))
		}
	}
	s, w, err := studyLots(values, lots, valueOr(in.Target, 0.1), "target_g", "g")
	if err != nil {
		return Answer{}, err
	}
	_, per, err := studyPackage{in.Temperature, in.ShakenDO, in.Beer, in.Capacity}.slopes()
	if err != nil {
		return Answer{}, err
	}
	s.inTPO(per, "own weights")
	return Answer{Result: tareStudyResult{s.mean, s.sd, *s}, Warnings: w}, nil
}

// CapacityRow is one package of a capacity study: weights, or the net weight of the water.
type CapacityRow struct {
	Lot   label                 `json:"lot" help:"supplier's lot or mould; one lot when not said"`
	Empty *quantity.Mass        `json:"empty_g" help:"weight of the dry package with its closure …"`
	Full  *quantity.Mass        `json:"full_g" help:"… and full of water to the brim, closure on"`
	Water *quantity.Mass        `json:"capacity_water_g" help:"instead: net weight of the water"`
	T     *quantity.Temperature `json:"water_temperature_c" need:"yes" help:"temperature of the water"`
}

type capacityStudyInput struct {
	Target      *quantity.Volume      `json:"target_ml" help:"how well the mean must be known, 95 %; 0.3 when not said"`
	AirDensity  *quantity.Density     `json:"air_density_kg_m3" help:"air around the balance, 1.2 when not said"`
	Temperature *quantity.Temperature `json:"temperature_c" help:"with the next two, says what the capacity does to TPO"`
	ShakenDO    *quantity.ShakenDO    `json:"shaken_do_ppb" help:"a usual reading"`
	Beer        *quantity.Volume      `json:"beer_ml" help:"volume of the beer"`
	Rows        Rows[CapacityRow]     `json:"rows" need:"yes" help:"list of weighings: empty_g and full_g or capacity_water_g, water_temperature_c, lot"`
}

type capacityStudyResult struct {
	Capacity float64   `json:"capacity_ml"`
	SD       float64   `json:"capacity_sd_ml"`
	Each     []float64 `json:"each_ml"`
	lotStudyOut
}

// capacityStudy is brimful capacity by the weight of water in air (eq. 14).
func capacityStudy(in *capacityStudyInput) (Answer, error) {
	values, lots := make([]float64, len(in.Rows)), make([]label, len(in.Rows))
	air := orStandardAir(in.AirDensity)
	if air < 0 || air > 2 {
		return Answer{}, refuse("air_density_kg_m3", float64(air), "kg/m³ is no density of air", "usual is 1.2")
	}
	for i, r := range in.Rows {
		net, err := r.net()
		if err == nil {
			err = inWaterRange(r.T)
		}
		if err != nil {
			return Answer{}, inRow(i, err)
		}
		values[i], lots[i] = float64(oxygen.VolumeFromWeight(net, oxygen.WaterDensity(*r.T), air)), r.Lot
	}
	s, w, err := studyLots(values, lots, valueOr(in.Target, 0.3), "target_ml", "mL")
	if err != nil {
		return Answer{}, err
	}
	mean := quantity.Volume(s.mean)
	per, _, err := studyPackage{in.Temperature, in.ShakenDO, in.Beer, &mean}.slopes()
	if err != nil {
		return Answer{}, err
	}
	s.inTPO(per, "the capacity of each package by water")
	return Answer{Result: capacityStudyResult{s.mean, s.sd, values, *s}, Warnings: w}, nil
}

func inWaterRange(t *quantity.Temperature) error {
	switch {
	case t == nil:
		return missing("water_temperature_c")
	case *t < 0 || *t > 40:
		return refuse("water_temperature_c", float64(*t), "°C is outside 0 to 40, where the density of water is known", "check the unit")
	}
	return nil
}

func (r *CapacityRow) net() (quantity.Mass, error) {
	var net quantity.Mass
	switch {
	case r.Water != nil && r.Full != nil:
		return 0, &quantity.Error{Field: "capacity_water_g", Message: "is given beside full_g", Mend: "keep one of them"}
	case r.Water != nil:
		net = *r.Water
	case r.Full == nil:
		return 0, missing("full_g")
	case r.Empty == nil:
		return 0, missing("empty_g")
	default:
		net = *r.Full - *r.Empty
	}
	if !(net > 1 && net < 1e6) {
		return 0, refuse("full_g", float64(net), "g of water fills no package", "check that full and empty are not exchanged, and the unit")
	}
	return net, nil
}

// studyLots finds mean and spread, whether lots differ, and how many to weigh.
// Where lots differ (p below 0.05) the last one is in force alone.
func studyLots(values []float64, names []label, target float64, field, unit string) (*lotStudy, []Warning, error) {
	if len(values) < 3 {
		return nil, nil, tooFewRows(len(values), 3)
	}
	if !(target > 1e-9 && target < 1e6) {
		return nil, nil, refuse(field, target, "is no interval", "give for example 0.1")
	}
	s := &lotStudy{}
	groups := s.split(values, names)
	var w []Warning
	chosen, within := values, 0.0
	if len(groups) > 1 && len(values) > len(groups) {
		r, err := stats.OneWay(groups, 0.95)
		if err != nil {
			return nil, nil, statsError("rows", err)
		}
		s.DriftP, s.Drifted = &r.P, r.P < 0.05
		if s.Drifted {
			chosen, within = groups[len(groups)-1], r.SDWithin
			w = warn(w, "lots_differ", "lot", string(s.Lots[len(s.Lots)-1].Lot), "the lots differ, so the last one alone is put in force", "weigh each delivery")
		}
	}
	s.N = len(chosen)
	if len(chosen) < 2 {
		return nil, nil, refuse("rows", float64(len(chosen)), "is too few in the last lot, and the lots differ", "weigh at least five of it")
	}
	sum, err := stats.Summarize(chosen)
	if err != nil {
		return nil, nil, statsError("rows", err)
	}
	s.mean, s.sd = sum.Mean, sum.SD
	df := float64(s.N - 1)
	if within > 0 && s.N < 5 { // a few of one lot: the spread of all lots says more
		s.sd, df = within, float64(len(values)-len(groups))
	}
	half := stats.StudentTQuantile(0.975, df) * s.sd / math.Sqrt(float64(s.N))
	s.Low95, s.High95 = s.mean-half, s.mean+half
	s.SDLow95, s.SDHigh95 = stats.SDInterval(s.sd, df, 0.95)
	s.Needed = weighings(s.sd, target)
	s.More = max(0, s.Needed-s.N)
	s.Sentence = fmt.Sprintf("Mean %.2f %s (95 %%: %.2f to %.2f), spread %.2f %s, from %d.", s.mean, unit, s.Low95, s.High95, s.sd, unit, s.N)
	if s.More > 0 {
		s.Sentence += fmt.Sprintf(" Measure %d more to know the mean to ±%g %s.", s.More, target, unit)
	} else {
		s.Sentence += fmt.Sprintf(" That is enough to know the mean to ±%g %s.", target, unit)
	}
	if g, err := stats.Grubbs(chosen, stats.Symmetric, stats.EitherTail, 0.01); err == nil && len(chosen) >= 6 && s.sd > 0 {
		for _, i := range g.Flagged {
			w = warn(w, "far_value", "rows", format(chosen[i], 3), "this one lies far from the others; it was kept", "measure it again")
		}
	}
	return s, w, nil
}

// split groups the values by lot, in the order of first appearance.
func (s *lotStudy) split(values []float64, names []label) [][]float64 {
	at := map[label]int{}
	var groups [][]float64
	for i, v := range values {
		k, ok := at[names[i]]
		if !ok {
			k = len(groups)
			at[names[i]] = k
			groups = append(groups, nil)
			s.Lots = append(s.Lots, LotMean{Lot: names[i]})
		}
		groups[k] = append(groups[k], v)
	}
	for k, g := range groups {
		l := &s.Lots[k]
		l.N, l.Mean = len(g), g[0]
		if sum, err := stats.Summarize(g); err == nil {
			l.Mean, l.SD = sum.Mean, sum.SD
		}
		l.Change = l.Mean - s.Lots[0].Mean
	}
	return groups
}

// weighings is the smallest n with t(0.975, n − 1)·s/√n within the target.
func weighings(sd, target float64) int {
	low, high := 1, 2
	enough := func(n int) bool {
		return stats.StudentTQuantile(0.975, float64(n-1))*sd/math.Sqrt(float64(n)) <= target
	}
	for !enough(high) && high < 1<<24 {
		low, high = high, 2*high
	}
	for high-low > 1 {
		if mid := (low + high) / 2; enough(mid) {
			high = mid
		} else {
			low = mid
		}
	}
	return high
}

// inTPO says what the spread of one package does, which no number of weighings
// makes smaller.
func (s *lotStudy) inTPO(per *float64, instead string) {
	if per == nil {
		return
	}
	spread := *per * s.sd
	s.PerUnit, s.Share = per, &spread
	s.Sentence += fmt.Sprintf(" The spread moves the TPO of one package by ±%.1f ppb (one standard deviation); only %s would take that away.", spread, instead)
}
