package stats

import "math"

// CUSUMOptions of a tabular cumulative sum. Target is in the unit of the data,
// Sigma on the working scale; when nil they are estimated by Individuals.
// Reference k and Decision h are in σ.
type CUSUMOptions struct {
	Nature    Nature   `json:"nature"`
	Target    *float64 `json:"target"`
	Sigma     *float64 `json:"sigma"`
	Reference float64  `json:"reference"`  // k: half the shift to catch; 0.5 is common
	Decision  float64  `json:"decision"`   // h: 4 or 5 is common
	HeadStart bool     `json:"head_start"` // start both sums at h/2 (fast initial response)
}

// CUSUMPoint holds the two sums in σ, and for how many points each has been
// above 0.
type CUSUMPoint struct {
	Value float64 `json:"value"`
	High  float64 `json:"high"`
	Low   float64 `json:"low"`
	RunHi int     `json:"run_high"`
	RunLo int     `json:"run_low"`
}

// CUSUMSignal is the first point of each excursion beyond h. Since is the first
// point of the shifted level; Level estimates it, in the unit of the data.
type CUSUMSignal struct {
	Index int     `json:"index"`
	Since int     `json:"since"`
	Side  string  `json:"side"`
	Level float64 `json:"level"`
}

// CUSUMChart is the chart of both sums.
type CUSUMChart struct {
	ScaleChoice
	Target  float64       `json:"target"`
	Sigma   float64       `json:"sigma"`
	Points  []CUSUMPoint  `json:"points"`
	Signals []CUSUMSignal `json:"signals"`
}

// CUSUM is the tabular chart of eq. S14 (Page 1954).
func CUSUM(x []float64, opt CUSUMOptions) (CUSUMChart, error) {
	if err := checkCUSUM(opt.Reference, opt.Decision); err != nil {
		return CUSUMChart{}, err
	}
	choice, target, sigma, err := targetAndSigma(x, opt.Nature, opt.Target, opt.Sigma)
	if err != nil {
		return CUSUMChart{}, err
	}
	c := CUSUMChart{ScaleChoice: choice, Target: choice.Scale.back(target), Sigma: sigma, Signals: []CUSUMSignal{}}
	var p CUSUMPoint
	if opt.HeadStart {
		p.High, p.Low = opt.Decision/2, opt.Decision/2
	}
	for i, v := range choice.Scale.forwardAll(x) {
		before := p
		z := (v - target) / sigma
		p = CUSUMPoint{Value: x[i], High: math.Max(0, p.High+z-opt.Reference), Low: math.Max(0, p.Low-z-opt.Reference)}
		p.RunHi = count(before.RunHi, p.High > 0)
		p.RunLo = count(before.RunLo, p.Low > 0)
		c.Points = append(c.Points, p)
		level := func(sum float64, run int, sign float64) float64 {
			return choice.Scale.back(target + sign*sigma*(opt.Reference+sum/float64(run)))
		}
		if p.High > opt.Decision && before.High <= opt.Decision {
			c.Signals = append(c.Signals, CUSUMSignal{i, i + 1 - p.RunHi, "above", level(p.High, p.RunHi, 1)})
		}
		if p.Low > opt.Decision && before.Low <= opt.Decision {
			c.Signals = append(c.Signals, CUSUMSignal{i, i + 1 - p.RunLo, "below", level(p.Low, p.RunLo, -1)})
		}
	}
	for _, s := range c.Signals {
		if err := checkResult(s.Level); err != nil {
			return CUSUMChart{}, err
		}
	}
	return c, nil
}

func checkCUSUM(k, h float64) error {
	if !(k >= 0 && k < 100) {
		return refuse("reference", k, "out of range", "give k in σ, 0 or more; 0.5 is common")
	}
	if !(h > 0 && h < 1000) {
		return refuse("decision", h, "out of range", "give h in σ, above 0; 4 or 5 is common")
	}
	return nil
}

// CUSUMRunLength is the average number of points to a signal of the two-sided
// chart when the mean lies shift σ off target (eq. S15).
func CUSUMRunLength(k, h, shift float64, headStart bool) (float64, error) {
	if err := checkCUSUM(k, h); err != nil {
		return 0, err
	}
	if err := checkFinite("shift", shift); err != nil {
		return 0, err
	}
	up, up0 := oneSidedRunLength(k, h, shift, headStart)
	down, down0 := oneSidedRunLength(k, h, -shift, headStart)
	arl := 1 / (1/up + 1/down)
	if headStart {
		// With a head start the two sides meet: Lucas and Crosier (1982), eq. S16.
		arl = (up*down0 + down*up0 - up0*down0) / (up0 + down0)
	}
	return arl, tooLong(math.Min(arl, math.Min(up, down)))
}

// oneSidedRunLength solves for the run length of one sum from its start and from
// zero. The state 0 has mass of its own; the rest is a density on (0, h).
func oneSidedRunLength(k, h, shift float64, headStart bool) (start, zero float64) {
	q := legendre(runLengthNodes, 0, h/2, h)
	n := len(q.x)
	m, l := make([][]float64, n+1), make([]float64, n+1)
	states := append([]float64{0}, q.x...)
	row := func(u float64) []float64 {
		r := make([]float64, n+1)
		r[0] = NormalCDF(k - shift - u)
		for j, y := range q.x {
			r[j+1] = q.w[j] * normalPDF(y-u+k-shift)
		}
		return r
	}
	for i, u := range states {
		m[i], l[i] = row(u), 1
		for j := range m[i] {
			m[i][j] = -m[i][j]
		}
		m[i][i]++
	}
	if !solve(m, l) {
		return math.Inf(1), math.Inf(1)
	}
	if !headStart {
		return l[0], l[0]
	}
	start = 1
	for j, p := range row(h / 2) {
		start += p * l[j]
	}
	return start, l[0]
}
