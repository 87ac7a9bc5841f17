package report

import (
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"

	"ullage/core/cellar"
)

// batchXLSX is the way of a batch as a workbook: places, steps and packages as
// formulas over them, readings, moves, brews, findings and what changed.
func batchXLSX(d *Batch, now time.Time) ([]byte, error) {
	b, err := newBook("Way", now)
	if err != nil {
		return nil, err
	}
	defer b.f.Close()
	b.rows("Way", wayColumns, d.wayRows())
	b.steps(d)
	b.packages(d)
	b.rows("Readings", []string{"batch", "tank", "point", "at", "do_ppb", "u_ppb", "meter", "temperature_c", "pressure_bar", "flow_hl_h", "volume_moved_hl", "gas_o2_fraction", "confirmed"}, d.readingRows())
	b.rows("Moves", []string{"kind", "from", "to", "started_at", "ended_at", "volume_hl", "flow_hl_h", "via", "added", "added_kg"}, d.moveRows())
	b.rows("Brews", []string{"brew", "batch", "at", "volume_hl", "do_ppb"}, d.brewRows())
	var found [][]string
	for _, f := range d.Way.Map.Diagnosis {
		found = append(found, []string{f.Kind, f.Where, number4(f.PPB), f.Evidence, f.NextCheck})
	}
	b.rows("Findings", []string{"kind", "where", "ppb", "evidence", "next_check"}, found)
	var changed [][]string
	for _, x := range d.Changed.Changes {
		changed = append(changed, []string{x.What, x.Of, x.Now, x.Before, strconv.FormatBool(x.Differs), strconv.Itoa(x.Batches)})
	}
	b.rows("Changes", []string{"what", "of", "this_batch", "usually", "differs", "batches"}, changed)
	return b.bytes()
}

// rows writes a sheet: a header, and cells that are numbers where they read as such.
func (b *book) rows(sheet string, head []string, rows [][]string) {
	if i, err := b.f.GetSheetIndex(sheet); err == nil && i < 0 {
		_, err := b.f.NewSheet(sheet)
		b.keep(err)
	}
	b.header(sheet, 1, head, 16)
	b.fitWidth(sheet)
	for i, r := range rows {
		for k, v := range r {
			cell, _ := excelize.CoordinatesToCellName(k+1, i+2)
			if x, err := strconv.ParseFloat(v, 64); err == nil && strings.Contains(head[k], "_") {
				b.number(sheet, cell, &x)
				continue
			}
			b.text(sheet, cell, v)
		}
	}
}

func number4(v float64) string { return strconv.FormatFloat(v, 'g', 4, 64) }

func optional(v *float64) string {
	if v == nil {
		return ""
	}
	return number4(*v)
}

func some(v float64) string {
	if v == 0 {
		return ""
	}
	return number4(v)
}

func when(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(time.RFC3339)
}

func (d *Batch) name(id string) (code, tank string) { return d.where(&cellar.Node{Batch: id}) }

func (d *Batch) readingRows() (out [][]string) {
	for _, r := range d.Way.Input.Readings {
		code, tank := d.name(r.Batch)
		do := number4(r.DO)
		if r.GasO2 != nil && r.DO == 0 {
			do = ""
		}
		out = append(out, []string{code, tank, r.Point, when(r.At), do, some(r.U), d.meters[r.Meter], optional(r.TemperatureC), optional(r.PressureBar), some(r.FlowHLH), some(r.VolumeHL), optional(r.GasO2), r.Confirmed})
	}
	return out
}

func (d *Batch) moveRows() (out [][]string) {
	for _, m := range d.Way.Input.Moves {
		from, _ := d.name(m.From)
		to, _ := d.name(m.To)
		row := []string{m.Kind, from, to, when(m.Started), when(m.Ended), some(m.VolumeHL), some(m.FlowHLH), strings.Join(m.Via, ", "), "", ""}
		if a := m.Addition; a != nil {
			row[8], row[9] = a.What, some(a.AmountKG)
		}
		out = append(out, row)
	}
	return out
}

func (d *Batch) brewRows() (out [][]string) {
	for _, r := range d.Way.Input.Brews {
		code, _ := d.name(r.Batch)
		out = append(out, []string{r.Code, code, when(r.At), some(r.VolumeHL), optional(r.DO)})
	}
	return out
}
