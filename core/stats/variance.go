package stats

import (
	"fmt"
	"math"
)

// OneWayResult is the analysis of variance of groups, and the variance
// components when the groups are a random choice among many (eq. S25 to S27).
type OneWayResult struct {
	Groups    int     `json:"groups"`
	N         int     `json:"n"`
	Balanced  bool    `json:"balanced"`
	GrandMean float64 `json:"grand_mean"`
	SSBetween float64 `json:"ss_between"`
	SSWithin  float64 `json:"ss_within"`
	DFBetween int     `json:"df_between"`
	DFWithin  int     `json:"df_within"`
	F         float64 `json:"f"`
	P         float64 `json:"p"`
	R2        float64 `json:"r2"`
	SDWithin  float64 `json:"sd_within"`
	// MomentBetween is the between variance by expected mean squares, never
	// below 0; EffectiveN is its mean group size n₀.
	EffectiveN    float64 `json:"effective_n"`
	MomentBetween float64 `json:"moment_between"`
	// Components by restricted maximum likelihood.
	REML Components `json:"reml"`
	// ICC is the share of the between variance, by moments, with its interval:
	// exact when balanced, else by n₀ and approximate.
	ICC              float64  `json:"icc"`
	ICCInterval      Interval `json:"icc_interval"`
	SDWithinInterval Interval `json:"sd_within_interval"`
}

// Components of variance with the mean they imply. Effects are the groups'
// predicted deviations, shrunk towards 0 by what little each group tells.
type Components struct {
	Between   float64   `json:"between"`
	Within    float64   `json:"within"`
	Mean      float64   `json:"mean"`
	SE        float64   `json:"se"`
	Criterion float64   `json:"criterion"`
	Effects   []float64 `json:"effects"`
}

// groupStats is what one-way methods need of the data.
type groupStats struct {
	n, mean, ss []float64
	total, k    float64
	grand       float64
	within      float64
}

func summarizeGroups(groups [][]float64) (groupStats, error) {
	if len(groups) < 2 {
		return groupStats{}, tooFew("groups", len(groups), 2)
	}
	g := groupStats{k: float64(len(groups))}
	var all []float64
	for i, x := range groups {
		if err := checkValues(fmt.Sprintf("groups[%d]", i), x, 1); err != nil {
			return g, err
		}
		m, ss := meanSS(x)
		g.n, g.mean, g.ss = append(g.n, float64(len(x))), append(g.mean, m), append(g.ss, ss)
		g.within += ss
		g.total += float64(len(x))
		all = append(all, x...)
	}
	if len(all) <= len(groups) {
		return g, tooFew("groups", len(all), len(groups)+1)
	}
	g.grand, _ = meanSS(all)
	if !(g.within > 0) {
		return g, noSpread("groups", g.mean[0])
	}
	return g, nil
}

func (g groupStats) balanced() bool {
	for _, n := range g.n {
		if n != g.n[0] {
			return false
		}
	}
	return true
}

// OneWay analyses two groups or more, of one value or more each, with at least
// one repeated. Level is that of the intervals.
func OneWay(groups [][]float64, level float64) (OneWayResult, error) {
	g, err := summarizeGroups(groups)
	if err != nil {
		return OneWayResult{}, err
	}
	if err := checkProbability("level", level); err != nil {
		return OneWayResult{}, err
	}
	r := OneWayResult{Groups: len(groups), N: int(g.total), Balanced: g.balanced(), GrandMean: g.grand,
		SSWithin: g.within, DFBetween: len(groups) - 1, DFWithin: int(g.total) - len(groups)}
	var squares float64
	for i, n := range g.n {
		d := g.mean[i] - g.grand
		r.SSBetween += n * d * d
		squares += n * n
	}
	df1, df2 := float64(r.DFBetween), float64(r.DFWithin)
	msb, msw := r.SSBetween/df1, r.SSWithin/df2
	r.F = msb / msw
	r.P = fUpper(r.F, df1, df2)
	r.R2 = r.SSBetween / (r.SSBetween + r.SSWithin)
	r.SDWithin = math.Sqrt(msw)
	r.EffectiveN = (g.total - squares/g.total) / df1
	r.MomentBetween = math.Max(0, (msb-msw)/r.EffectiveN)
	r.ICC = r.MomentBetween / (r.MomentBetween + msw)
	icc := func(p float64) float64 {
		f := r.F / fQuantile(p, df1, df2)
		return math.Max(0, (f-1)/(f+r.EffectiveN-1))
	}
	r.ICCInterval = Interval{icc((1 + level) / 2), icc((1 - level) / 2), level}
	sd := func(p float64) float64 { return math.Sqrt(r.SSWithin / chi2Quantile(p, df2)) }
	r.SDWithinInterval = Interval{sd((1 + level) / 2), sd((1 - level) / 2), level}
	r.REML = g.reml()
	return r, nil
}

// profile gives the components at a ratio ρ = σ²_between/σ²_within, and the REML
// criterion there (eq. S27).
func (g groupStats) profile(rho float64) Components {
	var sw, swm, logs float64
	for i, n := range g.n {
		w := n / (1 + n*rho)
		sw += w
		swm += w * (g.mean[i] - g.grand)
		logs += math.Log1p(n * rho)
	}
	mu := g.grand + swm/sw
	q := g.within
	for i, n := range g.n {
		d := g.mean[i] - mu
		q += n / (1 + n*rho) * d * d
	}
	s2 := q / (g.total - 1)
	return Components{
		Between: rho * s2, Within: s2, Mean: mu, SE: math.Sqrt(s2 / sw),
		Criterion: logs + math.Log(sw) + (g.total-1)*(math.Log(s2)+1+math.Log(2*math.Pi)),
	}
}

// reml searches the ratio on a log grid, then finely, and compares with ρ = 0.
func (g groupStats) reml() Components {
	f := func(u float64) float64 { return g.profile(math.Exp(u)).Criterion }
	best, at := math.Inf(1), 0.0
	for u := -20.0; u <= 40; u += 0.5 {
		if v := f(u); v < best {
			best, at = v, u
		}
	}
	c := g.profile(math.Exp(minimum(f, at-0.5, at+0.5)))
	if zero := g.profile(0); zero.Criterion <= c.Criterion {
		c = zero
	}
	for i, n := range g.n {
		shrink := n * c.Between / (c.Within + n*c.Between)
		c.Effects = append(c.Effects, shrink*(g.mean[i]-c.Mean))
	}
	return c
}
