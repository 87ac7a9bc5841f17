package oxygen

import (
	"math"

	"ullage/core/quantity"
)

// BeerDensity of degassed beer at its temperature (eq. 12): the specific
// gravity 20/20 °C, expanding like water.
func BeerDensity(sg quantity.SpecificGravity, t quantity.Temperature) quantity.Density {
	return quantity.Density(float64(sg)) * WaterDensity(t)
}

// Expansion is the factor by which beer of this alcohol and real extract
// expands otherwise than water: [ρ(t)/ρ(20)]beer over the same of water (eq. 27),
// 0–40 °C. The ethanol part is OIML R 22, the extract part ICUMSA's sucrose
// densities, added; no published table of beer exists to check the sum.
func Expansion(t quantity.Temperature, byMass, realExtract quantity.Fraction) float64 {
	water := float64(WaterDensity(t) / WaterDensity(20))
	alcohol := ethanolDensity(float64(byMass), float64(t)) / ethanolDensity(float64(byMass), 20)
	sugar := sucroseDensity(float64(realExtract), float64(t)) / sucroseDensity(float64(realExtract), 20)
	return 1 + (alcohol-water)/water + (sugar-water)/water
}

// EthanolDensity of ethanol and water by OIML R 22 (1975), fraction of ethanol
// by mass, -20–40 °C.
func EthanolDensity(byMass quantity.Fraction, t quantity.Temperature) quantity.Density {
	return quantity.Density(ethanolDensity(float64(byMass), float64(t)))
}

// SucroseDensity of sucrose and water, fraction by mass, 0–40 °C: ICUMSA SPS-4
// (Emmerich & Bubnik).
func SucroseDensity(byMass quantity.Fraction, t quantity.Temperature) quantity.Density {
	return quantity.Density(sucroseDensity(float64(byMass), float64(t)))
}

// SolubilityInBeer is β, the solubility of oxygen in beer over that in water,
// by a salting-out form log10(1/β) = k c for the real extract and a linear term
// for ethanol (eq. 23). k = 5.2e-4 L/g lies between published sucrose and
// glucose constants; the ethanol term, 1.5 % at 5 % by volume, is from memory.
// Standard uncertainty SolubilityInBeerU.
func SolubilityInBeer(realExtract quantity.Extract, abv quantity.Alcohol) float64 {
	w := float64(realExtract) / 100
	grams := w * sucroseDensity(w, 20)
	return math.Pow(10, -5.2e-4*grams) * (1 - 0.003*float64(abv))
}

// SolubilityInBeerU is the standard uncertainty of SolubilityInBeer.
const SolubilityInBeerU = 0.02

// SolubilityInWort is the same for wort, with k = 6.5e-4 L/g; published wort
// data and sugar data differ by 10 % at 15 °P, so its standard uncertainty is
// about 0.03.
func SolubilityInWort(e quantity.Extract) float64 {
	w := float64(e) / 100
	return math.Pow(10, -6.5e-4*w*sucroseDensity(w, 20))
}

// Attenuation is what Balling's relations say of a beer (eq. 30).
type Attenuation struct {
	RealExtract       quantity.Extract
	AlcoholByMass     quantity.Fraction
	AlcoholByVolume   quantity.Alcohol
	RealAttenuation   quantity.Fraction
	ApparentDegree    quantity.Fraction
	OriginalRecovered quantity.Extract // original extract found back from alcohol and real extract
}

// Balling's relations from original and apparent final extract.
func Balling(original, apparent quantity.Extract) Attenuation {
	oe, ae := float64(original), float64(apparent)
	re := 0.1808*oe + 0.8192*ae
	abw := (oe - re) / (2.0665 - 0.010665*oe)
	sg := float64(quantity.Gravity(apparent))
	return Attenuation{
		RealExtract:       quantity.Extract(re),
		AlcoholByMass:     quantity.Fraction(abw / 100),
		AlcoholByVolume:   quantity.Alcohol(abw * sg / 0.7907),
		RealAttenuation:   quantity.Fraction((oe - re) / oe),
		ApparentDegree:    quantity.Fraction((oe - ae) / oe),
		OriginalRecovered: quantity.Extract(100 * (2.0665*abw + re) / (100 + 1.0665*abw)),
	}
}

// FinishedBeer finds the real extract and the alcohol by mass of a beer from
// its degassed gravity and alcohol by volume: ABV = ABW SG / 0.7907, and the
// apparent extract is lowered by alcohol as Balling's relations say.
func FinishedBeer(sg quantity.SpecificGravity, abv quantity.Alcohol) (realExtract quantity.Extract, byMass quantity.Fraction) {
	abw := float64(abv) * 0.7907 / float64(sg)
	ae := float64(quantity.Plato(sg))
	// OE from ABW and RE, RE from OE and AE: two linear relations, solved by
	// substitution; they converge by a factor of five a step.
	re := ae
	for range 40 {
		oe := 100 * (2.0665*abw + re) / (100 + 1.0665*abw)
		re = 0.1808*oe + 0.8192*ae
	}
	return quantity.Extract(re), quantity.Fraction(abw / 100)
}

func sucroseDensity(w, t float64) float64 {
	x := (t - 20) / 100
	water := (999.83952 + t*(16.952577+t*(-7.9905127e-3+t*(-46.241757e-6+t*(105.84601e-9-t*281.03006e-12))))) / (1 + 16.887236e-3*t)
	return water +
		w*(385.1761+w*(135.3705+w*(40.9299+w*(-3.9643+w*(13.4853-w*17.2890))))) +
		x*(w*(-46.2720+w*(-7.1720+w*(1.1597+w*(5.1126+w*17.5254))))+
			x*(w*(59.7712+w*(7.2491+w*(12.3630-w*35.4791)))+
				x*(w*(-47.2207+w*(-21.6977+w*27.6301))+
					x*w*(18.3184+w*12.3081))))
}

func ethanolDensity(p, t float64) float64 {
	d := t - 20
	sum := polynomial(ethanolA, p) + d*polynomial(ethanolB, d)
	power := 1.0
	for _, row := range ethanolC {
		power *= d
		sum += power * p * polynomial(row, p)
	}
	return sum
}

func polynomial(c []float64, x float64) float64 {
	sum := 0.0
	for i := len(c) - 1; i >= 0; i-- {
		sum = sum*x + c[i]
	}
	return sum
}

// Coefficients of the general formula of OIML R 22.
var (
	ethanolA = []float64{998.20123, -192.9769495, 389.1238958, -1668.103923, 13522.15441, -88292.78388,
		306287.4042, -613838.1234, 747017.2998, -547846.1354, 223446.0334, -39032.85426}
	ethanolB = []float64{-2.0618513e-1, -5.2682542e-3, 3.6130013e-5, -3.8957702e-7, 7.1693540e-9, -9.9739231e-11}
	ethanolC = [][]float64{
		{1.693443461530087e-1, -1.046914743455169e1, 7.196353469546523e1, -7.047478054272792e2, 3.924090430035045e3,
			-1.210164659068747e4, 2.248646550400788e4, -2.605562982188164e4, 1.852373922069467e4, -7.420201433430137e3, 1.285617841998974e3},
		{-1.193013005057010e-2, 2.517399633803461e-1, -2.170575700536993, 1.353034988843029e1, -5.029988758547014e1,
			1.096355666577570e2, -1.422753946421155e2, 1.080435942856230e2, -4.414153236817392e1, 7.442971530188783},
		{-6.802995733503803e-4, 1.876837790289664e-2, -2.002561813734156e-1, 1.022992966719220, -2.895696483903638,
			4.810060584300675, -4.672147440794683, 2.458043105903461, -5.411227621436812e-1},
		{4.075376675622027e-6, -8.763058573471110e-6, 6.515031360099368e-6, -1.515784836987210e-6},
		{-2.788074354782409e-8, 1.345612883493354e-8},
	}
)
