package cellar

import (
	"ullage/core/oxygen"
	"ullage/core/quantity"
	"ullage/core/way"
)

// GasSpace is a closed vessel: beer of some DO below a gas space with some
// oxygen, at an absolute pressure (eq. 44). It gives the DO that both come to
// with all oxygen kept, the DO if the gas were never used up, and the grams of
// oxygen in the gas now. Volumes in hL.
func GasSpace(do, beerHL, gasHL, fraction float64, p quantity.Pressure, t quantity.Temperature) (equilibrium, contact, grams float64) {
	contact = fraction * float64(p) / oxygen.Atmosphere * oxygen.Solubility(t)
	k := oxygen.PartitionRatio(t)
	grams = way.Grams(k*contact, gasHL)
	equilibrium = (do*beerHL + k*contact*gasHL) / (beerHL + k*gasHL)
	return equilibrium, contact, grams
}

// tankGas says what readings of gas spaces mean.
func (n *network) tankGas() []TankGas {
	var out []TankGas
	for i := range n.In.Readings {
		r := &n.In.Readings[i]
		if r.Point != way.TankGasPoint || r.GasO2 == nil || !n.Shown[r.Batch] || *r.GasO2 < 0 || *r.GasO2 > 1 {
			continue
		}
		b := n.In.BatchByID(r.Batch)
		t := quantity.Temperature(4)
		if r.TemperatureC != nil {
			t = quantity.Temperature(min(40, max(0, *r.TemperatureC)))
		} else {
			n.Assume("temperature of a gas space not read: 4 °C")
		}
		gauge := b.HeadspaceBar
		if r.PressureBar != nil {
			gauge = *r.PressureBar
		} else if gauge == 0 {
			n.Assume("pressure of a gas space not read: none above the air's")
		}
		p := quantity.Pressure(oxygen.Atmosphere + gauge*100)
		do := n.lastDO(r.Batch)
		beer, gas := b.VolumeHL, b.GasHL
		if left, held, ok := n.LeftAt(r.Batch, r.At); ok && gas > 0 {
			beer, gas = left, gas+held-left // the gas follows the beer out
		}
		eq, contact, grams := GasSpace(do, beer, gas, *r.GasO2, p, t)
		g := TankGas{Reading: r.ID, Batch: r.Batch, Fraction: *r.GasO2, Contact: contact}
		if beer > 0 && gas > 0 {
			g.Equilibrium, g.Grams, g.BeerHL, g.GasHL = &eq, &grams, beer, gas
		}
		out = append(out, g)
	}
	return out
}

// lastDO is the DO last read in a batch's vessel.
func (n *network) lastDO(batch string) float64 {
	do := 0.0
	for i := range n.Places {
		if v := &n.Places[i]; v.Known && v.Batch == batch && (v.Run == "" && v.Point != way.LineStart || v.Point == way.TankHold) {
			do = v.Value
		}
	}
	return do
}
