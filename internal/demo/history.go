package demo

import (
	"math"
	"math/rand/v2"
	"time"
)

// routine is what runs on a weekday; the second in every other week.
var routine = [5][2]script{
	{{beer: "quernlight", format: "bottle330", line: "B16", proc: bottle330Good}, {beer: "quernlight", format: "bottle330", line: "B16", proc: bottle330Good}},
	{{beer: "vellumrook", format: "can355", line: "C6", proc: canGood}, {beer: "vellumrook", format: "can440", line: "C6", proc: vellumrook440}},
	{{beer: "dapplewick", format: "can473", line: "C6", proc: dapplewick473}, {beer: "dapplewick", format: "can355", line: "C6", proc: dapplewick355}},
	{{beer: "thrumbeck", format: "can440", line: "C6", proc: thrumbeck440}, {beer: "quernlight", format: "bottle355", line: "B16", proc: bottle355Good}},
	{{beer: "quernlight", format: "keg30", line: "K2", proc: kegGood}, {beer: "hobbinwheat", format: "bottle500", line: "B16", proc: bottle500Good}},
}

// gasLots are weeks in which a delivery of CO2 began, and the DO, ppb, that its
// oxygen adds.
var gasLots = []struct {
	week int
	ppb  float64
}{{1, 0}, {5, 3}, {11, 1}, {16, 8}, {20, 2}, {24, 0}}

func gasIn(week int) (ppb float64, began bool) {
	for _, g := range gasLots {
		if week >= g.week {
			ppb, began = g.ppb, week == g.week && g.week > 1
		}
	}
	return ppb, began
}

// serviced is how much more air the bottle filler closed in before its service.
const serviced = 1 / 0.7

// summer is 1 °C of warmer beer at the height of it, by the northern calendar.
func summer(at time.Time) float64 {
	return max(0, math.Cos(2*math.Pi*float64(at.YearDay()-200)/365))
}

// history tells half a year of runs, each entered when it was over.
func (b *builder) history() {
	r := stream(b.seed, "history")
	for week := 1; week <= historyWeeks; week++ {
		for day := range 5 {
			s := routine[day][(week-1)%2]
			if day == 4 && week%8 == 1 {
				s.format = "keg20"
			}
			start := b.begins.AddDate(0, 0, 7*(week-1)+day).Add(7*time.Hour + time.Duration(r.IntN(90))*time.Minute)
			w := b.run(b.ordinary(s, r, week, day, start), start, true, false)
			if week == fouledWeek && len(b.soon) < 2 && s.line == "B16" {
				b.soon = append(b.soon, w)
			}
		}
	}
}

// ordinary gives a routine run its own luck.
func (b *builder) ordinary(s script, r *rand.Rand, week, day int, start time.Time) script {
	gas, began := gasIn(week)
	warm := summer(start)
	s.proc = s.proc.started()
	s.proc.in = s.proc.in*logNormal(r, 0.10) + gas
	s.proc.fill *= logNormal(r, 0.08)
	s.proc.air *= logNormal(r, 0.12) * (1 + 0.05*warm)
	s.proc.surge = uniform(r, 60, 150)
	s.proc.wash = uniform(r, 12, 30)
	s.setHeads, s.every = 2, 40
	s.direct = week == agreeWeek && s.line == "C6"
	s.minutes = 140 + float64(r.IntN(9))*10
	s.beerC = func(float64) float64 { return 2 + warm }
	if s.line == "B16" && week < serviceWeek {
		s.proc.air *= serviced
	}
	if s.line == "B16" && week == serviceWeek && day == 0 {
		s.happenings = append(s.happenings, happening{0.5, "note", "first run after the service of the filler: centring bells and vent tubes renewed"})
	}
	if week == historyWeeks && day == 3 {
		s.proc.in = heldTo + lineGain // what the counter gas left: see holdInBBT2
	}
	if began && day == 0 {
		s.happenings = append(s.happenings, happening{0.5, "gas_change", "first run on the new delivery of CO2"})
	}
	if s.line != "K2" && r.Float64() < 0.25 {
		why := []string{"no packages at the infeed", "label roll", "closer: feed", "end of a pallet"}[r.IntN(4)]
		s.stops = []stop{{50 + float64(r.IntN(50)), 3 + float64(r.IntN(7)), why, uniform(r, 1, 4), uniform(r, 2, 3)}}
	}
	return s
}

// goingOn tells the run that is going on now.
func (b *builder) goingOn() {
	s := script{name: "now", beer: "vellumrook", format: "can440", line: "C6", proc: vellumrook440.started(), minutes: 240, every: 30,
		stops: []stop{{69, 6, "no cans at the infeed", 2, 2.5}}, carryAfter: 20}
	w := b.run(s, b.now.Add(-172*time.Minute), false, true)
	b.sum.Going = w.run.ID
}
