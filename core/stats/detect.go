package stats

import (
	"math"
	"strconv"
)

// HitChance is the probability that n items taken at random from a stream that
// passes k equal stations by turns hold at least one of a given station:
// 1 − (1 − 1/k)ⁿ (eq. S44). Taking one of each station makes it 1 with n = k.
func HitChance(k, n int) (float64, error) {
	if err := checkStations(k); err != nil {
		return 0, err
	}
	if n < 1 {
		return 0, tooFew("n", n, 1)
	}
	return -math.Expm1(float64(n) * math.Log1p(-1/float64(k))), nil
}

// HitCount is the smallest n whose HitChance is at least p.
func HitCount(k int, p float64) (int, error) {
	if err := checkStations(k); err != nil {
		return 0, err
	}
	if err := checkProbability("p", p); err != nil {
		return 0, err
	}
	return int(math.Ceil(math.Log1p(-p)/math.Log1p(-1/float64(k)) - 1e-9)), nil
}

func checkStations(k int) error {
	if k < 2 || k > 500 {
		return &Error{Field: "k", Value: strconv.Itoa(k), Message: "out of range", Mend: "give 2 to 500 stations"}
	}
	return nil
}

// GroupPower is the probability that ANOM at the overall risk alpha names the
// one of k groups that lies shift within-group standard deviations off the
// others, with n values of each group (eq. S45). On the log scale shift is
// ln(ratio)/σ of the logarithms.
func GroupPower(k, n int, shift, alpha float64) (float64, error) {
	power, err := GroupPowerCurve(k, n, alpha)
	if err != nil {
		return 0, err
	}
	if err := checkFinite("shift", shift); err != nil {
		return 0, err
	}
	return power(shift), nil
}

// GroupPowerCurve is GroupPower as a function of the shift: the decision line is
// found once.
func GroupPowerCurve(k, n int, alpha float64) (func(shift float64) float64, error) {
	if n < 2 {
		return nil, tooFew("n", n, 2)
	}
	nu := float64(k * (n - 1))
	h, err := ANOMCritical(alpha, k, nu)
	if err != nil {
		return nil, err
	}
	return func(shift float64) float64 {
		delta := shift * math.Sqrt(float64(n)*float64(k-1)/float64(k))
		return 1 - NoncentralTCDF(h, nu, delta) + NoncentralTCDF(-h, nu, delta)
	}, nil
}

// GroupCount is the smallest number of values per group, at most 1000, whose
// GroupPower is at least power.
func GroupCount(k int, shift, alpha, power float64) (int, error) {
	if err := checkProbability("power", power); err != nil {
		return 0, err
	}
	enough := func(n int) (bool, error) {
		p, err := GroupPower(k, n, shift, alpha)
		return p >= power, err
	}
	low, high := 1, 2
	for {
		ok, err := enough(high)
		if err != nil {
			return 0, err
		}
		if ok {
			break
		}
		if low = high; low >= 1000 {
			return 0, refuse("shift", shift, "more than 1000 values per group would be needed", "look for a larger shift, or accept less power")
		}
		high = min(2*high, 1000)
	}
	for high-low > 1 {
		mid := (low + high) / 2
		if ok, _ := enough(mid); ok {
			high = mid
		} else {
			low = mid
		}
	}
	return high, nil
}
