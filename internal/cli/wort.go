package cli

import (
	"fmt"
	"strings"

	"ullage/core/quantity"
	"ullage/core/wort"
	"ullage/internal/batch"
)

// WortCmd is the gas for wort: target, efficiency learned, setting.
type WortCmd struct {
	Flow        *quantity.WortFlow      `in:"wort_l_min" placeholder:"50" group:"Wort" help:"Flow of the wort, L/min;"`
	Volume      *quantity.Volume        `in:"wort_ml" placeholder:"20hL" group:"Wort" help:"or the brew"`
	Minutes     *quantity.Minutes       `in:"knockout_min" placeholder:"40min" group:"Wort" help:"and its time."`
	Temperature *quantity.Temperature   `short:"t" in:"temperature_c" placeholder:"12C" group:"Wort" help:"Temperature of the wort."`
	Extract     *quantity.Extract       `in:"extract_plato" placeholder:"12P" group:"Wort" help:"Its extract."`
	Carried     *quantity.DO            `in:"carried_ppb" placeholder:"0.5ppm" group:"Wort" help:"DO it has already."`
	Pressure    *quantity.Pressure      `in:"pressure_kpa" placeholder:"2bar" group:"Wort" help:"Absolute pressure where the gas goes in;"`
	Gauge       *quantity.GaugePressure `in:"pressure_gauge_kpa" placeholder:"1bar" group:"Wort" help:"or gauge."`
	Altitude    *quantity.Altitude      `in:"altitude_m" placeholder:"310m" group:"Wort" help:"Altitude of the place."`
	Fill        []string                `sep:"none" placeholder:"25hL" group:"Wort" help:"A brew of the tank, again and again in order; 25hL:none goes in without gas, 25hL:u=0.5hL states its standard uncertainty. The target is then the tank's."`

	Target           *quantity.DO       `in:"target_ppb" placeholder:"10ppm" group:"Target" help:"DO wanted; from gravity and yeast when not said."`
	Style            string             `in:"style" enum:"ale,lager," default:"" placeholder:"ale" group:"Target" help:"ale or lager."`
	Yeast            string             `in:"yeast_source" enum:"repitch,propagated,dry," default:"" placeholder:"repitch" group:"Target" help:"repitch, propagated or dry."`
	Generation       float64            `in:"generation" placeholder:"4" group:"Target" help:"Its generation."`
	Pitch            float64            `in:"pitch_million_ml" placeholder:"12" group:"Target" help:"Cells pitched, million a mL."`
	SlurryAge        *quantity.Days     `in:"slurry_days" placeholder:"3d" group:"Target" help:"Age of the slurry."`
	Rules            string             `placeholder:"FILE" group:"Target" help:"Your own rules for the target, CSV: from_plato, below_plato, style, low_mg_l, high_mg_l, note, source."`
	Second           *quantity.DO       `in:"second_ppb" placeholder:"4ppm" group:"Target" help:"DO of a second dose, 12 to 18 h after pitching."`
	SecondEfficiency *quantity.Fraction `in:"second_efficiency_fraction" placeholder:"20%" group:"Target" help:"Its efficiency."`

	Gas        string                  `in:"gas" enum:"oxygen,air," default:"" placeholder:"oxygen" group:"Gas" help:"oxygen or air."`
	Efficiency *quantity.Fraction      `in:"efficiency_fraction" placeholder:"60%" group:"Gas" help:"Share of the gas that dissolves and stays;"`
	Brews      string                  `placeholder:"FILE" group:"Gas" help:"or learned from a CSV of past brews, oldest first: id, do_ppm, carried_ppm, wort_hl, knockout_min, gas_nl_min or float_reading_nl_min with float_for and float_gauge_bar, stone_cleaned."`
	Cleaned    bool                    `in:"next_cleaned" group:"Gas" help:"The stone is cleaned before this brew."`
	GasSet     *quantity.GasFlow       `in:"gas_set_nl_min" placeholder:"0.5" group:"Gas" help:"Gas flow that is set, NL/min: gives the DO it makes,"`
	Read       *quantity.DO            `in:"read_ppb" placeholder:"8ppm" group:"Gas" help:"and with the DO read, the efficiency it had."`
	FloatFor   string                  `in:"float_for" enum:"air,oxygen,co2," default:"" placeholder:"air" group:"Gas" help:"Gas the float meter is scaled for: gives its reading."`
	FloatGauge *quantity.GaugePressure `in:"float_gauge_kpa" placeholder:"1bar" group:"Gas" help:"Gauge pressure in it."`
	FloatT     *quantity.Temperature   `name:"float-temperature" in:"float_temperature_c" placeholder:"20C" group:"Gas" help:"Temperature of its gas."`
	planOutput
}

// Help is the long help of the command.
func (WortCmd) Help() string {
	return `  ullage wort --volume 20hL --minutes 40min --target 10ppm --carried 0.5ppm --efficiency 60% -t 12C
  ullage wort --volume 25hL --minutes 45min --extract 12P -t 12C --brews brews.csv --float-for air
  ullage wort --flow 55 --fill 25hL --fill 25hL:none --target 9ppm --efficiency 60% -t 12C

Without --target it comes from gravity and yeast by rules of common practice; with
--brews the efficiency is learned from past brews, with its fouling since the
stone was cleaned. docs/cellar.md explains both.`
}

// wortRule is a rule of a target as a file holds it.
type wortRule struct {
	From   *quantity.Extract `json:"from_plato,omitempty" help:"extract from which it holds"`
	Below  *quantity.Extract `json:"below_plato,omitempty" help:"extract below which it holds"`
	Style  string            `json:"style,omitempty" help:"ale or lager; both when empty"`
	Low    *quantity.DO      `json:"low_ppb,omitempty" help:"DO wanted, from"`
	High   *quantity.DO      `json:"high_ppb,omitempty" help:"to"`
	Note   string            `json:"note,omitempty" help:"what else it asks for"`
	Source string            `json:"source,omitempty" help:"where it is from"`
}

// wortBrew is a past brew as a file holds it.
type wortBrew struct {
	ID         name                    `json:"id,omitempty" help:"name of the brew"`
	Efficiency *quantity.Fraction      `json:"efficiency_fraction,omitempty" help:"share that dissolved, where it is known already"`
	DO         *quantity.DO            `json:"do_ppb,omitempty" help:"DO read in the wort"`
	Carried    *quantity.DO            `json:"carried_ppb,omitempty" help:"DO before the gas"`
	Volume     *quantity.Volume        `json:"wort_ml,omitempty" help:"wort of the brew"`
	Minutes    *quantity.Minutes       `json:"knockout_min,omitempty" help:"time the gas ran"`
	Gas        string                  `json:"gas,omitempty" help:"oxygen or air"`
	Flow       *quantity.GasFlow       `json:"gas_nl_min,omitempty" help:"true gas flow"`
	Float      *quantity.GasFlow       `json:"float_reading_nl_min,omitempty" help:"or what the float meter showed"`
	FloatFor   string                  `json:"float_for,omitempty" help:"gas it is scaled for"`
	FloatGauge *quantity.GaugePressure `json:"float_gauge_kpa,omitempty" help:"gauge pressure in it"`
	FloatT     *quantity.Temperature   `json:"float_temperature_c,omitempty" help:"temperature of its gas"`
	Cleaned    bool                    `json:"stone_cleaned,omitempty" help:"yes where the stone was cleaned before it"`
}

// Run asks one calculation: target, efficiency and setting together.
func (c *WortCmd) Run(s *streams) error {
	more := map[string]any{}
	refused, err := c.learn(s, more)
	if err != nil {
		return err
	}
	if err := c.ownRules(s, more); err != nil {
		return err
	}
	fills, err := c.fills()
	if err != nil {
		return err
	}
	more["fills"] = fills
	if err := plan(s, "wort-oxygen", c, more, &c.planOutput, printWort); err != nil {
		return err
	}
	if refused {
		return errFaults
	}
	return nil
}

// learn reads past brews; rows that cannot be read are named and left out.
func (c *WortCmd) learn(s *streams, more map[string]any) (refused bool, err error) {
	if c.Brews == "" {
		return false, nil
	}
	var rows []any
	source, table, err := readRows(s, c.Brews, func(b *wortBrew) { rows = append(rows, b) })
	if err != nil {
		return false, err
	}
	if len(rows) == 0 {
		return false, &quantity.Error{Field: "--brews", Value: source, Message: "holds no brew", Mend: "see ullage wort --help for its columns"}
	}
	_, used, n, err := sift(s, source, "wort-trend", nil, rows, table.Lines)
	if err != nil {
		return false, err
	}
	if n += len(table.Faults); n > 0 {
		fmt.Fprintf(s.err, "%s: %d rows, %d refused\n", source, table.Rows, n)
	}
	more["brews"] = used
	return n > 0, nil
}

// ownRules reads the rules of a target from a CSV or JSON file.
func (c *WortCmd) ownRules(s *streams, more map[string]any) error {
	if c.Rules == "" {
		return nil
	}
	var rows []*wortRule
	source, table, err := readRows(s, c.Rules, func(r *wortRule) { rows = append(rows, r) })
	if err != nil {
		return err
	}
	if len(rows) == 0 || len(table.Faults) > 0 {
		return &quantity.Error{Field: "--rules", Value: source, Message: "holds no rule, or one that cannot be read", Mend: "see ullage wort --help for its columns"}
	}
	more["rules"] = rows
	return nil
}

// readRows reads a CSV of rows and names what it could not read.
func readRows[T any](s *streams, path string, use func(*T)) (source string, table batch.Table, err error) {
	in, source, err := open(s, path)
	if err != nil {
		return source, table, err
	}
	defer in.Close()
	table, err = batch.ReadTable(in, source, func(text string) { fmt.Fprintf(s.err, "%s: columns %s\n", source, text) }, func(b *T, _ *nothing) error {
		use(b)
		return nil
	})
	for _, f := range table.Faults {
		fmt.Fprintln(s.err, f)
	}
	return source, table, err
}

// fills reads 25hL and 25hL:none.
func (c *WortCmd) fills() ([]map[string]any, error) {
	var list []map[string]any
	for _, text := range c.Fill {
		volume, word, _ := strings.Cut(text, ":")
		var v quantity.Volume
		if err := v.Set(volume); err != nil {
			return nil, quantity.In("--fill", err)
		}
		rest, dry := strings.CutPrefix(word, "none")
		entry := map[string]any{"wort_ml": float64(v), "gassed": !dry}
		if rest = strings.TrimPrefix(rest, ","); rest != "" {
			u, err := uOf("--fill", rest, "wort")
			if err != nil {
				return nil, &quantity.Error{Field: "--fill", Value: text, Message: "is no brew", Mend: "write 25hL, 25hL:none for one without gas, 25hL:u=0.5hL with the standard uncertainty of its volume"}
			}
			entry["u"] = u
		}
		list = append(list, entry)
	}
	return list, nil
}

func printTarget(p *page, t *wort.Target) {
	if t == nil {
		return
	}
	p.line("Target   %s mg/L (%s to %s): %s; %s", figure(t.Proposed), figure(t.Low), figure(t.High), strings.Join(t.Reasons, "; "), t.Source)
	if t.SecondDose {
		p.line("  a second dose belongs to it: --second 4ppm gives its gas")
	}
}
