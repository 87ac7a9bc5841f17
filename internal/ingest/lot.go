package ingest

import (
	"fmt"
	"strings"

	"ullage/internal/lab"
)

// lotFormat is a package format that the file's rows name.
type lotFormat struct {
	id   string
	made *lab.Format // nil: it is there already
}

// lotRow makes the format and the lot of a row.
func (p *plan) lotRow(d *draft) {
	name := p.text(d, "format")
	if name == "" {
		p.fault(d, p.place("format"), false, "is empty", "name the package format")
		return
	}
	if d.faulty() {
		return
	}
	f := p.formats[compared(name)]
	if f == nil {
		if f = p.newFormat(d, name); f == nil {
			return
		}
	}
	lot := p.lot(d, f.id)
	if d.faulty() {
		return
	}
	p.formats[compared(name)] = f
	d.format, d.lot = f, lot
}

func (p *plan) newFormat(d *draft, name string) *lotFormat {
	if id := p.refs.id["format"][compared(name)]; id != "" {
		return &lotFormat{id: id}
	}
	like := guess("format", name, 0)
	f := &lab.Format{Meta: lab.Meta{ID: derived(0, "new", "format", compared(name))}, Name: name, Closure: shorten(p.text(d, "closure"), 150),
		PackageKind: p.text(d, "kind"), NominalML: rounded(p.num(d, "nominal"))}
	if f.PackageKind == "" && like.PackageKind != "" {
		f.PackageKind = like.PackageKind
		p.fault(d, p.place("format"), true, "its kind is read from the name: "+like.PackageKind, "add a column that says can, bottle or keg")
	}
	if f.NominalML == nil && like.NominalML != nil {
		f.NominalML = like.NominalML
		p.fault(d, p.place("format"), true, fmt.Sprintf("its nominal volume is read from the name: %g mL", *like.NominalML), "add a column with the nominal volume")
	}
	if !p.lawful(d, f, lotColumn) {
		return nil
	}
	return &lotFormat{id: f.ID, made: f}
}

// lot makes the lot of a row; nil for a row that is a format alone.
func (p *plan) lot(d *draft, formatID string) *lab.FormatLot {
	lot := &lab.FormatLot{FormatID: formatID, Name: p.text(d, "lot"), CapacityML: rounded(p.num(d, "capacity")), CapacitySDML: rounded(p.num(d, "capacity_sd")),
		TareG: rounded(p.num(d, "tare")), TareSDG: rounded(p.num(d, "tare_sd")), NeckGapMM: rounded(p.num(d, "neck_gap")),
		NeckHeadspaceML: rounded(p.num(d, "neck_headspace")), NeckMLPerMM: rounded(p.num(d, "neck_ml_per_mm")),
		CapacitySource: p.text(d, "capacity_source"), Note: shorten(p.text(d, "note"), 3000)}
	if n := p.count(d, "capacity_n"); n > 0 {
		lot.CapacityN = &n
	}
	if n := p.count(d, "tare_n"); n > 0 {
		lot.TareN = &n
	}
	if c := p.get(d, "from"); c != nil && c.mom.hasDate {
		lot.From = fmt.Sprintf("%04d-%02d-%02d", c.mom.date.year, c.mom.date.month, c.mom.date.day)
	}
	if lot.CapacityML == nil && lot.TareG == nil && lot.NeckGapMM == nil {
		if lot.Name != "" {
			p.fault(d, p.place("lot"), false, "has neither tare nor capacity", "enter one of them, or empty the lot's name")
		}
		return nil
	}
	if lot.Name == "" {
		lot.Name = "from " + lot.From
	}
	lot.ID = derived(0, "lot", formatID, compared(lot.Name), lot.From)
	p.lawful(d, lot, lotColumn)
	return lot
}

// lotColumn is the column that a field of a format or a lot came from.
func lotColumn(field string) string {
	for _, unit := range []string{"_ml", "_g", "_mm"} {
		field = strings.TrimSuffix(field, unit)
	}
	if field == "name" {
		return "lot"
	}
	return field
}
