package demo

import "time"

// Truth is what is really the matter in a scripted run: for tests of whatever
// looks for it in the records.
type Truth struct {
	Run   string
	Cause Cause
	Text  string
	Head  int // 0: no single one
	// From and To bound it, in minutes after the first good package; To 0: to
	// the end.
	From, To float64
	Sets     []int // of a cause in the records: the sets that are wrong
}

// Cause of what is odd in a run.
type Cause string

// The causes that the scripts know.
const (
	CauseNone      Cause = "none"
	CauseStart     Cause = "start_up"
	CauseHead      Cause = "head_filling"
	CauseHeadspace Cause = "headspace_all_heads"
	CauseDrift     Cause = "drift"
	CauseGas       Cause = "gas_step"
	CauseRestarts  Cause = "restarts"
	CauseLowFill   Cause = "head_low_fill"
	CauseRecord    Cause = "record"
	CauseMeter     Cause = "meter_offset"
	CauseLane      Cause = "lane"
)

// Truths of the scripted runs, R1 to R12.
func Truths() []Truth {
	return []Truth{
		{Run: "R1", Cause: CauseNone, Text: "all normal"},
		{Run: "R2", Cause: CauseNone, Text: "all normal"},
		{Run: "R3", Cause: CauseStart, Text: "start-up: too little thrown away before the first good can", To: 30},
		{Run: "R4", Cause: CauseHead, Text: "head 4, filling: seal of the purge tube", Head: 4, From: 55, To: 118},
		{Run: "R5", Cause: CauseHeadspace, Text: "headspace on all heads: jetter pressure lost", From: 70},
		{Run: "R6", Cause: CauseDrift, Text: "drift: the beer warms in the tank and loses CO2"},
		{Run: "R7", Cause: CauseGas, Text: "less pure CO2 from the change of supply on, and in the next tank", From: 90},
		{Run: "R8", Cause: CauseRestarts, Text: "cans that stood open during stops are not thrown away", From: 50},
		{Run: "R9", Cause: CauseLowFill, Text: "valve 11: vent tube, low fills", Head: 11},
		{Run: "R10", Cause: CauseRecord, Text: "sets 2 and 4 read warm after 3.5 h, set 6 typed in ppm, set 8 unshaken entered as shaken", Sets: []int{2, 4, 6, 8}},
		{Run: "R11", Cause: CauseMeter, Text: "DO meter 3 reads 14 ppb high"},
		{Run: "R12", Cause: CauseLane, Text: "lane 2: purge time cut by 40 %", Head: 2},
	}
}

// How the cans of this brewery run when nothing is wrong, where the design's
// check cases would lie above its limits.
var (
	vellumrook440 = process{in: 22, fill: 26, air: 0.075}
	dapplewick473 = process{in: 28, fill: 20, air: 0.095}
	dapplewick355 = process{in: 28, fill: 20, air: 0.075}
	thrumbeck440  = process{in: 26, fill: 24, air: 0.11}
)

// scripts are the twelve, with the working day before today on which each
// ran, and its hour.
func scripts() []struct {
	script
	day  int
	hour float64
} {
	return []struct {
		script
		day  int
		hour float64
	}{
		{script{name: "R1", beer: "vellumrook", format: "can355", line: "C6", proc: canGood.started(), minutes: 200, every: 20,
			slips: map[int]slip{3: mistyped}, standIn: true}, 9, 7},
		{script{name: "R2", beer: "quernlight", format: "bottle330", line: "B16", proc: bottle330Good.started(), minutes: 180, every: 20}, 9, 12.5},
		{script{name: "R3", beer: "dapplewick", format: "can473", line: "C6", proc: shortDump(dapplewick473), minutes: 190, every: 20}, 8, 7},
		{headFault(), 7, 7},
		{script{name: "R5", beer: "quernlight", format: "bottle330", line: "B16", proc: bottle330Good.started(), minutes: 160, every: 20,
			effect: from(70, effect{fill: 1, air: 5}), note: "ended early: TPO above the limit on every valve"}, 7, 12.5},
		{drifting(), 6, 7},
		{gasChange(), 5, 7},
		{script{name: "R8", beer: "vellumrook", format: "can355", line: "C6", proc: canGood.started(), minutes: 210, every: 20, standing: true,
			stops: []stop{{50, 4, "no cans at the infeed", 2, 2.5}, {100, 9, "seamer: end feed", 3, 2.5}, {150, 2, "no cans at the infeed", 1.5, 2.5}}}, 4, 7},
		{lowFills(), 4, 12.5},
		{script{name: "R10", beer: "dapplewick", format: "can355", line: "C6", proc: dapplewick355.started(), minutes: 200, every: 20,
			slips: map[int]slip{2: late, 4: late, 6: inPpm, 8: column}}, 3, 7},
		{script{name: "R12", beer: "quernlight", format: "keg30", line: "K2", proc: kegGood.started(), minutes: 150, every: 15,
			effect: lane(2, 35)}, 2, 9},
		{script{name: "R11", beer: "hobbinwheat", format: "bottle500", line: "B16", proc: bottle500Good.started(), minutes: 180, every: 20,
			meter: "meter3", note: "spare meter in use, DO meter 2 stands at the cellar"}, 1, 11},
	}
}

func shortDump(p process) process {
	p.surge, p.wash, p.dumped = 220, 35, 8
	return p
}

func from(t0 float64, e effect) func(float64, int) effect {
	return func(t float64, _ int) effect {
		if t < t0 {
			return noEffect
		}
		return e
	}
}

func lane(n int, ppb float64) func(float64, int) effect {
	return func(_ float64, head int) effect {
		e := noEffect
		if head == n {
			e.fillAdd = ppb
		}
		return e
	}
}

func headFault() script {
	return script{name: "R4", beer: "vellumrook", format: "can440", line: "C6", proc: vellumrook440.started(), minutes: 200, every: 20,
		effect: func(t float64, head int) effect {
			e := noEffect
			if head == 4 && t >= 55 && t < 118 {
				e.fill = 3.2
			}
			return e
		},
		stops:      []stop{{108, 10, "head 4 above the others twice: looked at", 2, 2.5}},
		happenings: []happening{{117, "adjustment", "head 4: seal of the purge tube renewed"}},
		sets: []set{
			{at: 70, shaken: []int{4}, unshaken: []int{4}, note: "head 4 again"},
			{at: 90, shaken: []int{4, 4}, unshaken: []int{4}, note: "head 4 again"},
			{at: 134, shaken: []int{4, 4, 4}, unshaken: []int{4}, note: "head 4 after the repair"},
		}}
}

func drifting() script {
	p := dapplewick473.started()
	p.drift = 22
	return script{name: "R6", beer: "dapplewick", format: "can473", line: "C6", proc: p, minutes: 240, every: 20,
		beerC: func(t float64) float64 { return 2 + 4*t/240 },
		happenings: []happening{{60, "note", "CO2 at the filler 2.38 vol"}, {120, "note", "CO2 at the filler 2.31 vol"},
			{180, "note", "CO2 at the filler 2.24 vol"}}}
}

func gasChange() script {
	return script{name: "R7", beer: "thrumbeck", format: "can440", line: "C6", proc: thrumbeck440.started(), minutes: 220, every: 20,
		effect: func(t float64, _ int) effect {
			e := noEffect
			if t >= 90 {
				e.fillAdd = 12
			}
			if t >= 135 {
				e.in = 18
			}
			return e
		},
		happenings: []happening{{90, "gas_change", "CO2 from the next cylinder bundle"}, {135, "tank_change", "bright tank empty, on the next of the same brew"}}}
}

func lowFills() script {
	return script{name: "R9", beer: "quernlight", format: "bottle355", line: "B16", proc: bottle355Good.started(), minutes: 200, every: 20,
		effect: func(_ float64, head int) effect {
			e := noEffect
			if head == 11 {
				e.low, e.air = 9, 2
			}
			return e
		},
		sets: []set{{at: 106, shaken: []int{11, 11}, unshaken: []int{11}, note: "valve 11 again"},
			{at: 150, shaken: []int{11, 11}, unshaken: []int{11}, note: "valve 11 again"}}}
}

// scripted tells the twelve runs and what was decided about their lots.
func (b *builder) scripted() {
	for _, x := range scripts() {
		start := b.workday(x.day).Add(time.Duration(x.hour * float64(time.Hour)))
		w := b.run(x.script, start, false, false)
		b.sum.Scripted[x.name] = w.run.ID
		switch x.name {
		case "R4":
			w = b.decide(w, w.ends.Add(30*time.Minute), "held", "head 4 above the limit: pallets from the last good can of head 4 to the repair kept back")
			b.decide(w, w.ends.Add(26*time.Hour), "released", "cans of head 4 sorted out by their code and destroyed; the rest within the limit")
		case "R5":
			w = b.decide(w, w.ends.Add(20*time.Minute), "held", "TPO above the limit on all valves in the second half")
			b.decide(w, w.ends.Add(47*time.Hour), "released", "bottles of the second half destroyed; the first half within the limit")
		case "R11":
			b.decide(w, b.now.Add(-190*time.Minute), "held", "zero check of DO meter 3 reads 14 ppb: its readings of this lot are in doubt; re-test the retained bottles")
			b.sum.Held = w.run.ID
		}
	}
}
