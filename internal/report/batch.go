package report

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"strings"
	"time"

	"ullage/core/cellar"
	"ullage/core/compare"
	"ullage/core/way"
	"ullage/internal/lab"
)

// Batch is what a paper of a batch prints.
type Batch struct {
	Brewery lab.Brewery
	Zone    *time.Location
	People  map[string]string
	Batch   lab.Batch
	Beer    lab.Beer
	Tank    *lab.Tank
	Way     lab.BatchMap
	Changed compare.WhatChanged
	runs    map[string]lab.Run
	nodes   map[string]*cellar.Node
	meters  map[string]string
}

// ReadBatch reads a batch with its map and what changed.
func ReadBatch(ctx context.Context, s *lab.Service, id string) (*Batch, error) {
	r, err := newReader(ctx, s)
	if err != nil {
		return nil, err
	}
	d := &Batch{Brewery: r.brewery, Zone: r.zone, People: r.people, runs: map[string]lab.Run{}, nodes: map[string]*cellar.Node{}, meters: map[string]string{}}
	batch, err := get[lab.Batch](ctx, s, lab.KindBatches, id)
	if err != nil {
		return nil, err
	}
	d.Batch = deref(batch)
	beer, err := get[lab.Beer](ctx, s, lab.KindBeers, d.Batch.BeerID)
	if err != nil {
		return nil, err
	}
	d.Beer = deref(beer)
	if d.Tank, err = get[lab.Tank](ctx, s, lab.KindTanks, d.Batch.TankID); err != nil {
		return nil, err
	}
	if d.Way, err = s.BatchMap(ctx, id); err != nil {
		return nil, err
	}
	if d.Changed, err = s.BatchChanges(ctx, id); err != nil {
		return nil, err
	}
	for _, x := range d.Way.Input.Runs {
		run, err := get[lab.Run](ctx, s, lab.KindRuns, x.ID)
		if err != nil {
			return nil, err
		}
		d.runs[x.ID] = deref(run)
	}
	meters, err := list[lab.Instrument](ctx, s, lab.KindInstruments)
	for _, m := range meters {
		d.meters[m.ID] = m.Name
	}
	for i := range d.Way.Map.Nodes {
		n := &d.Way.Map.Nodes[i]
		d.nodes[n.ID] = n
	}
	return d, err
}

// FindBatch gives the id of a batch from its code or id.
func FindBatch(ctx context.Context, s *lab.Service, ref string) (string, error) {
	batches, err := list[lab.Batch](ctx, s, lab.KindBatches)
	if err != nil {
		return "", err
	}
	var found []string
	for _, x := range batches {
		if x.ID == ref {
			return x.ID, nil
		}
		if strings.EqualFold(x.Code, ref) {
			found = append(found, x.ID)
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return "", &lab.Error{Class: lab.NotFound, Faults: []lab.Fault{{Field: "batch", Value: ref, Message: "there is no such batch", Mend: "give a batch's code or id"}}}
	}
	return "", wrong("batch", ref, "is the code of several batches", "give the batch's id")
}

func (d *Batch) file(q Request) ([]byte, error) {
	switch q.Format {
	case CSV:
		return csvBytes(append([][]string{wayColumns}, d.wayRows()...))
	case XLSX:
		return batchXLSX(d, q.Now)
	}
	return batchPDF(d, q.Paper, q.Now)
}

// wayColumns of the CSV of a batch.
var wayColumns = []string{"batch", "tank", "point", "at", "do_ppb", "u_ppb", "reconciled_ppb", "limit_green_ppb", "limit_red_ppb", "limit_from", "state", "step",
	"delta_ppb", "low95_ppb", "high95_ppb", "grams", "air_ml_min", "budget_ppb", "budget_from", "step_state", "reason", "next_check"}

// wayRows are the nodes in flow order, each with the step that leads to it.
func (d *Batch) wayRows() [][]string {
	var out [][]string
	for _, n := range d.Way.Map.Nodes {
		code, tank := d.where(&n)
		row := []string{code, tank, n.Point, when(n.At), optional(n.DO), some(n.U), optional(n.Reconciled), some(n.Green), some(n.Red), n.LimitFrom, n.State}
		for _, s := range d.Way.Map.Steps {
			if s.To == n.ID {
				row = append(row, strings.Join(s.Covers, " + "), number4(s.Delta), number4(s.Low95), number4(s.High95), optional(s.Grams), optional(s.AirMLMin), optional(s.Budget), s.BudgetFrom, s.State, s.Reason, s.NextCheck)
				break
			}
		}
		for len(row) < len(wayColumns) {
			row = append(row, "")
		}
		out = append(out, row)
	}
	return out
}

// where is the batch's code and tank of a node; of a package, the run.
func (d *Batch) where(n *cellar.Node) (code, tank string) {
	if r, ok := d.runs[n.Run]; ok && n.Run != "" {
		return fmt.Sprintf("run %d", r.Number), ""
	}
	for _, b := range d.Way.Input.Batches {
		if b.ID == n.Batch {
			return b.Code, b.Tank
		}
	}
	return "", ""
}

// oxygen in the unit of its point: wort in mg/L, all else in ppb.
func oxygenText(point string, v, u float64) string {
	if lab.IsWort(point) {
		return digits(v/1000, u/1000) + " mg/L"
	}
	return digits(v, u) + " ppb"
}

func (d *Batch) stepTo(id string) *cellar.Step {
	for i := range d.Way.Map.Steps {
		if d.Way.Map.Steps[i].To == id {
			return &d.Way.Map.Steps[i]
		}
	}
	return nil
}

var stepStates = map[string]string{"within": "within its budget", "over": "OVER its budget", "not_resolved": "not resolved", "negative": "taken up or an offset", "no_budget": ""}

// headline says what the map says, in two sentences.
func (d *Batch) headline() string {
	m := &d.Way.Map
	over, first := 0, ""
	for _, s := range m.Steps {
		if s.State == "over" {
			if over++; first == "" {
				first = fmt.Sprintf("%s %s ppb", way.StepWord(s.Kind), signedDigits(s.Delta, s.U))
			}
		}
	}
	out := "No step is over its budget."
	if len(m.Nodes) == 0 || len(d.Way.Input.Readings) == 0 {
		return "Nothing was read of this batch yet."
	}
	if over == 1 {
		out = "One step is over its budget: " + first + "."
	} else if over > 1 {
		out = fmt.Sprintf("%d steps are over their budgets, the first: %s.", over, first)
	}
	if len(m.Diagnosis) > 0 {
		f := m.Diagnosis[0]
		out += fmt.Sprintf(" First to look at: %s, %s.", f.Where, cmp.Or(findingWords[f.Kind], f.Kind))
	}
	return out
}

func signedDigits(v, u float64) string {
	if v < 0 {
		return "−" + digits(math.Abs(v), u)
	}
	return "+" + digits(v, u)
}

var findingWords = map[string]string{"leak": "a leak of constant rate", "proportional": "something dosed in proportion to the flow, or a meter's offset", "suction": "air drawn in on the suction side",
	"washout": "air or water left inside, washed out", "tank_gas": "oxygen in the gas above the beer", "consumption": "oxygen taken up by yeast", "dry_hop": "air that came with the hops", "step": "a step in time",
	"rise": "a rise in time", "cycle": "a swing with a period", "exchanged": "two points that changed places", "meter": "the meter", "offset": "an offset between meters, or stripping by CO2", "pickup": "pick-up over its budget", "unclear": "not clear yet"}

func (d *Batch) moment(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.In(d.Zone).Format("2006-01-02 15:04")
}
