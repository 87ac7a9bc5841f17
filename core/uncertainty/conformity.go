package uncertainty

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Above is the probability that the true value lies above an upper limit, for
// a result with this value, standard uncertainty and degrees of freedom (0 for
// infinite): JCGM 106, 7.3 (eq. 36). With no uncertainty it is 0 or 1.
func Above(value, u, dof, limit float64) float64 {
	if u <= 0 {
		if value > limit {
			return 1
		}
		return 0
	}
	z := (limit - value) / u
	if dof > 0 {
		return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof}.Survival(z)
	}
	return 0.5 * math.Erfc(z/math.Sqrt2)
}

// GuardedLimit is the acceptance limit below an upper limit, so that a result
// at it exceeds the limit with probability risk at most (JCGM 106, 8.3.2), for
// a normal result.
func GuardedLimit(limit, u, risk float64) float64 {
	return limit - distuv.UnitNormal.Quantile(1-risk)*u
}
