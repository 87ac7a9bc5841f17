package cli

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"runtime"
	"strconv"
	"strings"
	"sync"

	"ullage/core/calc"
	"ullage/core/quantity"
	"ullage/internal/batch"
)

type tpoCommand struct {
	File string `short:"f" placeholder:"FILE" help:"CSV file with a row for each package; - for standard input. The options below fill columns and cells it leaves out."`

	Temperature *quantity.Temperature `short:"t" placeholder:"4C" group:"Readings" help:"Temperature of the package when shaking ended: 4, 4C, 39.2F."`
	ShakenDO    *quantity.ShakenDO    `name:"shaken-do" short:"d" placeholder:"48ppb" group:"Readings" help:"Reading after shaking, ppb unless said (0.048ppm)."`
	UnshakenDO  *quantity.UnshakenDO  `name:"unshaken-do" placeholder:"PPB" group:"Readings" help:"Reading of a neighbour that was not shaken: splits liquid from headspace."`
	InletDO     *quantity.DO          `name:"inlet-do" placeholder:"PPB" group:"Readings" help:"DO at the filler inlet: adds the pickup of the filler."`
	Since       *quantity.Minutes     `placeholder:"12min" group:"Readings" help:"Time from closing to reading."`
	Yeast       bool                  `group:"Readings" help:"Live yeast is in the package."`

	Gross          *quantity.Mass            `placeholder:"372.0g" group:"Volumes" help:"Full closed package, before it is opened."`
	Tare           *quantity.Mass            `placeholder:"13.4g" group:"Volumes" help:"Empty package with its closure."`
	TareSource     string                    `enum:"own,lot," default:"" placeholder:"own|lot" group:"Volumes" help:"own: this package weighed empty; lot: mean of a study (assumed when not said)."`
	TareSD         *quantity.Mass            `name:"tare-sd" placeholder:"0.12g" group:"Volumes" help:"Spread of the empty weight in the lot."`
	Capacity       *quantity.Volume          `placeholder:"373.5mL" group:"Volumes" help:"Closed package filled to the brim."`
	CapacityWater  *quantity.Mass            `placeholder:"372.4g" group:"Volumes" help:"Instead: net weight in air of the water that fills it."`
	WaterT         *quantity.Temperature     `name:"water-temperature" placeholder:"20C" group:"Volumes" help:"Temperature of that water."`
	CapacitySource string                    `enum:"own,lot,drawing," default:"" placeholder:"own|lot|drawing" group:"Volumes" help:"Where the capacity comes from; lot when not said."`
	CapacitySD     *quantity.Volume          `name:"capacity-sd" placeholder:"0.7mL" group:"Volumes" help:"Spread of the capacity in the lot."`
	SG             *quantity.SpecificGravity `name:"sg" placeholder:"1.0105" group:"Volumes" help:"Gravity of the degassed beer 20/20 °C, or an extract: 2.6P."`
	AirDensity     *quantity.Density         `placeholder:"1.2" group:"Volumes" help:"Air around the balance, kg/m³."`
	Gap            *quantity.Length          `placeholder:"52mm" group:"Volumes" help:"Bottle: from the rim down to the beer. Needs the three below."`
	NeckGap        *quantity.Length          `placeholder:"50mm" group:"Volumes" help:"A height at which the headspace is known."`
	NeckHeadspace  *quantity.Volume          `placeholder:"15.6mL" group:"Volumes" help:"The headspace there."`
	NeckPerMM      *quantity.VolumePerLength `name:"neck-per-mm" placeholder:"0.24" group:"Volumes" help:"Volume of the neck per mm."`
	Nominal        *quantity.Volume          `placeholder:"355mL" group:"Volumes" help:"Declared volume: checks the weights; the assumed fill where nothing is measured."`
	FillSD         *quantity.Volume          `name:"fill-sd" placeholder:"1.6mL" group:"Volumes" help:"Spread of an assumed fill."`
	Package        string                    `enum:"can,bottle,keg," default:"" placeholder:"can|bottle|keg" group:"Volumes" help:"Kind of package; guessed from the weights when not said."`
	Path           string                    `enum:"auto,weighed,fill_height,assumed" default:"auto" group:"Volumes" help:"Way to the headspace: auto (the smallest uncertainty of the measured ways), weighed, fill_height, assumed."`

	Plain   bool                  `xor:"figure" group:"Figure" help:"The trade's figure: β = 1, no corrections. This is the default."`
	Correct []string              `xor:"figure" placeholder:"NAME" group:"Figure" help:"Corrections to apply: co2, pressure (both need --co2), expansion, beer (both need --abv)."`
	CO2     *quantity.Carbonation `name:"co2" placeholder:"2.5" group:"Figure" help:"Carbonation, volumes, or 5g/L."`
	ABV     *quantity.Alcohol     `name:"abv" placeholder:"5.0" group:"Figure" help:"Alcohol, % by volume; shows the beer-corrected figure too."`
	Limit   *quantity.TPO         `placeholder:"120" group:"Figure" help:"TPO limit to judge against."`

	Uncertainty string             `enum:"gum,monte-carlo,none" default:"gum" group:"Uncertainty" help:"gum (first order), monte-carlo or none."`
	Trials      int                `placeholder:"N" group:"Uncertainty" help:"Monte Carlo: so many trials, in blocks of 10,000; adaptive when not said."`
	U           map[string]float64 `name:"u" placeholder:"EFFECT=VALUE" group:"Uncertainty" help:"Own standard uncertainty of an effect, such as meter=1.5 (ppb), tare=0.12 (g), capacity=0.7 (mL)."`

	Format  string `enum:"text,csv,json" default:"text" group:"Output" help:"text, csv or json."`
	Explain bool   `group:"Output" help:"Print the derivation line by line: equation, numbers, source."`
}

// Help is the long help of the command.
func (tpoCommand) Help() string {
	return `TPO = shaken DO × (1 + K(t) × headspace / beer). It is one package's oxygen,
beer and headspace, per litre of its beer (1 ppb = 1 µg/L).

One can:
  ullage tpo -t 20C -d 44ppb --gross 372.0 --tare 13.4 --capacity 373.5 --sg 1.010

One bottle by its fill height:
  ullage tpo -t 4C -d 24 --capacity 346 --gap 52 --neck-gap 50 --neck-headspace 15.6 --neck-per-mm 0.24

A batch, with the gravity given once:
  ullage tpo -f run.csv --sg 1.010 --format csv > tpo.csv

Columns of the file, in any order, with a header: id, temperature_c, gross_g,
tare_g, capacity_ml or capacity_water_g with water_temperature_c, sg,
shaken_do_ppb, unshaken_do_ppb, inlet_do_ppb, nominal_ml, co2_vol,
air_density_kg_m3, and any other field of "ullage calc tpo --fields". Another
unit in the name converts: temperature_f, shaken_do_ppm, capacity_floz. A bad row
is reported and left out; the exit code is then 1.`
}

func (c *tpoCommand) Run(s *streams) error {
	in := c.input()
	if c.File != "" {
		return c.batch(s, in)
	}
	var e calc.Evaluator
	e.Each = eachCore
	answer, err := e.Answer(in)
	if err != nil {
		return asFlag(err)
	}
	out := answer.Result.(calc.TPOResult)
	switch c.Format {
	case "json":
		enc := json.NewEncoder(s.out)
		enc.SetIndent("", "  ")
		enc.SetEscapeHTML(false)
		return enc.Encode(flat(answer, out))
	case "csv":
		return writeOne(s.out, out, answer.Warnings)
	}
	return printTPO(s.out, c, &out, answer)
}

func (c *tpoCommand) input() *calc.TPOInput {
	return &calc.TPOInput{
		Temperature: c.Temperature, ShakenDO: c.ShakenDO, UnshakenDO: c.UnshakenDO, InletDO: c.InletDO, Since: c.Since, Yeast: c.Yeast,
		Gross: c.Gross, Tare: c.Tare, TareSource: c.TareSource, TareSD: c.TareSD,
		Capacity: c.Capacity, CapacityWater: c.CapacityWater, WaterT: c.WaterT, CapacitySource: c.CapacitySource, CapacitySD: c.CapacitySD,
		SG: c.SG, AirDensity: c.AirDensity, Gap: c.Gap, NeckGap: c.NeckGap, NeckHeadspace: c.NeckHeadspace, NeckPerMM: c.NeckPerMM,
		Nominal: c.Nominal, FillSD: c.FillSD, Package: c.Package, Path: c.Path,
		CO2: c.CO2, ABV: c.ABV, Limit: c.Limit, Corrections: c.Correct,
		Uncertainty: c.Uncertainty, Trials: c.Trials, U: c.U, Explain: c.Explain,
	}
}

// flat puts the fields of a result beside warnings and derivation.
func flat(a calc.Answer, out calc.TPOResult) any {
	w := a.Warnings
	if w == nil {
		w = []calc.Warning{}
	}
	return struct {
		calc.TPOResult
		Warnings   []calc.Warning `json:"warnings"`
		Derivation []calc.Step    `json:"derivation,omitempty"`
	}{out, w, a.Derivation}
}

func writeOne(w io.Writer, out calc.TPOResult, warnings []calc.Warning) error {
	_, err := io.WriteString(w, batch.Columns+"\n"+string(batch.Row(nil, batch.CSV, "", &out, warnings)))
	return err
}

func (c *tpoCommand) batch(s *streams, defaults *calc.TPOInput) error {
	if c.Explain {
		return &quantity.Error{Field: "--explain", Message: "explains one package, not a file", Mend: "give the readings of one package as options"}
	}
	in, name, err := open(s, c.File)
	if err != nil {
		return err
	}
	defer in.Close()
	out, faults := bufio.NewWriterSize(s.out, 1<<16), bufio.NewWriter(s.err)
	defer faults.Flush()
	job := batch.Job{
		Name: name, Defaults: *defaults, Format: map[string]batch.Format{"text": batch.Text, "csv": batch.CSV, "json": batch.JSON}[c.Format],
		OnFault: func(f batch.Fault) { fmt.Fprintln(faults, f) },
		OnNote:  func(text string) { fmt.Fprintf(faults, "%s: columns %s\n", name, text) },
	}
	sum, err := job.Run(in, out)
	if err == nil {
		err = out.Flush()
	}
	if err != nil {
		return err
	}
	if sum.Faults > 0 {
		fmt.Fprintf(faults, "%s: %d rows, %d computed, %d refused\n", name, sum.Rows, sum.Rows-sum.Faults, sum.Faults)
		return errFaults
	}
	return nil
}

func open(s *streams, file string) (io.ReadCloser, string, error) {
	if file == "-" {
		return io.NopCloser(s.in), "standard input", nil
	}
	f, err := os.Open(file)
	if err != nil {
		return nil, file, &quantity.Error{Field: "--file", Value: file, Message: "cannot be opened: " + reason(err), Mend: "check the name and the folder"}
	}
	return f, file, nil
}

func reason(err error) string {
	text := err.Error()
	return text[strings.LastIndex(text, ": ")+2:]
}

// eachCore runs blocks of Monte Carlo trials on all cores.
func eachCore(n int, do func(int)) {
	var group sync.WaitGroup
	next := make(chan int)
	for range min(n, runtime.GOMAXPROCS(0)) {
		group.Go(func() {
			for i := range next {
				do(i)
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	group.Wait()
}

// asFlag names the option instead of the field of a refused input.
func asFlag(err error) error {
	e, ok := err.(*quantity.Error)
	if !ok {
		return err
	}
	named := *e
	if flag, ok := flagOf[e.Field]; ok {
		named.Field = flag
		if named.Message == "is missing" {
			named.Mend = "see ullage tpo --help"
		}
	}
	return &named
}

var flagOf = map[string]string{
	"temperature_c": "--temperature", "shaken_do_ppb": "--shaken-do", "gross_g": "--gross", "tare_g": "--tare", "sg": "--sg",
	"capacity_ml": "--capacity (or --capacity-water)", "capacity_water_g": "--capacity-water", "water_temperature_c": "--water-temperature",
	"co2_vol": "--co2", "abv_pct": "--abv", "corrections": "--correct", "nominal_ml": "--nominal", "gap_mm": "--gap", "neck_gap_mm": "--neck-gap",
	"neck_headspace_ml": "--neck-headspace", "neck_ml_per_mm": "--neck-per-mm", "u": "--u", "trials": "--trials", "tare_sd_g": "--tare-sd",
	"capacity_sd_ml": "--capacity-sd", "fill_sd_ml": "--fill-sd", "air_density_kg_m3": "--air-density",
}

func percent(v float64) string { return strconv.FormatFloat(100*v, 'f', 0, 64) + " %" }
