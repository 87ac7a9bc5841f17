package way

import (
	"slices"
	"strconv"
)

// ChainRow is a reading of a list that follows one liquid from point to point.
type ChainRow struct {
	Reading
	Step string // its own word for the step, such as the name of a transfer
}

// Chain makes the input of a map from such a list, in its order: a new move
// begins with the first point of a move, or where the word for the step changes
// between such points; the vessel after it begins with the receiving tank, or
// the first point in a vessel. Readings of the line and of packages are of one
// run.
func Chain(rows []ChainRow) Input {
	c := chain{vessel: "vessel 1"}
	c.in.Batches = []Batch{{ID: c.vessel}}
	for _, r := range rows {
		c.row(r)
	}
	if c.open >= 0 && len(c.in.Moves) > 0 && c.in.Moves[c.open].To == "" {
		c.next()
	}
	for i := range c.in.Batches {
		b := &c.in.Batches[i]
		b.Tank = b.ID
		for _, m := range c.in.Moves {
			if m.To == b.ID {
				b.VolumeHL = max(b.VolumeHL, m.VolumeHL)
			}
		}
	}
	return c.in
}

type chain struct {
	in     Input
	vessel string
	open   int // the move going on, from 0; meaningless without moves
	inMove bool
	step   string
	run    bool
}

func (c *chain) row(r ChainRow) {
	r.Batch = c.vessel
	switch {
	case r.Point == LineStart || r.Point == FillerInlet || ofPackage(r.Point):
		c.leave()
		r.Batch = c.vessel
		if !c.run {
			c.in.Runs, c.run = []Run{{ID: "run", Batch: c.vessel, Started: r.At}}, true
		}
		r.Run = c.in.Runs[0].ID
		c.in.Runs[0].VolumeHL = max(c.in.Runs[0].VolumeHL, r.VolumeHL)
	case r.Point == TankAfter:
		if !c.inMove {
			c.begin(r.Step)
		}
		if c.in.Moves[c.open].To == "" {
			c.next()
		}
		c.move(&r)
		r.Batch = c.in.Moves[c.open].To
	case slices.ContainsFunc(stages, func(s struct{ point, op, unit string }) bool { return s.point == r.Point && s.unit != StepCarbonation }) || r.Point == TankBefore:
		again := c.inMove && r.Step == c.step
		if !again {
			c.leave()
			c.begin(r.Step)
		}
		c.move(&r)
		r.Batch = c.in.Moves[c.open].From
	default:
		c.leave()
		r.Batch = c.vessel
		b := &c.in.Batches[len(c.in.Batches)-1]
		b.VolumeHL = max(b.VolumeHL, r.VolumeHL)
	}
	c.in.Readings = append(c.in.Readings, r.Reading)
}

// move notes what a reading says of the move it is of.
func (c *chain) move(r *ChainRow) {
	m := &c.in.Moves[c.open]
	r.Move = m.ID
	m.VolumeHL = max(m.VolumeHL, r.VolumeHL)
	if m.FlowHLH == 0 {
		m.FlowHLH = r.FlowHLH
	}
	if !r.At.IsZero() && (m.Started.IsZero() || r.At.Before(m.Started)) {
		m.Started = r.At
	}
	if r.At.After(m.Ended) {
		m.Ended = r.At
	}
}

// begin opens a move out of the vessel.
func (c *chain) begin(step string) {
	id := step
	if id == "" || slices.ContainsFunc(c.in.Moves, func(m Move) bool { return m.ID == id }) {
		id = "move " + strconv.Itoa(len(c.in.Moves)+1)
	}
	c.in.Moves = append(c.in.Moves, Move{ID: id, Kind: KindTransfer, From: c.vessel})
	c.open, c.inMove, c.step = len(c.in.Moves)-1, true, step
}

// leave ends the move that is open: the liquid is in the next vessel.
func (c *chain) leave() {
	if c.inMove && c.in.Moves[c.open].To == "" {
		c.next()
	}
	c.inMove = false
}

// next is the vessel that the open move goes to.
func (c *chain) next() {
	c.vessel = "vessel " + strconv.Itoa(len(c.in.Batches)+1)
	c.in.Batches = append(c.in.Batches, Batch{ID: c.vessel})
	c.in.Moves[c.open].To = c.vessel
}
