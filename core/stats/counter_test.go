package stats

import (
	"bytes"
	"encoding/json"
	"math"
)

// counter runs a named calculation on JSON, as the check files name them.
var counter = map[string]func([]byte) (any, error){
	"chart-constants": run(func(in struct {
		N int `json:"n"`
	}) (any, error) {
		return ChartConstants(in.N)
	}),
	"individuals-chart": run(func(in xChart) (any, error) { return Individuals(in.X, in.ChartOptions) }),
	"range-chart":       run(func(in groupChart) (any, error) { return RangeChart(in.Groups, in.ChartOptions) }),
	"sd-chart":          run(func(in groupChart) (any, error) { return SDChart(in.Groups, in.ChartOptions) }),
	"run-rules": run(func(in struct {
		Z     []float64 `json:"z"`
		Rules string    `json:"rules"`
	}) (any, error) {
		rules := Nelson()
		if in.Rules == "western_electric" {
			rules = WesternElectric()
		}
		s, err := FindSignals(in.Z, rules)
		return map[string]any{"signals": s}, err
	}),
	"ewma": run(func(in struct {
		X []float64 `json:"x"`
		EWMAOptions
	}) (any, error) {
		return EWMA(in.X, in.EWMAOptions)
	}),
	"cusum": run(func(in struct {
		X []float64 `json:"x"`
		CUSUMOptions
	}) (any, error) {
		return CUSUM(in.X, in.CUSUMOptions)
	}),
	"ewma-run-length": run(func(in runLengthInput) (any, error) {
		v, err := EWMARunLength(in.Lambda, in.Width, in.Shift)
		return named("run_length", v), err
	}),
	"cusum-run-length": run(func(in runLengthInput) (any, error) {
		v, err := CUSUMRunLength(in.Reference, in.Decision, in.Shift, in.HeadStart)
		return named("run_length", v), err
	}),
	"shewhart-run-length": run(func(in runLengthInput) (any, error) {
		return named("run_length", ShewhartRunLength(in.Width, in.Shift)), nil
	}),
	"mean": run(func(in sample) (any, error) { return Mean(in.X, in.Nature, in.Level) }),
	"capability": run(func(in struct {
		X []float64 `json:"x"`
		Limits
		CapabilityOptions
	}) (any, error) {
		return Capability(in.X, in.Limits, in.CapabilityOptions)
	}),
	"capability-index": run(func(in struct {
		Index float64 `json:"index"`
		N     float64 `json:"n"`
		Level float64 `json:"level"`
	}) (any, error) {
		return map[string]Index{"exact": exactIndex(in.Index, in.N, in.Level),
			"bissell": bissell(in.Index, in.N, in.N-1, in.Level), "spread": spreadIndex(in.Index, in.N-1, in.Level)}, nil
	}),
	"tolerance-factor": run(func(in toleranceInput) (any, error) {
		k, err := ToleranceFactor(in.N, in.P, in.Confidence)
		return named("k", k), err
	}),
	"tolerance-count": run(func(in toleranceInput) (any, error) {
		n, err := ToleranceCount(in.P, in.Confidence)
		return named("n", float64(n)), err
	}),
	"sampling-plan": run(func(in struct {
		Risks
		Known bool `json:"sigma_known"`
	}) (any, error) {
		return FindPlan(in.Risks, in.Known)
	}),
	"sampling-curve": run(func(in struct {
		Plan
		P []float64 `json:"p"`
	}) (any, error) {
		v, err := in.Curve(in.P)
		return map[string]any{"accept": v}, err
	}),
	"sampling-judge": run(func(in struct {
		Plan
		X      []float64 `json:"x"`
		Nature Nature    `json:"nature"`
		Limit  float64   `json:"limit"`
		Upper  bool      `json:"upper"`
	}) (any, error) {
		return in.Judge(in.X, in.Nature, in.Limit, in.Upper)
	}),
	"hit-chance": run(func(in stationInput) (any, error) {
		p, err := HitChance(in.K, in.N)
		return named("p", p), err
	}),
	"hit-count": run(func(in stationInput) (any, error) {
		n, err := HitCount(in.K, in.P)
		return named("n", float64(n)), err
	}),
	"noncentral-t": run(func(in struct {
		Nu    float64 `json:"nu"`
		Delta float64 `json:"delta"`
		P     float64 `json:"p"`
	}) (any, error) {
		return named("quantile", NoncentralTQuantile(in.P, in.Nu, in.Delta)), nil
	}),
	"one-way": run(func(in groupInput) (any, error) { return OneWay(in.Groups, in.Level) }),
	"anom":    run(func(in groupInput) (any, error) { return ANOM(in.Groups, in.Nature, in.Alpha) }),
	"anom-critical": run(func(in criticalInput) (any, error) {
		v, err := ANOMCritical(in.Alpha, in.K, in.nu())
		return named("h", v), err
	}),
	"maximum-modulus": run(func(in criticalInput) (any, error) {
		tail := func(m float64) float64 { return 1 - maxModulus(m, in.K, in.nu()) }
		return named("m", criticalValue(tail, in.Alpha, float64(in.K), in.nu())), nil
	}),
	"change-points": run(func(in struct {
		X []float64 `json:"x"`
		ChangeOptions
	}) (any, error) {
		return ChangePoints(in.X, in.ChangeOptions)
	}),
	"trend": run(func(in struct {
		X      []float64 `json:"x"`
		Y      []float64 `json:"y"`
		Nature Nature    `json:"nature"`
		Level  float64   `json:"level"`
		At     float64   `json:"at"`
	}) (any, error) {
		r, err := Trend(in.X, in.Y, in.Nature, in.Level)
		if err != nil {
			return nil, err
		}
		v, interval, err := r.Predict(in.At, in.Level)
		return map[string]any{"line": r, "at": v, "interval": interval}, err
	}),
	"grubbs":   run(func(in outlierInput) (any, error) { return Grubbs(in.X, in.Nature, in.Tail, in.Alpha) }),
	"outliers": run(func(in outlierInput) (any, error) { return Outliers(in.X, in.Nature, in.Alpha, in.Limit) }),
	"grubbs-critical": run(func(in struct {
		N     float64 `json:"n"`
		Alpha float64 `json:"alpha"`
	}) (any, error) {
		return map[string]float64{"one_sided": grubbsCritical(in.N, in.Alpha/in.N), "two_sided": grubbsCritical(in.N, in.Alpha/(2*in.N))}, nil
	}),
	"modified-z": run(func(in outlierInput) (any, error) {
		z, err := ModifiedZ(in.X, in.Nature)
		return map[string]any{"z": z}, err
	}),
	"censored-mean": run(func(in struct {
		Readings []Reading      `json:"readings"`
		Method   CensoredMethod `json:"method"`
		Level    float64        `json:"level"`
	}) (any, error) {
		return Censored(in.Readings, in.Method, in.Level)
	}),
	"agreement":   run(func(in pairInput) (any, error) { return Agreement(in.A, in.B, in.Nature, 0.95, in.Level) }),
	"concordance": run(func(in pairInput) (any, error) { return Concordance(in.A, in.B, in.Level) }),
	"equivalence": run(func(in pairInput) (any, error) {
		return Equivalence(in.A, in.B, in.Nature, in.Low, in.High, in.Alpha)
	}),
	"deming":         run(func(in lineInput) (any, error) { return Deming(in.X, in.Y, in.Ratio, in.Level) }),
	"passing-bablok": run(func(in lineInput) (any, error) { return PassingBablok(in.X, in.Y, in.Level) }),
	"gauge-study": run(func(in struct {
		Readings []GaugeReading `json:"readings"`
		Pool     float64        `json:"pool"`
	}) (any, error) {
		return Gauge(in.Readings, in.Pool)
	}),
}

type (
	xChart struct {
		X []float64 `json:"x"`
		ChartOptions
	}
	groupChart struct {
		Groups [][]float64 `json:"groups"`
		ChartOptions
	}
	runLengthInput struct {
		Lambda    float64 `json:"lambda"`
		Width     float64 `json:"width"`
		Reference float64 `json:"reference"`
		Decision  float64 `json:"decision"`
		Shift     float64 `json:"shift"`
		HeadStart bool    `json:"head_start"`
	}
	stationInput struct {
		K int     `json:"k"`
		N int     `json:"n"`
		P float64 `json:"p"`
	}
	sample struct {
		X      []float64 `json:"x"`
		Nature Nature    `json:"nature"`
		Level  float64   `json:"level"`
	}
	toleranceInput struct {
		N          int     `json:"n"`
		P          float64 `json:"p"`
		Confidence float64 `json:"confidence"`
	}
	groupInput struct {
		Groups [][]float64 `json:"groups"`
		Nature Nature      `json:"nature"`
		Level  float64     `json:"level"`
		Alpha  float64     `json:"alpha"`
	}
	criticalInput struct {
		Alpha float64  `json:"alpha"`
		K     int      `json:"k"`
		Nu    *float64 `json:"nu"`
	}
	outlierInput struct {
		X      []float64 `json:"x"`
		Nature Nature    `json:"nature"`
		Tail   Tail      `json:"tail"`
		Alpha  float64   `json:"alpha"`
		Limit  int       `json:"limit"`
	}
	pairInput struct {
		A      []float64 `json:"a"`
		B      []float64 `json:"b"`
		Nature Nature    `json:"nature"`
		Level  float64   `json:"level"`
		Low    float64   `json:"low"`
		High   float64   `json:"high"`
		Alpha  float64   `json:"alpha"`
	}
	lineInput struct {
		X     []float64 `json:"x"`
		Y     []float64 `json:"y"`
		Ratio float64   `json:"ratio"`
		Level float64   `json:"level"`
	}
)

// nu left out means infinitely many degrees of freedom.
func (c criticalInput) nu() float64 {
	if c.Nu == nil {
		return math.Inf(1)
	}
	return *c.Nu
}

func named(key string, v float64) map[string]float64 { return map[string]float64{key: v} }

func run[T any](f func(T) (any, error)) func([]byte) (any, error) {
	return func(input []byte) (any, error) {
		var in T
		d := json.NewDecoder(bytes.NewReader(input))
		d.DisallowUnknownFields()
		if err := d.Decode(&in); err != nil {
			return nil, err
		}
		return f(in)
	}
}
