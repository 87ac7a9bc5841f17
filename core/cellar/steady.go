package cellar

import (
	"fmt"

	"ullage/core/quantity"
	"ullage/core/way"
)

// drawnShare of a batch, from which on a tank read once may have changed.
const drawnShare = 0.1

// steady says where a tank that was read before its run only is taken as steady
// while it is drawn down, and bounds it: the gas that follows the beer brings it
// to equilibrium with that gas at most (eq. 44).
func (n *network) steady(r *way.Run, p *Package, gas []TankGas) *Steady {
	at, drawn := n.Tanks[r.ID]
	b := n.In.BatchByID(r.Batch)
	if !drawn || n.Places[at].Run == r.ID || p.Tank == nil || b.VolumeHL <= 0 || r.VolumeHL < drawnShare*b.VolumeHL {
		return nil
	}
	s := &Steady{DrawnHL: r.VolumeHL}
	text := fmt.Sprintf("%s was not read while %s hL were drawn from it: its DO is taken as steady", n.In.Name(r.Batch), quantity.Figure(r.VolumeHL))
	if left, held, ok := n.LeftAt(r.Batch, r.Started); ok && b.GasHL > 0 {
		s.GasFrom = b.GasHL + held - left
		s.GasTo = s.GasFrom + r.VolumeHL
		text += fmt.Sprintf(", though its gas grew from %s to %s hL", quantity.Figure(s.GasFrom), quantity.Figure(s.GasTo))
	}
	for _, g := range gas {
		if g.Batch == r.Batch && (s.Most == nil || g.Contact > *s.Most) {
			most := g.Contact
			s.Most = &most
		}
	}
	switch {
	case s.Most == nil:
		text += "; its gas was not read, so nothing bounds it: read the tank again towards the end of a run"
	case *s.Most > *p.Tank:
		text += fmt.Sprintf("; by that gas it may have come to %s ppb at most, and up to %s ppb of the line's pick-up would be the tank's", quantity.Figure(*s.Most), quantity.Figure(*s.Most-*p.Tank))
	default:
		text += "; by that gas it cannot have risen"
	}
	n.Assume(text)
	return s
}
