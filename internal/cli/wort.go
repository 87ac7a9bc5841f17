package cli

import (
	"encoding/json"
	"fmt"
	"reflect"
	"strings"

	"ullage/core/calc"
	"ullage/core/quantity"
	"ullage/core/wort"
	"ullage/internal/batch"
)

// WortCmd is the gas for wort: target, efficiency learned, setting.
type WortCmd struct {
	Flow        *float64              `in:"wort_l_min" placeholder:"50" group:"Wort" help:"Flow of the wort, L/min;"`
	Volume      *quantity.Volume      `in:"wort_ml" placeholder:"20hL" group:"Wort" help:"or the brew"`
	Minutes     *quantity.Minutes     `in:"knockout_min" placeholder:"40min" group:"Wort" help:"and its time."`
	Temperature *quantity.Temperature `short:"t" in:"temperature_c" placeholder:"12C" group:"Wort" help:"Temperature of the wort."`
	Extract     *quantity.Extract     `in:"extract_plato" placeholder:"12P" group:"Wort" help:"Its extract."`
	Carried     *quantity.DO          `in:"carried_ppb" placeholder:"0.5ppm" group:"Wort" help:"DO it has already."`
	Pressure    *quantity.Pressure    `in:"pressure_kpa" placeholder:"2bar" group:"Wort" help:"Absolute pressure where the gas goes in."`
	Fill        []string              `sep:"none" placeholder:"25hL" group:"Wort" help:"A brew of the tank, again and again in order; 25hL:none goes in without gas. The target is then the tank's."`

	Target     *quantity.DO `in:"target_ppb" placeholder:"10ppm" group:"Target" help:"DO wanted; from gravity and yeast when not said."`
	Style      string       `in:"style" enum:"ale,lager," default:"" placeholder:"ale" group:"Target" help:"ale or lager."`
	Yeast      string       `in:"yeast_source" enum:"repitch,propagated,dry," default:"" placeholder:"repitch" group:"Target" help:"repitch, propagated or dry."`
	Generation float64      `in:"generation" placeholder:"4" group:"Target" help:"Its generation."`
	Pitch      float64      `in:"pitch_million_ml" placeholder:"12" group:"Target" help:"Cells pitched, million a mL."`
	Second     *quantity.DO `in:"second_ppb" placeholder:"4ppm" group:"Target" help:"DO of a second dose, 12 to 18 h after pitching."`

	Gas        string                  `in:"gas" enum:"oxygen,air," default:"" placeholder:"oxygen" group:"Gas" help:"oxygen or air."`
	Efficiency *quantity.Fraction      `in:"efficiency_fraction" placeholder:"60%" group:"Gas" help:"Share of the gas that dissolves and stays;"`
	Brews      string                  `placeholder:"FILE" group:"Gas" help:"or learned from a CSV of past brews, oldest first: id, do_ppm, carried_ppm, wort_hl, knockout_min, gas_nl_min or float_reading_nl_min with float_for and float_gauge_bar, stone_cleaned."`
	Cleaned    bool                    `group:"Gas" help:"The stone is cleaned before this brew."`
	GasSet     *float64                `in:"gas_set_nl_min" placeholder:"0.5" group:"Gas" help:"Gas flow that is set, NL/min: gives the DO it makes,"`
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

// wortBrew is a past brew as a file holds it.
type wortBrew struct {
	ID         name                    `json:"id,omitempty" help:"name of the brew"`
	Efficiency *quantity.Fraction      `json:"efficiency_fraction,omitempty" help:"share that dissolved, where it is known already"`
	DO         *quantity.DO            `json:"do_ppb,omitempty" help:"DO read in the wort"`
	Carried    *quantity.DO            `json:"carried_ppb,omitempty" help:"DO before the gas"`
	Volume     *quantity.Volume        `json:"wort_ml,omitempty" help:"wort of the brew"`
	Minutes    *quantity.Minutes       `json:"knockout_min,omitempty" help:"time the gas ran"`
	Gas        string                  `json:"gas,omitempty" help:"oxygen or air"`
	Flow       *float64                `json:"gas_nl_min,omitempty" help:"true gas flow"`
	Float      *float64                `json:"float_reading_nl_min,omitempty" help:"or what the float meter showed"`
	FloatFor   string                  `json:"float_for,omitempty" help:"gas it is scaled for"`
	FloatGauge *quantity.GaugePressure `json:"float_gauge_kpa,omitempty" help:"gauge pressure in it"`
	FloatT     *quantity.Temperature   `json:"float_temperature_c,omitempty" help:"temperature of its gas"`
	Cleaned    bool                    `json:"stone_cleaned,omitempty" help:"yes where the stone was cleaned before it"`
}

// wortAnswer is the whole of it, for JSON.
type wortAnswer struct {
	calc.Answer
	Target *wort.Target    `json:"target,omitempty"`
	Trend  *wort.BrewTrend `json:"trend,omitempty"`
}

func (c *WortCmd) Run(s *streams) error {
	var out wortAnswer
	fields, flags := map[string]any{}, map[string]string{}
	options(reflect.ValueOf(c).Elem(), fields, flags)
	var warnings []calc.Warning
	if c.Brews != "" {
		trend, w, err := c.learn(s)
		if err != nil {
			return err
		}
		out.Trend, warnings = trend, w
		if c.Efficiency == nil {
			fields["efficiency_fraction"] = trend.Next
		}
	}
	if c.Target == nil {
		t, err := wortTarget(fields)
		if err != nil {
			return optionOf(err, flags)
		}
		out.Target = t
		fields["target_ppb"] = max(t.Proposed, 0.001) * 1000
	}
	for _, k := range []string{"style", "yeast_source", "generation", "pitch_million_ml"} {
		delete(fields, k)
	}
	fills, err := c.fills()
	if err != nil {
		return err
	}
	if fills != nil {
		fields["fills"] = fills
	}
	input, err := json.Marshal(fields)
	if err != nil {
		return err
	}
	if out.Answer, err = calc.Do("wort-oxygen", input); err != nil {
		return optionOf(err, flags)
	}
	out.Warnings = append(warnings, out.Warnings...)
	if c.Format == "json" {
		enc := json.NewEncoder(s.out)
		enc.SetIndent("", "  ")
		enc.SetEscapeHTML(false)
		return enc.Encode(out)
	}
	var p page
	printTarget(&p, out.Target)
	if out.Trend != nil {
		p.line("Efficiency   %s", out.Trend.Sentence)
	}
	printWort(&p, out.Result.(calc.WortResult))
	p.after(out.Answer)
	_, err = s.out.Write(p.Bytes())
	return err
}

// wortTarget asks the rules.
func wortTarget(fields map[string]any) (*wort.Target, error) {
	in := map[string]any{}
	for _, k := range []string{"extract_plato", "style", "yeast_source", "generation", "pitch_million_ml"} {
		if v, ok := fields[k]; ok {
			in[k] = v
		}
	}
	if in["extract_plato"] == nil {
		return nil, &quantity.Error{Field: "target_ppb", Message: "is missing, and so is the extract that it would come from", Mend: "give --target, or --extract with the yeast"}
	}
	text, err := json.Marshal(in)
	if err != nil {
		return nil, err
	}
	a, err := calc.Do("wort-target", text)
	if err != nil {
		return nil, err
	}
	t := a.Result.(wort.Target)
	return &t, nil
}

// learn reads past brews.
func (c *WortCmd) learn(s *streams) (*wort.BrewTrend, []calc.Warning, error) {
	in, source, err := open(s, c.Brews)
	if err != nil {
		return nil, nil, err
	}
	defer in.Close()
	var rows []any
	table, err := batch.ReadTable(in, source, func(text string) { fmt.Fprintf(s.err, "%s: columns %s\n", source, text) }, func(b *wortBrew, _ *nothing) error {
		rows = append(rows, b)
		return nil
	})
	for _, f := range table.Faults {
		fmt.Fprintln(s.err, f)
	}
	if err != nil {
		return nil, nil, err
	}
	if len(rows) == 0 {
		return nil, nil, &quantity.Error{Field: "--brews", Value: source, Message: "holds no brew", Mend: "see ullage wort --help for its columns"}
	}
	a, refused, err := study(s, source, "wort-trend", map[string]any{"next_cleaned": c.Cleaned}, rows, table.Lines)
	if err != nil {
		return nil, nil, err
	}
	if refused += len(table.Faults); refused > 0 {
		fmt.Fprintf(s.err, "%s: %d rows, %d refused\n", source, table.Rows, refused)
	}
	t := a.Result.(wort.BrewTrend)
	return &t, a.Warnings, nil
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
		if word != "" && word != "none" {
			return nil, &quantity.Error{Field: "--fill", Value: text, Message: "is no brew", Mend: "write 25hL, or 25hL:none for one without gas"}
		}
		list = append(list, map[string]any{"wort_ml": float64(v), "gassed": word == ""})
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
