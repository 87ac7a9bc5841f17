package demo

import (
	"math"
	"time"

	"ullage/internal/lab"
)

// transfer from a fermenter to a bright tank.
type transfer struct {
	b       *builder
	c       *cellarHand
	x       *bright
	f       *fermentation
	hl      float64
	start   time.Time
	gain    float64 // ppb, of all of it
	move    *lab.Move
	flow    float64
	slow    [2]float64 // minutes at half the flow
	drained float64    // minutes that went to the drain
}

// moved is what had gone by minute m, hL.
func (t *transfer) moved(m float64) float64 {
	m = max(0, m)
	lost := max(0, min(m, t.slow[1])-t.slow[0]) / 2
	return min(t.hl, (m-lost)*t.flow/60)
}

// at minute m of the transfer, with what had gone by then.
func (t *transfer) read(point, batch string, m, flow, do float64) {
	at := minutes(t.start, m)
	var flags []string
	if point == "filter_out" && m <= t.drained {
		flags = []string{"first_runnings"}
	}
	t.c.read(lab.Reading{Flags: flags, BatchID: batch, MoveID: t.move.ID, Point: point, At: lab.At(at), FlowHLH: lab.Num(flow),
		VolumeMovedHL: lab.Num(round(t.moved(m), 0.1)), PressureBar: lab.Num(round(normal(t.c.r, 1.1, 0.1), 0.1))}, do)
}

func (t *transfer) tell() {
	via, flow := route(t.x.s.beer)
	t.flow = flow
	length := math.Ceil(t.hl / flow * 60)
	t.move = &lab.Move{Meta: meta(t.b.cellarID(t.start), t.b.ref("cellar"), "phone 3", t.start.Add(time.Minute)), MoveKind: "transfer", FromBatchID: t.f.id,
		ToBatchID: t.x.id, StartedAt: lab.At(t.start), EndedAt: lab.At(minutes(t.start, length)), VolumeHL: lab.Num(round(t.hl, 0.1)), FlowHLH: lab.Num(flow),
		Via: via, HoseM: lab.Num(12), HoseMM: lab.Num(50), Purge: "hose filled with deaerated water, tank swept with CO2 to 0.1 % O2"}
	length = t.story(length)
	t.move.DeviceAt = lab.At(minutes(t.start, length+2))
	t.b.add(minutes(t.start, length+2), write{record: t.move})
	t.b.sum.Moves++
	t.c.flush(minutes(t.start, length+4))
}

// story tells the readings of the transfer, and gives its length, min.
func (t *transfer) story(length float64) float64 {
	switch t.x.key {
	case "R8":
		return t.leak()
	case "R12":
		return t.washOut(length)
	}
	t.plain(length)
	if t.x.key == "R10" {
		t.b.sum.Stories["T3"] = t.f.id
	}
	return length
}

func (t *transfer) plain(length float64) {
	hose, machine, carbonation := shares(t.move.Via)
	before := t.f.end
	t.read("tank_before", t.f.id, -8, t.flow, before)
	first := before + hose*t.gain
	after := first + machine*t.gain
	for _, m := range []float64{0.25 * length, 0.7 * length} {
		switch t.move.Via[1] {
		case "centrifuge":
			t.read("centrifuge_in", t.f.id, m, t.flow, first)
			t.read("centrifuge_out", t.x.id, m+2, t.flow, after)
		case "filter":
			t.read("filter_in", t.f.id, m, t.flow, first)
			t.read("filter_out", t.x.id, m+2, t.flow, after)
		}
	}
	t.read("carbonation_before", t.x.id, 0.8*length, t.flow, after)
	t.read("carbonation_after", t.x.id, 0.8*length+2, t.flow, after+carbonation*t.gain)
}

// leak is story T1: a fixed leak at the centrifuge, 20 ppb at 60 hL/h and 40 at
// 30 hL/h, to which the flow was throttled for six minutes to find out.
func (t *transfer) leak() float64 {
	t.b.sum.Stories["T1"] = t.x.id
	const slow, slowHL = 30, 3
	length := math.Ceil((t.hl-slowHL)/t.flow*60 + slowHL/slow*60 + 1)
	t.move.EndedAt = lab.At(minutes(t.start, length))
	t.move.Note = "flow halved for six minutes: the difference over the centrifuge doubled"
	before := t.f.end
	t.read("tank_before", t.f.id, -8, t.flow, before)
	t.slow = [2]float64{21, 27}
	for _, x := range []struct{ m, flow, delta float64 }{{8, 60, 20}, {19, 60, 20}, {22, slow, 40}, {25, slow, 40}, {29, 60, 20}, {40, 60, 20}} {
		t.read("centrifuge_in", t.f.id, x.m, x.flow, before)
		t.read("centrifuge_out", t.x.id, x.m+1, x.flow, before+x.delta)
	}
	return length
}

// washOut is story T2: air left in the filter, 900 ppb above the steady value,
// washed out with a time constant of four minutes. The first eight minutes went
// to the drain.
func (t *transfer) washOut(length float64) float64 {
	t.b.sum.Stories["T2"] = t.x.id
	const heads, tau, drained = 900, 4.0, 8.0
	t.drained = drained
	before := t.f.end
	// What washes out after the drain was shut is spread over the tank.
	spread := heads * math.Exp(-drained/tau) * tau / 60 * t.flow / t.hl
	steady := before + 0.8*max(t.gain-spread, 4)
	t.read("tank_before", t.f.id, -8, t.flow, before)
	t.read("filter_in", t.f.id, 1, t.flow, before+0.5)
	for _, m := range []float64{1, 3, 5, 8, 12, 16, 24, 40} {
		t.read("filter_out", t.x.id, m, t.flow, steady+heads*math.Exp(-m/tau))
	}
	t.read("filter_in", t.f.id, 41, t.flow, before+0.5)
	drain := &lab.Move{Meta: meta(t.b.cellarID(t.start.Add(time.Second)), t.b.ref("cellar"), "phone 3", minutes(t.start, 9)), MoveKind: "dump", FromBatchID: t.f.id,
		StartedAt: t.move.StartedAt, EndedAt: lab.At(minutes(t.start, drained)), VolumeHL: lab.Num(round(drained*t.flow/60, 0.1)), FlowHLH: lab.Num(t.flow),
		Via: []string{"filter"}, Note: "first runnings after the filter to the drain"}
	t.b.add(minutes(t.start, 9), write{record: drain})
	t.b.sum.Moves++
	t.move.EndedAt = lab.At(minutes(t.start, length+drained))
	return length + drained
}
