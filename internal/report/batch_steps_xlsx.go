package report

import (
	"fmt"
	"strings"

	"github.com/xuri/excelize/v2"

	"ullage/core/cellar"
	"ullage/core/way"
	"ullage/internal/lab"
)

// stepColumns of the sheet Steps. Figures that follow from others are formulas,
// so that a reading changed in the sheet Way moves its steps.
var stepColumns = []string{"batch", "step", "from", "to", "before_ppb", "after_ppb", "added_by_additions_ppb", "pickup_ppb", "standard_u_ppb", "low95_ppb", "high95_ppb", "resolved",
	"volume_hl", "grams", "flow_hl_h", "air_ml_min", "budget_ppb", "over_budget", "next_check"}

// steps writes pickup, interval, grams and air leak of every step as formulas
// (docs/method.md, eq. 38 to 40).
func (b *book) steps(d *Batch) {
	const sheet = "Steps"
	if _, err := b.f.NewSheet(sheet); err != nil {
		b.keep(err)
		return
	}
	b.header(sheet, 1, stepColumns, 14)
	b.fitWidth(sheet)
	at := map[string]string{} // node → its DO in the sheet Way
	for i, n := range d.Way.Map.Nodes {
		at[n.ID] = fmt.Sprintf("Way!E%d", i+2)
	}
	for i := range d.Way.Map.Steps {
		s := &d.Way.Map.Steps[i]
		to := d.nodes[s.To]
		if to == nil || at[s.From] == "" {
			continue
		}
		row := i + 2
		cell := func(col string) string { return fmt.Sprintf("%s%d", col, row) }
		words := make([]string, len(s.Covers))
		for k, w := range s.Covers {
			words[k] = way.StepWord(w)
		}
		code, tank := d.where(to)
		b.text(sheet, cell("A"), strings.TrimSpace(code+" "+tank))
		b.text(sheet, cell("B"), strings.Join(words, " + "))
		b.text(sheet, cell("C"), d.partsOf(s))
		b.text(sheet, cell("D"), way.PointWord(to.Point))
		b.formula(sheet, cell("E"), before(s, at))
		b.formula(sheet, cell("F"), at[s.To])
		b.number(sheet, cell("G"), &s.Dosed)
		b.formula(sheet, cell("H"), fmt.Sprintf("F%[1]d-E%[1]d-G%[1]d", row))
		b.number(sheet, cell("I"), &s.U)
		b.formula(sheet, cell("J"), fmt.Sprintf("H%[1]d-1.96*I%[1]d", row))
		b.formula(sheet, cell("K"), fmt.Sprintf("H%[1]d+1.96*I%[1]d", row))
		b.formula(sheet, cell("L"), fmt.Sprintf(`IF(ABS(H%[1]d)>1.96*I%[1]d,"yes","not resolved")`, row))
		b.number(sheet, cell("M"), lab.Num(to.VolumeHL))
		b.formula(sheet, cell("N"), fmt.Sprintf("H%[1]d*M%[1]d*100/1000000", row))
		if s.FlowHLH > 0 {
			b.number(sheet, cell("O"), &s.FlowHLH)
			b.formula(sheet, cell("P"), fmt.Sprintf("IF(H%[1]d>0,H%[1]d*O%[1]d*100/60/278.6,0)", row))
		}
		if s.Budget != nil {
			b.number(sheet, cell("Q"), s.Budget)
			b.formula(sheet, cell("R"), fmt.Sprintf(`IF(AND(L%[1]d="yes",H%[1]d>Q%[1]d),"over","")`, row))
		}
		b.text(sheet, cell("S"), s.NextCheck)
	}
}

// before is what flowed into a step: a cell, or shares of several.
func before(s *cellar.Step, at map[string]string) string {
	if len(s.Parts) == 0 {
		return at[s.From]
	}
	terms := make([]string, len(s.Parts))
	for i, p := range s.Parts {
		terms[i] = fmt.Sprintf("%.9g*%s", p.Share, at[p.From])
	}
	return strings.Join(terms, "+")
}

// partsOf is where the liquid of a step came from, in words.
func (d *Batch) partsOf(s *cellar.Step) string {
	word := func(id string) string {
		n := d.nodes[id]
		if n == nil {
			return ""
		}
		code, _ := d.where(n)
		return strings.TrimSpace(code + " " + way.PointWord(n.Point))
	}
	if len(s.Parts) == 0 {
		return word(s.From)
	}
	out := make([]string, len(s.Parts))
	for i, p := range s.Parts {
		out[i] = fmt.Sprintf("%.0f %% %s", 100*p.Share, word(p.From))
	}
	return strings.Join(out, "; ")
}

// packages writes the parts of the TPO of each run, and what they lack of it.
func (b *book) packages(d *Batch) {
	const sheet = "Packages"
	if len(d.Way.Map.Package) == 0 {
		return
	}
	if _, err := b.f.NewSheet(sheet); err != nil {
		b.keep(err)
		return
	}
	b.header(sheet, 1, []string{"run", "tank_ppb", "line_ppb", "filler_ppb", "headspace_ppb", "sum_ppb", "tpo_ppb", "residual_ppb", "allowed_ppb", "closes"}, 14)
	for i, p := range d.Way.Map.Package {
		row := i + 2
		b.text(sheet, fmt.Sprintf("A%d", row), fmt.Sprint(d.runs[p.Run].Number))
		for k, v := range []*float64{p.Tank, p.Line, p.Filler, p.Headspace} {
			cell, _ := excelize.CoordinatesToCellName(k+2, row)
			b.number(sheet, cell, v)
		}
		b.formula(sheet, fmt.Sprintf("F%d", row), fmt.Sprintf("SUM(B%[1]d:E%[1]d)", row))
		b.number(sheet, fmt.Sprintf("G%d", row), p.TPO)
		if p.TPO == nil || p.Closure == nil {
			continue
		}
		b.formula(sheet, fmt.Sprintf("H%d", row), fmt.Sprintf("G%[1]d-F%[1]d", row))
		b.number(sheet, fmt.Sprintf("I%d", row), &p.Closure.Allowed)
		b.formula(sheet, fmt.Sprintf("J%d", row), fmt.Sprintf(`IF(ABS(H%[1]d)<=I%[1]d,"yes","no")`, row))
	}
}
