package demo

import (
	"math/rand/v2"
	"strconv"
	"time"

	"ullage/internal/lab"
)

// cellarHand reads a meter in the cellar and enters what it shows.
type cellarHand struct {
	b          *builder
	r          *rand.Rand
	by, device string
	meter      string
	ws         []write
	last       time.Time
}

func (b *builder) cellarID(at time.Time) string { return newID(b.cellarBits, at) }

// read enters what the meter shows of a true DO, ppb, and gives it back. A
// reading that would lie in the future is not there yet: 0 is given.
func (c *cellarHand) read(x lab.Reading, do float64) float64 {
	at := x.At.Time
	if at.Add(4 * time.Minute).After(c.b.now) {
		return 0
	}
	step := stepOf(c.meter)
	noise := max(0.4, 0.01*do)
	if step >= 10 {
		noise = max(20, 0.01*do)
	}
	shown := max(round(normal(c.r, do+c.b.offset(c.meter, at), noise), step), 0)
	x.Meta = meta(c.b.cellarID(at), c.b.ref(c.by), c.device, at.Add(40*time.Second))
	x.MeterID, x.DOPpb = c.b.ref(c.meter), lab.Num(shown)
	x.Raw = strconv.FormatFloat(shown, 'f', 1, 64) + " ppb"
	if lab.IsWort(x.Point) {
		x.Raw = strconv.FormatFloat(shown/1000, 'f', 2, 64) + " mg/L"
	} else {
		x.Tubing, x.StabilisedMin = "PTFE, 1.5 m", lab.Num(float64(3+c.r.IntN(3)))
	}
	if x.TemperatureC == nil {
		x.TemperatureC = lab.Num(round(normal(c.r, 2, 0.3), 0.1))
	}
	c.ws = append(c.ws, write{record: &x})
	c.b.sum.Readings++
	if at.After(c.last) {
		c.last = at
	}
	return shown
}

// gas enters the oxygen, %, in the gas space of a tank.
func (c *cellarHand) gas(batch string, at time.Time, pct float64) {
	x := &lab.Reading{Meta: meta(c.b.cellarID(at), c.b.ref(c.by), c.device, at.Add(40*time.Second)), BatchID: batch, Point: "tank_gas", At: lab.At(at),
		GasO2Pct: lab.Num(pct), Raw: strconv.FormatFloat(pct, 'f', 2, 64) + " %", PressureBar: lab.Num(0.9), TemperatureC: lab.Num(2)}
	c.ws = append(c.ws, write{record: x})
	c.b.sum.Readings++
}

// flush sends what was read, not before at.
func (c *cellarHand) flush(at time.Time) {
	if sent := c.last.Add(time.Minute); sent.After(at) {
		at = sent
	}
	if len(c.ws) > 0 {
		c.b.add(at, c.ws...)
	}
	c.ws = nil
}

// revise writes a batch again at a later stage of its life.
func (b *builder) revise(x *lab.Batch, rev *int, at time.Time, status string) *lab.Batch {
	c := *x
	c.By, c.DeviceAt, c.Status = b.ref("cellar"), lab.At(at), status
	b.add(at.Add(time.Second), write{&c, *rev})
	*rev++
	return &c
}
