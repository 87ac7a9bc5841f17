package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"ullage/core/calc"
	"ullage/core/quantity"
)

// StudyCmd holds the studies of packages, shaking, delay, sample line and operators.
type StudyCmd struct {
	Tare          studyTareCmd     `cmd:"" help:"Empty weights: mean, spread, how many to weigh, whether lots differ."`
	Capacity      studyCapacityCmd `cmd:"" help:"Capacity by weight of water, to the brim."`
	Neck          studyNeckCmd     `cmd:"" help:"Fill height to headspace of a bottle."`
	Shake         studyShakeCmd    `cmd:"" help:"Readings after different times of shaking: time to 99 %, what is left at five minutes."`
	Delay         studyDelayCmd    `cmd:"" help:"Readings after different delays: uptake of oxygen, how soon to read."`
	Line          studyLineCmd     `cmd:"" help:"Flow test of a sample line: what comes in through it."`
	Repeatability studyGaugeCmd    `cmd:"" help:"Packages read by several operators, twice or more each: analysis of variance."`
	Instruments   studyBuyCmd      `cmd:"" help:"What to buy next: what each better instrument or weighing would do for your packages."`
}

// studyFile is what all studies take.
type studyFile struct {
	File   string `arg:"" placeholder:"FILE" help:"CSV file; - for standard input."`
	Format string `enum:"text,json" default:"text" group:"Output" help:"text or json."`
}

// usualPackage says what weights and volumes do to TPO.
type usualPackage struct {
	Temperature *quantity.Temperature `short:"t" placeholder:"20C" group:"In TPO" help:"Of a usual package: with the rest of the group, says what the spread does to its TPO."`
	ShakenDO    *quantity.ShakenDO    `name:"shaken-do" placeholder:"44ppb" group:"In TPO" help:"Its reading."`
	Beer        *quantity.Volume      `placeholder:"355mL" group:"In TPO" help:"Its beer."`
}

func (p *usualPackage) options() map[string]any {
	o := map[string]any{}
	put(o, "temperature_c", p.Temperature)
	put(o, "shaken_do_ppb", p.ShakenDO)
	put(o, "beer_ml", p.Beer)
	return o
}

// nothing is the second half of a row that has none.
type nothing struct{}

func asItIs[A any](a *A, _ *nothing) (any, error) { return a, nil }

type studyTareCmd struct {
	studyFile
	Target   *quantity.Mass   `placeholder:"0.1g" help:"How well the mean must be known, 95 %."`
	Capacity *quantity.Volume `placeholder:"373.5mL" group:"In TPO" help:"Its capacity."`
	usualPackage
}

func (studyTareCmd) Help() string {
	return "Columns: empty_g (with the closure) and, for several deliveries, lot."
}

func (c *studyTareCmd) Run(s *streams) error {
	o := c.options()
	put(o, "target_g", c.Target)
	put(o, "capacity_ml", c.Capacity)
	return runStudy(s, c.File, c.Format, "study-tare", o, asItIs[calc.TareRow], printStudy)
}

type studyCapacityCmd struct {
	studyFile
	Target     *quantity.Volume  `placeholder:"0.3mL" help:"How well the mean must be known, 95 %."`
	AirDensity *quantity.Density `placeholder:"1.2" help:"Air around the balance, kg/m³."`
	usualPackage
}

func (studyCapacityCmd) Help() string {
	return "Columns: empty_g and full_g (water to the brim, closure on) or capacity_water_g\n(net), water_temperature_c and, for several deliveries, lot. Buoyancy of the air is\ntaken off. Wet glass slips: hold it low, over a tray."
}

func (c *studyCapacityCmd) Run(s *streams) error {
	o := c.options()
	put(o, "target_ml", c.Target)
	put(o, "air_density_kg_m3", c.AirDensity)
	return runStudy(s, c.File, c.Format, "study-capacity", o, asItIs[calc.CapacityRow], printStudy)
}

type studyNeckCmd struct{ studyFile }

func (studyNeckCmd) Help() string {
	return "Columns: gap_mm (rim down to the liquid) and headspace_ml, or to_brim_g: the water\nthat fills it up."
}

func (c *studyNeckCmd) Run(s *streams) error {
	return runStudy(s, c.File, c.Format, "study-neck", nil, asItIs[calc.NeckRow], printStudy)
}

type studyShakeCmd struct {
	studyFile
	UnshakenDO *quantity.UnshakenDO `name:"unshaken-do" placeholder:"PPB" help:"Reading without shaking, where it is known."`
	Routine    *quantity.Minutes    `placeholder:"5min" help:"The time you shake for."`
}

func (studyShakeCmd) Help() string {
	return "Columns: shake_min and shaken_do_ppb, each of a package of its own, neighbours of\none head. Five times or more, up to twice your own."
}

func (c *studyShakeCmd) Run(s *streams) error {
	o := map[string]any{}
	put(o, "unshaken_do_ppb", c.UnshakenDO)
	put(o, "routine_min", c.Routine)
	return runStudy(s, c.File, c.Format, "study-shake", o, asItIs[calc.ShakeRow], printStudy)
}

type studyDelayCmd struct {
	studyFile
	Loss float64 `placeholder:"5" help:"Loss that is still accepted, %."`
}

func (studyDelayCmd) Help() string {
	return "Columns: delay_min (closing to reading) and tpo_ppb or shaken_do_ppb; temperature_c\nwhere it is known. Neighbours of one head, shuffled over the delays."
}

func (c *studyDelayCmd) Run(s *streams) error {
	o := map[string]any{}
	if c.Loss != 0 {
		o["loss_percent"] = c.Loss
	}
	return runStudy(s, c.File, c.Format, "study-delay", o, asItIs[calc.DelayRow], printStudy)
}

type studyLineCmd struct {
	studyFile
	Flow float64 `placeholder:"150" help:"The flow you read at, mL/min."`
}

func (studyLineCmd) Help() string {
	return "Columns: flow_ml_min and do_ppb, of one beer at three flows or more."
}

func (c *studyLineCmd) Run(s *streams) error {
	o := map[string]any{}
	if c.Flow != 0 {
		o["routine_flow_ml_min"] = c.Flow
	}
	return runStudy(s, c.File, c.Format, "study-line", o, asItIs[calc.LineRow], printStudy)
}

type studyGaugeCmd struct {
	studyFile
	Pool *float64 `placeholder:"0.25" help:"An interaction whose p is above goes into the error."`
}

func (studyGaugeCmd) Help() string {
	return "Columns: package, operator, reading. Every operator reads every package equally\noften, twice or more. A package that is used up by its reading is replaced by a\nneighbour of its head: the difference of neighbours then counts as repeatability."
}

func (c *studyGaugeCmd) Run(s *streams) error {
	o := map[string]any{}
	put(o, "pool_above_p", c.Pool)
	return runStudy(s, c.File, c.Format, "study-repeatability", o, asItIs[calc.GaugeRow], printStudy)
}

type studyBuyCmd struct{ studyFile }

func (studyBuyCmd) Help() string {
	return "Columns: id and those of \"ullage tpo\", one usual package of each format you fill."
}

// namedPackage is a package with its name.
type namedPackage struct {
	ID name `json:"id" help:"name of the format"`
}

func (c *studyBuyCmd) Run(s *streams) error {
	return runStudy(s, c.File, c.Format, "buy-next", nil, func(id *namedPackage, in *calc.TPOInput) (any, error) {
		return struct {
			namedPackage
			calc.TPOInput
		}{*id, *in}, nil
	}, func(w io.Writer, a calc.Answer) error {
		r := a.Result.(calc.BuyResult)
		return printBuy(w, &r, a.Warnings)
	})
}

func printBuy(w io.Writer, r *calc.BuyResult, warnings []calc.Warning) error {
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s\n\n", r.Sentence)
	for _, p := range r.Packages {
		fmt.Fprintf(&b, "  %-16s TPO %6.1f ppb ± %.1f (95 %%), %s\n", p.ID, p.TPO, p.Half, words[p.Path])
	}
	fmt.Fprintf(&b, "\nGain: by how much the ± of the 95 %% interval shrinks, ppb\n  %-58s %6s  %s\n", "", "mean", "most")
	for _, o := range r.Options {
		fmt.Fprintf(&b, "  %-58s %6.1f  %.1f for %s\n", o.What, o.Mean, o.Largest, o.For)
	}
	odd(&b, warnings)
	_, err := w.Write(b.Bytes())
	return err
}

// printStudy writes the sentence of a study and its figures under their names,
// which are those of the JSON.
func printStudy(w io.Writer, a calc.Answer) error {
	text, err := json.Marshal(a.Result)
	if err != nil {
		return err
	}
	var head, b bytes.Buffer
	dec := json.NewDecoder(bytes.NewReader(text))
	if _, err := dec.Token(); err != nil {
		return err
	}
	for dec.More() {
		key, err := dec.Token()
		if err != nil {
			return err
		}
		var raw json.RawMessage
		if err := dec.Decode(&raw); err != nil {
			return err
		}
		switch {
		case key == "sentence":
			var sentence string
			if err := json.Unmarshal(raw, &sentence); err != nil {
				return err
			}
			head.WriteString(sentence + "\n\n")
		case raw[0] == '[' || raw[0] == '{':
			printList(&b, key.(string), raw)
		case string(raw) != "null":
			fmt.Fprintf(&b, "  %-32s %s\n", key, plainValue(raw))
		}
	}
	odd(&b, a.Warnings)
	_, err = w.Write(append(head.Bytes(), b.Bytes()...))
	return err
}

// printList writes an object, or each of a list of objects, on a line.
func printList(b *bytes.Buffer, key string, raw json.RawMessage) {
	var list []json.RawMessage
	if json.Unmarshal(raw, &list) != nil {
		list = []json.RawMessage{raw}
	}
	for _, item := range list {
		if item[0] != '{' {
			fmt.Fprintf(b, "  %-32s %s\n", key, plainValue(item))
			continue
		}
		dec := json.NewDecoder(bytes.NewReader(item))
		dec.Token()
		var parts []string
		for dec.More() {
			name, _ := dec.Token()
			var v json.RawMessage
			if dec.Decode(&v) != nil {
				break
			}
			parts = append(parts, fmt.Sprint(name, " ", plainValue(v)))
		}
		fmt.Fprintf(b, "  %-32s %s\n", key, strings.Join(parts, ", "))
	}
}

// plainValue is a number to five digits, or a word.
func plainValue(raw json.RawMessage) string {
	var v any
	if json.Unmarshal(raw, &v) != nil {
		return string(raw)
	}
	if f, ok := v.(float64); ok {
		return fmt.Sprintf("%.5g", f)
	}
	return fmt.Sprint(v)
}
