package stats

import (
	"fmt"
	"math"
	"slices"
)

// GaugeReading is one reading of a part by an operator. Parts and operators are
// told apart by name.
type GaugeReading struct {
	Part     string  `json:"part"`
	Operator string  `json:"operator"`
	Value    float64 `json:"value"`
}

// GaugeSource is a row of the analysis of variance.
type GaugeSource struct {
	SS float64 `json:"ss"`
	DF int     `json:"df"`
	MS float64 `json:"ms"`
	F  float64 `json:"f"`
	P  float64 `json:"p"`
}

// GaugeResult holds standard deviations per source. Study shares are of the
// total standard deviation, in percent; they do not add up to 100.
type GaugeResult struct {
	Parts       int         `json:"parts"`
	Operators   int         `json:"operators"`
	Trials      int         `json:"trials"`
	Pooled      bool        `json:"pooled"` // interaction taken into the error
	Model       string      `json:"model"`
	Part        GaugeSource `json:"part"`
	Operator    GaugeSource `json:"operator"`
	Interaction GaugeSource `json:"interaction"`
	Error       GaugeSource `json:"error"`
	// Repeatability: same operator, same part. Reproducibility: between
	// operators, without their interaction with parts. Gauge: all but the parts.
	Repeatability   float64 `json:"repeatability"`
	Reproducibility float64 `json:"reproducibility"`
	InteractionSD   float64 `json:"interaction_sd"`
	Gauge           float64 `json:"gauge"`
	PartSD          float64 `json:"part_sd"`
	Total           float64 `json:"total"`
	GaugeStudy      float64 `json:"gauge_study"`
	// Categories is how many groups of parts the gauge tells apart.
	Categories int `json:"categories"`
}

// Gauge is the crossed study (eq. S42): every operator reads every part equally
// often, twice or more; two parts and two operators at least. An interaction
// whose p is above pool goes into the error; 0.25 is common, 0.05 too.
func Gauge(readings []GaugeReading, pool float64) (GaugeResult, error) {
	if !(pool >= 0 && pool <= 1) {
		return GaugeResult{}, refuse("pool", pool, "out of range", "give a probability, such as 0.25")
	}
	cells, err := gaugeCells(readings)
	if err != nil {
		return GaugeResult{}, err
	}
	p, o, r := len(cells), len(cells[0]), len(cells[0][0])
	g := GaugeResult{Parts: p, Operators: o, Trials: r}
	fp, fo, fr := float64(p), float64(o), float64(r)
	var all []float64
	partMean, opMean := make([]float64, p), make([]float64, o)
	cellMean := make([][]float64, p)
	for i := range cells {
		cellMean[i] = make([]float64, o)
		for j := range cells[i] {
			m, ss := meanSS(cells[i][j])
			g.Error.SS += ss
			cellMean[i][j] = m
			partMean[i] += m / fo
			opMean[j] += m / fp
			all = append(all, cells[i][j]...)
		}
	}
	grand, _ := meanSS(all)
	_, g.Part.SS = meanSS(partMean)
	_, g.Operator.SS = meanSS(opMean)
	g.Part.SS *= fo * fr
	g.Operator.SS *= fp * fr
	for i := range cellMean {
		for j, m := range cellMean[i] {
			d := m - partMean[i] - opMean[j] + grand
			g.Interaction.SS += fr * d * d
		}
	}
	if !(g.Error.SS > 0) {
		return GaugeResult{}, noSpread("readings", grand)
	}
	g.Part.DF, g.Operator.DF, g.Interaction.DF, g.Error.DF = p-1, o-1, (p-1)*(o-1), p*o*(r-1)
	for _, s := range []*GaugeSource{&g.Part, &g.Operator, &g.Interaction, &g.Error} {
		s.MS = s.SS / float64(s.DF)
	}
	g.components(pool)
	return g, nil
}

// components solves the expected mean squares, none below 0.
func (g *GaugeResult) components(pool float64) {
	fp, fo, fr := float64(g.Parts), float64(g.Operators), float64(g.Trials)
	g.Error.P = 1
	g.Interaction.against(g.Error)
	base := g.Interaction
	g.Model = "interaction kept"
	e, po := g.Error.MS, math.Max(0, (g.Interaction.MS-g.Error.MS)/fr)
	if g.Pooled = g.Interaction.P > pool; g.Pooled {
		base = GaugeSource{DF: g.Interaction.DF + g.Error.DF}
		base.MS = (g.Interaction.SS + g.Error.SS) / float64(base.DF)
		e, po = base.MS, 0
		g.Model = fmt.Sprintf("interaction pooled with the error (its p is above %s)", number(pool))
	}
	g.Part.against(base)
	g.Operator.against(base)
	op := math.Max(0, (g.Operator.MS-base.MS)/(fp*fr))
	part := math.Max(0, (g.Part.MS-base.MS)/(fo*fr))
	g.Repeatability, g.InteractionSD, g.Reproducibility = math.Sqrt(e), math.Sqrt(po), math.Sqrt(op)
	g.Gauge, g.PartSD, g.Total = math.Sqrt(e+po+op), math.Sqrt(part), math.Sqrt(e+po+op+part)
	g.GaugeStudy = 100 * g.Gauge / g.Total
	g.Categories = int(math.Min(1e6, 1.41*g.PartSD/g.Gauge))
}

func (s *GaugeSource) against(base GaugeSource) {
	if base.MS > 0 {
		s.F = s.MS / base.MS
		s.P = fUpper(s.F, float64(s.DF), float64(base.DF))
	}
}

// gaugeCells sorts readings into [part][operator][trial] in order of first
// appearance, and refuses an incomplete or unequal table.
func gaugeCells(readings []GaugeReading) ([][][]float64, error) {
	var parts, operators []string
	for i, r := range readings {
		if err := checkFinite(fmt.Sprintf("readings[%d].value", i), r.Value); err != nil {
			return nil, err
		}
		if !slices.Contains(parts, r.Part) {
			parts = append(parts, r.Part)
		}
		if !slices.Contains(operators, r.Operator) {
			operators = append(operators, r.Operator)
		}
	}
	if len(parts) < 2 {
		return nil, tooFew("parts", len(parts), 2)
	}
	if len(operators) < 2 {
		return nil, tooFew("operators", len(operators), 2)
	}
	if len(parts)*len(operators)*2 > len(readings) {
		return nil, tooFew("readings", len(readings), 2*len(parts)*len(operators))
	}
	cells := make([][][]float64, len(parts))
	for i := range cells {
		cells[i] = make([][]float64, len(operators))
	}
	for _, r := range readings {
		c := &cells[slices.Index(parts, r.Part)][slices.Index(operators, r.Operator)]
		*c = append(*c, r.Value)
	}
	trials := len(cells[0][0])
	for i := range cells {
		for j, c := range cells[i] {
			if len(c) != trials || len(c) < 2 {
				return nil, &Error{Field: "readings", Value: fmt.Sprintf("part %s, operator %s: %d", parts[i], operators[j], len(c)),
					Message: "not every operator read every part equally often, twice or more",
					Mend:    "complete the table, or leave out the part"}
			}
		}
	}
	return cells, nil
}
